package stock

import (
	"fmt"
	"strings"

	"aliquot/planner/units"
)

// Largest strengths that a solution can have, in 1 L for 1 mL: no millilitre holds more than 2 g of one ion, and
// saturated sodium hydroxide, the strongest base, brings 53 dKH. A claim above that has a unit slip.
const (
	strengthMostIon        = 2000
	strengthMostAlkalinity = 60
)

// ParseClaim reads what a label says a supplement does, such as "0.4 mg/L per mL in 100 L" or "1 dKH per 5 mL in
// 50 L", and gives the strength in q's canonical unit in 1 L for 1 mL: 40 for the first. A volume without a
// number is one of it. Only alkalinity and dissolved substances can be claimed.
func ParseClaim(q units.Quantity, text string) (strength float64, err error) {
	if _, ion := units.IonMass(q); !ion && q != units.Alkalinity {
		return 0, fmt.Errorf("%q cannot be raised by a supplement; claim alkalinity or a dissolved substance", q)
	}
	level, dose, water, ok := cutClaim(text)
	if !ok {
		return 0, fmt.Errorf("%q is no claim; write it as \"0.4 mg/L per mL in 100 L\"", clip(text))
	}
	rise, err := units.ParseLevel(q, level)
	if err != nil {
		return 0, fmt.Errorf("claim %q: %w", clip(text), err)
	}
	doseML, err := claimVolume(dose)
	if err != nil {
		return 0, fmt.Errorf("claim %q: dose: %w", clip(text), err)
	}
	waterML, err := claimVolume(water)
	if err != nil {
		return 0, fmt.Errorf("claim %q: water: %w", clip(text), err)
	}
	return checkStrength(q, text, rise*(waterML/1000)/doseML)
}

func checkStrength(q units.Quantity, text string, strength float64) (float64, error) {
	most := float64(strengthMostIon)
	if q == units.Alkalinity {
		most = strengthMostAlkalinity
	}
	if !(strength > 0 && strength <= most) {
		return 0, fmt.Errorf("claim %q: 1 mL would change 1 L by %.4g %s, possible is above 0 and at most %g %s; check the units",
			clip(text), strength, q.Unit(), most, q.Unit())
	}
	return strength, nil
}

// cutClaim splits "LEVEL per DOSE in WATER"; the last two may change places.
func cutClaim(text string) (level, dose, water string, ok bool) {
	const per, in = " per ", " in "
	s := strings.Join(strings.Fields(text), " ")
	p, i := strings.LastIndex(s, per), strings.LastIndex(s, in)
	switch {
	case p < 0 || i < 0:
		return "", "", "", false
	case p+len(per) <= i:
		return s[:p], s[p+len(per) : i], s[i+len(in):], true
	case i+len(in) <= p:
		return s[:i], s[p+len(per):], s[i+len(in) : p], true
	}
	return "", "", "", false
}

// claimVolume reads a volume above 0 in mL; a unit alone is one of it.
func claimVolume(text string) (float64, error) {
	v, err := units.ParseVolume(text)
	if err != nil {
		one, unitErr := units.ParseVolume("1 " + text)
		if unitErr != nil {
			return 0, err
		}
		v = one
	}
	if !(v > 0) {
		return 0, fmt.Errorf("%q is not above 0 mL", clip(text))
	}
	return v, nil
}
