package units

import (
	"fmt"
	"strings"
)

// EntryVerdict says what to do with a test value as a person entered it.
type EntryVerdict int

// Verdicts on an entry. The zero value is the strict one.
const (
	Refused      EntryVerdict = iota // nothing is changed; the hint says why
	NeedsConfirm                     // possible in a crashed tank: ask once more with both readings shown
	Accepted
)

func (v EntryVerdict) String() string {
	switch v {
	case Accepted:
		return "accepted"
	case NeedsConfirm:
		return "needs confirmation"
	}
	return "refused"
}

// entryRange is what a test may say, canonical unit, ends included. Values between sureLeast and sureMost
// are accepted, those between least and most with confirmation.
type entryRange struct{ least, sureLeast, sureMost, most float64 }

func sure(least, most float64) entryRange { return entryRange{least, least, most, most} }

// rangeOf gives the entry range of q (H-28). Those of iodine, boron, fluoride, bromide, iron and ORP are this
// program's own choice: from zero to a few times the natural level at 35 psu.
func rangeOf(q Quantity) (entryRange, bool) {
	switch q {
	case Alkalinity:
		return entryRange{1, 4, 16, 25}, true
	case Calcium:
		return sure(250, 650), true
	case Magnesium:
		return sure(800, 1800), true
	case Nitrate:
		return sure(0, 200), true
	case Phosphate:
		return sure(0, 5), true
	case Potassium:
		return sure(200, 600), true
	case Strontium:
		return sure(0, 30), true
	case PH:
		return sure(7.0, 9.2), true
	case Salinity:
		return sure(5, 45), true
	case Temperature:
		return sure(10, 35), true
	case Iodide, Iodine, Iron:
		return sure(0, 1), true
	case Boron:
		return sure(0, 20), true
	case Fluoride:
		return sure(0, 5), true
	case Bromide:
		return sure(0, 200), true
	case ORP:
		return sure(-500, 1000), true
	}
	return entryRange{}, false
}

// EntryRange is what a test of q may say at all, canonical unit, ends included; false if q is not entered by tests.
func EntryRange(q Quantity) (least, most float64, ok bool) {
	r, ok := rangeOf(q)
	return r.least, r.most, ok
}

// CheckEntry judges a test value as entered, with its unit (H-28). It never converts a value to another unit
// than the one named: a number that is plausible only in another unit is refused, and the hint, an *Error, says
// which unit was probably meant. The hint is nil exactly when the verdict is Accepted. The canonical value is 0
// when the verdict is Refused.
func CheckEntry(q Quantity, value float64, unit string) (canonical float64, verdict EntryVerdict, hint error) {
	v, err := ToCanonical(q, value, unit)
	if err != nil {
		return 0, Refused, err
	}
	r, ok := rangeOf(q)
	switch {
	case !ok:
		return 0, Refused, noLevel(q)
	case v >= r.sureLeast && v <= r.sureMost:
		return v, Accepted, nil
	case v >= r.least && v <= r.most:
		return v, NeedsConfirm, confirmHint(q, value, unit, v, r)
	}
	return 0, Refused, refuseHint(q, value, unit, r)
}

func confirmHint(q Quantity, value float64, unit string, v float64, r entryRange) *Error {
	e := &Error{
		Reason: OutOfRange, Found: fmt.Sprintf("%s is an unusual %s", entered(q, value, unit, v), q),
		Allowed: rangeText(r.sureLeast, r.sureMost, q), Hint: "measure again, or confirm it",
	}
	if s := suggestions(q, value, unit, r); s != "" {
		e.Hint = s + ": enter it with that unit, or confirm it as it is"
	}
	return e
}

func refuseHint(q Quantity, value float64, unit string, r entryRange) *Error {
	e := &Error{Reason: OutOfRange, Found: fmt.Sprintf("%s is no seawater %s", withUnit(value, unit), q)}
	if s := suggestions(q, value, unit, r); s != "" {
		e.Hint = s + ": enter it with that unit"
		return e
	}
	e.Allowed, e.Hint = rangeText(r.least, r.most, q), "check the number and its unit"
	if q == Salinity {
		e.Hint = salinityHint(value)
	}
	return e
}

// suggestions names at most two units in which the same number would be an ordinary level.
func suggestions(q Quantity, value float64, unit string, r entryRange) string {
	mine, err := findUnit(q, value, unit)
	if err != nil {
		return ""
	}
	var list []string
	for _, d := range unitsOf(q) {
		if len(list) == 2 {
			break
		}
		v := value*d.factor + d.offset
		if !d.suspect || d.factor == mine.factor || v <= 0 || !(v >= r.sureLeast && v <= r.sureMost) {
			continue
		}
		list = append(list, fmt.Sprintf("%s would be %s", withUnit(value, d.name), level(q, v)))
	}
	return strings.Join(list, " or ")
}

// salinityHint recognises readings of other instruments: specific gravity near 1.026, conductivity near 53.
func salinityHint(value float64) string {
	switch {
	case value >= 1.003 && value <= 1.035:
		return "it looks like a specific gravity: enter it with its reference temperatures, such as SG 25/25"
	case value > 45 && value <= 65:
		return "it looks like a conductivity: enter it in mS/cm"
	}
	return "check the number and its unit"
}

func entered(q Quantity, value float64, unit string, v float64) string {
	s := withUnit(value, unit)
	if value != v {
		s += " (" + level(q, v) + ")"
	}
	return s
}

func level(q Quantity, v float64) string {
	if q == Alkalinity {
		return fmt.Sprintf("%.1f %s", v, q.Unit())
	}
	return fmt.Sprintf("%.4g %s", v, q.Unit())
}

func rangeText(least, most float64, q Quantity) string {
	return fmt.Sprintf("%g..%g %s", least, most, q.Unit())
}
