package units

import (
	"fmt"
	"math"
	"strings"
)

// unitDef is one unit of a quantity or measure: base value = value·factor + offset.
type unitDef struct {
	name   string   // the spelling we print
	also   []string // further spellings, folded (see fold)
	factor float64
	offset float64
	// suspect marks units that people enter by mistake for another: they are offered as hints.
	suspect bool
}

func (d unitDef) matches(folded string) bool {
	if fold(d.name) == folded {
		return true
	}
	for _, a := range d.also {
		if a == folded {
			return true
		}
	}
	return false
}

// ToCanonical converts a value in the named unit to q's canonical unit. It judges the unit and that the
// number is finite, not whether such a level exists: see CheckEntry. The error is an *Error.
func ToCanonical(q Quantity, value float64, unit string) (float64, error) {
	d, err := findUnit(q, value, unit)
	if err != nil {
		return 0, err
	}
	return finiteOf(value*d.factor+d.offset, value, unit)
}

// FromCanonical converts a value in q's canonical unit to the named unit. It inverts ToCanonical.
func FromCanonical(q Quantity, value float64, unit string) (float64, error) {
	d, err := findUnit(q, value, unit)
	if err != nil {
		return 0, err
	}
	return finiteOf((value-d.offset)/d.factor, value, q.Unit())
}

func findUnit(q Quantity, value float64, unit string) (unitDef, error) {
	if _, err := finiteOf(value, value, unit); err != nil {
		return unitDef{}, err
	}
	defs := unitsOf(q)
	if len(defs) == 0 {
		return unitDef{}, noLevel(q)
	}
	for _, d := range defs {
		if d.name == unit { // as nearly always; folding takes longer than all the rest
			return d, nil
		}
	}
	folded := fold(unit)
	for _, d := range defs {
		if d.matches(folded) {
			return d, nil
		}
	}
	if folded == "" {
		return unitDef{}, missingUnit(withUnit(value, ""), defs)
	}
	return unitDef{}, &Error{
		Reason:  WrongUnit,
		Found:   fmt.Sprintf("%q is no unit of %s", clip(unit), q),
		Allowed: names(defs),
		Hint:    unitHint(q, folded),
	}
}

func noLevel(q Quantity) *Error {
	if q == Switch {
		return &Error{Reason: WrongUnit, Found: "a switch is on or off and has no level"}
	}
	return &Error{Reason: WrongUnit, Found: fmt.Sprintf("%q is no known quantity", clip(string(q))), Allowed: quantityNames()}
}

func missingUnit(found string, defs []unitDef) *Error {
	return &Error{
		Reason:  MissingUnit,
		Found:   fmt.Sprintf("%q has no unit", found),
		Allowed: names(defs),
		Hint:    "write the unit behind the number, as in " + found + " " + defs[0].name,
	}
}

// unitHint tells what an unfit unit is. Specific gravity and conductivity are known words: they need a
// temperature, so the keeper gives the salinity.
func unitHint(q Quantity, folded string) string {
	switch {
	case q == Salinity && (folded == "sg" || folded == "ms/cm" || folded == "us/cm"):
		return "specific gravity and conductivity are not taken here: give the salinity in psu"
	case q == Alkalinity && (folded == "ppm" || folded == "mg/l"):
		return "say of what: ppm CaCO3, if calcium carbonate is meant"
	case q == Alkalinity && strings.HasSuffix(folded, "/kg"):
		return "alkalinity per kilogram needs the density: enter dKH or meq/L"
	case q == Temperature && folded == "k":
		return "subtract 273.15 and enter degC"
	}
	return kindHint(folded)
}

// finite refuses what is no ordinary number; found names the value in the message.
func finite(v float64, found string) (float64, error) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, &Error{Reason: NotANumber, Found: fmt.Sprintf("%q is not a finite number", clip(found))}
	}
	return v, nil
}

// finiteOf is finite for what came of a value with a unit, which is written down only if it has to be named.
func finiteOf(v, of float64, unit string) (float64, error) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return finite(v, withUnit(of, unit))
	}
	return v, nil
}

func withUnit(v float64, unit string) string {
	return strings.TrimSpace(fmt.Sprintf("%.10g %s", v, strings.TrimSpace(unit)))
}

func names(defs []unitDef) string {
	list := make([]string, len(defs))
	for i, d := range defs {
		list[i] = d.name
	}
	return strings.Join(list, ", ")
}

func quantityNames() string {
	list := make([]string, 0, len(Quantities()))
	for _, q := range Quantities() {
		list = append(list, string(q))
	}
	return strings.Join(list, ", ")
}
