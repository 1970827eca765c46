package units

import (
	"fmt"
	"math"
	"strings"
	"time"
	"unicode"
)

// durationMost bounds what can be meant: a hundred years.
const durationMost = 36500 * day

type durationDef struct {
	name string
	also []string
	unit time.Duration
}

// durationUnits stand in falling order, in which a text must name them.
var durationUnits = []durationDef{
	{"w", []string{"week", "weeks"}, 7 * day},
	{"d", []string{"day", "days"}, day},
	{"h", []string{"hr", "hour", "hours"}, time.Hour},
	{"min", []string{"m", "minute", "minutes"}, time.Minute},
	{"s", []string{"sec", "second", "seconds"}, time.Second},
	{"ms", nil, time.Millisecond},
}

func durationUnit(folded string) (durationDef, bool) {
	for _, d := range durationUnits {
		if d.name == folded {
			return d, true
		}
		for _, a := range d.also {
			if a == folded {
				return d, true
			}
		}
	}
	return durationDef{}, false
}

// ParseDuration reads one or more numbers with units from weeks down to milliseconds, such as "90s", "2h30m",
// "4d" or "1.5 h". m is minutes. Each unit appears once, larger ones first. The result is 0 to 36500 d.
func ParseDuration(text string) (time.Duration, error) {
	rest := strings.TrimSpace(text)
	if rest == "" {
		return 0, noNumber(text, "write a number with its unit")
	}
	last, total := time.Duration(math.MaxInt64), 0.0
	for rest != "" {
		part, tail := cutDurationPart(rest)
		value, unit, err := ParseSplit(part)
		if err != nil {
			return 0, err
		}
		d, err := checkDurationUnit(text, unit)
		if err != nil {
			return 0, err
		}
		if value < 0 {
			return 0, &Error{Reason: OutOfRange, Found: fmt.Sprintf("%q is below zero", clip(text)), Allowed: "0 s or more"}
		}
		if d.unit >= last {
			return 0, durationError(text, "name each unit once and larger ones first, as in 2h30m")
		}
		last, total = d.unit, total+value*float64(d.unit)
		rest = tail
	}
	if !(total <= float64(durationMost)) {
		return 0, &Error{Reason: OutOfRange, Found: fmt.Sprintf("%q is longer than anything here can last", clip(text)), Allowed: "36500 d or less"}
	}
	return time.Duration(math.Round(total)), nil
}

func checkDurationUnit(text, unit string) (durationDef, error) {
	if unit == "" {
		return durationDef{}, &Error{
			Reason: MissingUnit, Found: fmt.Sprintf("%q has no unit", clip(text)), Allowed: durationNames(),
			Hint: "write the unit behind the number, as in " + clip(strings.TrimSpace(text)) + "s",
		}
	}
	if hint, ambiguous := ambiguousCase(unit); ambiguous {
		return durationDef{}, durationError(text, hint)
	}
	d, ok := durationUnit(fold(unit))
	if !ok {
		return durationDef{}, durationError(text, durationHint(fold(unit)))
	}
	return d, nil
}

func durationHint(folded string) string {
	switch folded {
	case "mo", "month", "months", "y", "yr", "year", "years":
		return "months and years differ in length: write days"
	}
	return kindHint(folded)
}

func durationError(text, hint string) *Error {
	return &Error{Reason: WrongUnit, Found: fmt.Sprintf("%q is no duration", clip(text)), Allowed: durationNames(), Hint: hint}
}

func durationNames() string {
	list := make([]string, len(durationUnits))
	for i, d := range durationUnits {
		list[i] = d.name
	}
	return strings.Join(list, ", ")
}

// cutDurationPart takes the first number with its unit: up to the next digit that follows a letter.
func cutDurationPart(s string) (part, tail string) {
	n := max(numberLength(s), 1)
	for i, r := range s[n:] {
		if i > 0 && (unicode.IsDigit(r) || r == '.' || r == '-' || r == '+') && hasLetter(s[n:n+i]) {
			return s[:n+i], s[n+i:]
		}
	}
	return s, ""
}

func hasLetter(s string) bool { return strings.IndexFunc(s, unicode.IsLetter) >= 0 }
