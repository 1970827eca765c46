package units

import (
	"fmt"
	"strings"
)

// measure is a kind of measure that is no quantity of a system: volumes, rates, lengths and so on.
type measure struct {
	name     string
	units    []unitDef // the base unit of the parser has factor 1
	negative bool      // values below zero make sense
}

var (
	volumes = measure{name: "volume", units: []unitDef{
		{name: "mL", factor: 1}, {name: "L", factor: 1e3}, {name: "uL", factor: 1e-3},
		{name: "US gal", also: []string{"us gallon", "us gallons"}, factor: millilitresGal},
		{name: "imp gal", also: []string{"imp gallon", "imp gallons", "imperial gallon", "imperial gallons", "uk gal"}, factor: millilitresImp},
	}}
	volumesPerDay = measure{name: "volume per day", units: []unitDef{
		{name: "mL/day", also: []string{"ml/d"}, factor: 1}, {name: "L/day", also: []string{"l/d"}, factor: 1e3},
	}}
	rates = measure{name: "pump rate", units: []unitDef{
		{name: "mL/min", factor: 1}, {name: "mL/s", also: []string{"ml/sec"}, factor: 60}, {name: "L/h", also: []string{"l/hr"}, factor: 1000.0 / 60},
		{name: "mL/h", also: []string{"ml/hr"}, factor: 1.0 / 60}, {name: "L/min", factor: 1000},
	}}
	lengths = measure{name: "length", negative: true, units: []unitDef{
		{name: "mm", factor: 1}, {name: "cm", factor: 10}, {name: "m", factor: 1000}, {name: "in", also: []string{"inch", "inches"}, factor: 25.4},
	}}
	masses = measure{name: "mass", units: []unitDef{
		{name: "g", factor: 1}, {name: "kg", factor: 1e3}, {name: "mg", factor: 1e-3},
	}}
	densities = measure{name: "density", units: []unitDef{
		{name: "kg/L", factor: 1}, {name: "g/mL", also: []string{"g/cm3"}, factor: 1}, {name: "kg/m3", factor: 1e-3},
	}}
	saltConcentrations = measure{name: "salt concentration", units: []unitDef{
		{name: "g/L", factor: 1}, {name: "g/mL", factor: 1e3}, {name: "mg/mL", factor: 1},
	}}
	percents = measure{name: "share", units: []unitDef{{name: "%", also: []string{"percent"}, factor: 1}}}
)

// ParseVolume reads a volume of 0 or more and gives mL. Units: mL, L, uL, US gal, imp gal. A bare "gal" is
// ambiguous and refused.
func ParseVolume(text string) (ml float64, err error) { return volumes.parse(text) }

// ParseVolumePerDay reads mL/day or L/day and gives mL per 24 h.
func ParseVolumePerDay(text string) (mlPerDay float64, err error) { return volumesPerDay.parse(text) }

// ParseRate reads a pump's rate in mL/min, mL/s, mL/h, L/h or L/min and gives mL/min. It does not judge
// whether a dosing pump can do it.
func ParseRate(text string) (mlPerMin float64, err error) { return rates.parse(text) }

// ParseLength reads mm, cm, m or in and gives mm. Negative lengths are heights below a reference.
func ParseLength(text string) (mm float64, err error) { return lengths.parse(text) }

// ParseMass reads g, kg or mg and gives grams.
func ParseMass(text string) (grams float64, err error) { return masses.parse(text) }

// ParseDensity reads kg/L, g/mL, g/cm3 or kg/m3 and gives kg/L.
func ParseDensity(text string) (kgPerL float64, err error) { return densities.parse(text) }

// ParseSaltConcentration reads grams of salt per litre of finished solution: g/L, g/mL or mg/mL; gives g/L.
func ParseSaltConcentration(text string) (gPerL float64, err error) {
	return saltConcentrations.parse(text)
}

// ParsePercent reads a share of 0 or more such as "99 %" and gives percent. A bare number is refused: 0.99 and 99
// would both look right.
func ParsePercent(text string) (percent float64, err error) { return percents.parse(text) }

// ParseTemperature reads degC or degF and gives °C, not below absolute zero.
func ParseTemperature(text string) (celsius float64, err error) { return ParseLevel(Temperature, text) }

func (m measure) parse(text string) (float64, error) {
	value, unit, err := ParseSplit(text)
	if err != nil {
		return 0, err
	}
	if unit == "" {
		return 0, missingUnit(strings.TrimSpace(text), m.units)
	}
	d, ok := m.find(unit)
	if !ok {
		return 0, m.wrongUnit(text, unit)
	}
	if value < 0 && !m.negative {
		return 0, &Error{Reason: OutOfRange, Found: fmt.Sprintf("%q is below zero", clip(text)), Allowed: "0 or more"}
	}
	return finite(value*d.factor, text)
}

func (m measure) find(unit string) (unitDef, bool) {
	if _, ambiguous := ambiguousCase(unit); ambiguous {
		return unitDef{}, false
	}
	folded := fold(unit)
	for _, d := range m.units {
		if d.matches(folded) {
			return d, true
		}
	}
	return unitDef{}, false
}

func (m measure) wrongUnit(text, unit string) *Error {
	return &Error{
		Reason:  WrongUnit,
		Found:   fmt.Sprintf("%q is no %s", clip(text), m.name),
		Allowed: names(m.units),
		Hint:    m.hint(unit),
	}
}

func (m measure) hint(unit string) string {
	if hint, ambiguous := ambiguousCase(unit); ambiguous {
		return hint
	}
	folded := fold(unit)
	switch head, _, _ := strings.Cut(folded, "/"); head {
	case "gal", "gallon", "gallons":
		return "gallons differ by a fifth: say US gal or imp gal"
	}
	if m.name == densities.name && folded == "sg" {
		return "write kg/L: specific gravity depends on two temperatures"
	}
	return kindHint(folded)
}

// kindHint names the kind of measure or the quantities that a unit belongs to, empty if there is none.
func kindHint(folded string) string {
	if folded == "" {
		return ""
	}
	for _, m := range []measure{volumes, volumesPerDay, rates, lengths, masses, densities, saltConcentrations, percents} {
		for _, d := range m.units {
			if d.matches(folded) {
				return d.name + " is a unit of " + m.name
			}
		}
	}
	if u, ok := durationUnit(folded); ok {
		return u.name + " is a unit of time"
	}
	return levelHint(folded)
}

func levelHint(folded string) string {
	bare := strings.TrimSuffix(strings.TrimSuffix(folded, "/day"), "/d")
	if bare == "" {
		return ""
	}
	for _, q := range Quantities() {
		for i, d := range unitsOf(q) {
			if !d.matches(bare) {
				continue
			}
			if _, ion := IonMass(q); ion && i < len(ionUnits(q, "")) {
				return d.name + " is a unit of dissolved substances"
			}
			return d.name + " is a unit of " + string(q)
		}
	}
	return ""
}
