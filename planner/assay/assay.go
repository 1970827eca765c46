// Package assay turns what an instrument showed into a level, where that takes the water itself: specific gravity and
// conductivity into salinity, amounts per kilogram into amounts per litre. What needs no water it leaves to units.
//
// It never judges whether a level is plausible (units.CheckEntry does) and guesses no missing figure: the water that a
// conversion rests on is an argument.
package assay

import (
	"errors"
	"fmt"
	"strings"

	"aliquot/planner/seawater"
	"aliquot/planner/units"
)

// Water is what a conversion may rest on.
type Water struct {
	Salinity    seawater.PSU     // 2 to 42
	Temperature seawater.Celsius // of the sample
}

// Ordinary is the water that is meant where nobody says more: 35 psu at 25 degC (common practice).
func Ordinary() Water { return Water{Salinity: 35, Temperature: 25} }

// Sampled is Ordinary water at the temperature that a keeper gives with a test: that of the sample, or the one to which
// the meter compensates. It may be 0 to 40 degC, the span of thermometers in the trade; a formula's own range may be
// narrower. The error is a *units.Error.
func Sampled(temperature float64, unit string) (Water, error) {
	c, err := units.ToCanonical(units.Temperature, temperature, unit)
	if err != nil {
		return Water{}, err
	}
	if !(c >= 0 && c <= 40) {
		return Water{}, &units.Error{Reason: units.OutOfRange, Found: fmt.Sprintf("a sample of %.4g degC", c), Allowed: "0..40 degC", Hint: "check the number and its unit"}
	}
	w := Ordinary()
	w.Temperature = seawater.Celsius(c)
	return w, nil
}

// NeedsTemperature says whether a value in this unit means different levels at different temperatures.
func NeedsTemperature(q units.Quantity, name string) bool {
	u, ok := find(q, name)
	return ok && u.byTemperature
}

// unit is one that needs the water. from gives the canonical value.
type unit struct {
	name   string
	folded string // the name as fold gives it
	method string
	from   func(v float64, w Water) (float64, error)
	to     func(canonical float64, w Water) (float64, error)
	// byTemperature: the conversion depends on the water's temperature. A specific gravity does not: its scale names
	// both temperatures.
	byTemperature bool
}

// gravities are the scales that specific gravity is read on, in the spelling of unit names.
var gravities = []string{"25/25", "20/20", "60F/60F", "20/4", "25/4", "25/20", "25/60F", "26/20"}

func gravity(label string) unit {
	scale, _ := seawater.SGScaleNamed(label)
	return unit{
		name:   "SG " + label,
		method: "density ratio to pure water, EOS-80 (Millero & Poisson 1981)",
		from: func(v float64, w Water) (float64, error) {
			s, err := seawater.SalinityFromSpecificGravity(v, scale)
			return float64(s), err
		},
		to: func(c float64, w Water) (float64, error) { return seawater.SpecificGravity(seawater.PSU(c), scale) },
	}
}

var conductivity = unit{
	name: "mS/cm", byTemperature: true,
	method: "practical salinity scale PSS-78 (UNESCO 44), at the sample's temperature",
	from: func(v float64, w Water) (float64, error) {
		s, err := seawater.Salinity(seawater.Conductivity(v), w.Temperature, 0)
		return float64(s), err
	},
	to: func(c float64, w Water) (float64, error) {
		k, err := seawater.ConductivityOf(seawater.PSU(c), w.Temperature, 0)
		return float64(k), err
	},
}

// perKilogram turns a unit per kilogram of seawater into the one per litre by the water's density.
func perKilogram(name string, q units.Quantity, perLitre string) unit {
	return unit{
		name: name, byTemperature: true,
		method: "density of the water, EOS-80 (Millero & Poisson 1981)",
		from: func(v float64, w Water) (float64, error) {
			rho, err := seawater.DensityOf(w.Salinity, w.Temperature)
			if err != nil {
				return 0, err
			}
			return units.ToCanonical(q, v*float64(rho)/1000, perLitre)
		},
		to: func(c float64, w Water) (float64, error) {
			rho, err := seawater.DensityOf(w.Salinity, w.Temperature)
			if err != nil {
				return 0, err
			}
			v, err := units.FromCanonical(q, c, perLitre)
			return v * 1000 / float64(rho), err
		},
	}
}

// unitsOf lists the units of a quantity that need the water.
func unitsOf(q units.Quantity) []unit {
	switch q {
	case units.Salinity:
		out := []unit{conductivity}
		for _, label := range gravities {
			out = append(out, gravity(label))
		}
		return out
	case units.Alkalinity:
		return []unit{perKilogram("umol/kg", q, "mmol/L").scaled(1000), perKilogram("mmol/kg", q, "mmol/L")}
	}
	if _, ion := units.IonMass(q); ion {
		return []unit{perKilogram("mg/kg", q, "mg/L"), perKilogram("mmol/kg", q, "mmol/L"), perKilogram("umol/kg", q, "mmol/L").scaled(1000)}
	}
	return nil
}

// scaled is the unit of which factor make one.
func (u unit) scaled(factor float64) unit {
	from, to := u.from, u.to
	u.from = func(v float64, w Water) (float64, error) { return from(v/factor, w) }
	u.to = func(c float64, w Water) (float64, error) {
		v, err := to(c, w)
		return v * factor, err
	}
	return u
}

// Names lists every unit of a quantity, the canonical one first, those that need the water last.
func Names(q units.Quantity) []string {
	names := units.UnitNames(q)
	for _, u := range unitsOf(q) {
		names = append(names, u.name)
	}
	return names
}

func find(q units.Quantity, name string) (unit, bool) {
	folded := fold(name)
	for _, u := range byWater[q] {
		if u.folded == folded {
			return u, true
		}
	}
	return unit{}, false
}

// byWater has the units that need the water, by quantity. It is made once: a history asks for every test.
var byWater = func() map[units.Quantity][]unit {
	m := map[units.Quantity][]unit{}
	for _, q := range units.Quantities() {
		for _, u := range unitsOf(q) {
			u.folded = fold(u.name)
			m[q] = append(m[q], u)
		}
	}
	return m
}()

var spellings = strings.NewReplacer(" ", "", "µ", "u", "μ", "u", "°", "")

// fold makes spellings alike: case, spaces, and the micro sign.
func fold(s string) string {
	return spellings.Replace(strings.ToLower(s))
}

// ToCanonical converts a value to its quantity's canonical unit. method says by what, and is empty where only a
// factor was needed. The error is a *units.Error or one of package seawater.
func ToCanonical(q units.Quantity, v float64, name string, w Water) (canonical float64, method string, err error) {
	if u, ok := find(q, name); ok {
		canonical, err = u.from(v, w)
		return canonical, u.method, err
	}
	if q == units.Salinity && fold(name) == "sg" {
		return 0, "", &units.Error{Reason: units.MissingUnit, Found: fmt.Sprintf("%g SG does not say its reference temperatures", v),
			Allowed: "SG " + strings.Join(gravities, ", SG "), Hint: "look on the instrument: the same water reads up to 0.0035 apart"}
	}
	canonical, err = units.ToCanonical(q, v, name)
	return canonical, "", withNames(q, err)
}

// FromCanonical is the inverse of ToCanonical.
func FromCanonical(q units.Quantity, canonical float64, name string, w Water) (v float64, method string, err error) {
	if u, ok := find(q, name); ok {
		v, err = u.to(canonical, w)
		return v, u.method, err
	}
	v, err = units.FromCanonical(q, canonical, name)
	return v, "", withNames(q, err)
}

// withNames lets a refusal of package units offer the units of this package too.
func withNames(q units.Quantity, err error) error {
	var u *units.Error
	if !errors.As(err, &u) || u.Reason == units.NotANumber || len(Names(q)) == 0 {
		return err
	}
	all := *u
	all.Allowed = strings.Join(Names(q), ", ")
	return &all
}

// CheckEntry is units.CheckEntry for units that need the water too.
func CheckEntry(q units.Quantity, v float64, name string, w Water) (canonical float64, verdict units.EntryVerdict, hint error) {
	u, ok := find(q, name)
	if !ok {
		if _, _, err := ToCanonical(q, v, name, w); err != nil {
			return 0, units.Refused, err
		}
		return units.CheckEntry(q, v, name)
	}
	canonical, err := u.from(v, w)
	if err != nil {
		return 0, units.Refused, &units.Error{Reason: units.OutOfRange, Found: fmt.Sprintf("%g %s is no seawater: %s", v, u.name, err), Hint: "check the number and its unit"}
	}
	return units.CheckEntry(q, canonical, q.Unit())
}
