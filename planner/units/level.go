package units

import (
	"fmt"
	"strings"
)

const absoluteZero = -273.15 // degC

// ParseLevel reads a level of q with its unit, such as "8.3 dKH", and gives it in q's canonical unit. pH alone
// may come without a unit. Levels below zero are refused except temperature and ORP. It does not judge
// whether a tank can have that level: see CheckEntry.
func ParseLevel(q Quantity, text string) (float64, error) {
	value, unit, err := ParseSplit(text)
	if err != nil {
		return 0, err
	}
	v, err := ToCanonical(q, value, unit)
	if err != nil {
		return 0, err
	}
	least := 0.0
	switch q {
	case Temperature:
		least = absoluteZero
	case ORP:
		return v, nil
	}
	if v < least {
		return 0, &Error{Reason: OutOfRange, Found: fmt.Sprintf("%q is no level of %s", clip(text), q), Allowed: withUnit(least, q.Unit()) + " or more"}
	}
	return v, nil
}

// ParseLevelPerDay reads a change of q per day, such as "0.7 dKH/day" or "20 mg/L/d", 0 or more, and gives it
// in the canonical unit per 24 h. For temperature the degrees are differences.
func ParseLevelPerDay(q Quantity, text string) (float64, error) {
	value, unit, err := ParseSplit(text)
	if err != nil {
		return 0, err
	}
	if len(unitsOf(q)) == 0 {
		return 0, noLevel(q)
	}
	perDay, ok := cutPerDay(unit)
	if !ok {
		return 0, &Error{
			Reason: WrongUnit, Found: fmt.Sprintf("%q is no change per day", clip(text)),
			Allowed: q.Unit() + "/day", Hint: "write /day behind the unit",
		}
	}
	d, err := findUnit(q, value, perDay)
	if err != nil {
		return 0, err
	}
	if value < 0 {
		return 0, &Error{Reason: OutOfRange, Found: fmt.Sprintf("%q is below zero", clip(text)), Allowed: "0 or more"}
	}
	return finite(value*d.factor, text)
}

// cutPerDay takes "/day" or "/d" off a unit.
func cutPerDay(unit string) (string, bool) {
	folded := fold(unit)
	for _, suffix := range []string{"/day", "/d"} {
		if bare, ok := strings.CutSuffix(folded, suffix); ok {
			return strings.TrimSpace(bare), true
		}
	}
	return "", false
}
