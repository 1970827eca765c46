package units

import (
	"fmt"
	"strconv"
	"strings"
)

// ParseNumber reads a finite decimal number with a point as decimal mark and an optional exponent. It refuses
// decimal commas, digit separators, infinities, NaN, hexadecimal numbers and anything behind the number.
func ParseNumber(text string) (float64, error) {
	v, unit, err := ParseSplit(text)
	if err != nil {
		return 0, err
	}
	if unit != "" {
		return 0, &Error{Reason: NotANumber, Found: fmt.Sprintf("%q is no plain number", clip(text)), Hint: "leave out " + strconv.Quote(clip(unit))}
	}
	return v, nil
}

// ParseSplit splits a text such as "8.3 dKH" into its number and its unit. The unit comes as written, with
// spaces trimmed, and may be empty. The number is finite.
func ParseSplit(text string) (value float64, unit string, err error) {
	s := strings.TrimSpace(text)
	if rest, ok := strings.CutPrefix(s, "−"); ok { // the typographic minus sign
		s = "-" + rest
	}
	n := numberLength(s)
	if n == 0 {
		return 0, "", noNumber(text, "write a number with its unit")
	}
	unit = strings.TrimSpace(s[n:])
	if hint := brokenNumber(unit); hint != "" {
		return 0, "", noNumber(text, hint)
	}
	value, perr := strconv.ParseFloat(s[:n], 64)
	if perr != nil {
		return 0, "", noNumber(text, "the number is too large")
	}
	if value == 0 {
		value = 0 // no negative zero
	}
	return value, unit, nil
}

func noNumber(text, hint string) *Error {
	if strings.TrimSpace(text) == "" {
		return &Error{Reason: NotANumber, Found: "the value is empty", Hint: hint}
	}
	return &Error{Reason: NotANumber, Found: fmt.Sprintf("%q does not begin with a usable number", clip(text)), Hint: hint}
}

// brokenNumber judges what stands behind the digits: a comma, a second point or further digits mean that the
// number was not written as we read it.
func brokenNumber(rest string) string {
	if rest == "" {
		return ""
	}
	switch c := rest[0]; {
	case c == ',':
		return "use a point as decimal mark and no thousands separator"
	case c == '.' || c == '_' || c == '\'':
		return "write the number with at most one point and without separators"
	case c >= '0' && c <= '9':
		return "write the number without spaces inside"
	case (c == 'x' || c == 'X') && len(rest) > 1:
		return "write the number in decimal digits"
	}
	return ""
}

// numberLength gives the length of the decimal number at the start of s, 0 if there is none.
func numberLength(s string) int {
	i := 0
	if i < len(s) && (s[i] == '-' || s[i] == '+') {
		i++
	}
	whole := digits(s[i:])
	i += whole
	fraction := 0
	if i < len(s) && s[i] == '.' {
		fraction = digits(s[i+1:])
		if whole+fraction > 0 {
			i += 1 + fraction
		}
	}
	if whole+fraction == 0 {
		return 0
	}
	return i + exponentLength(s[i:])
}

// exponentLength is 0 unless digits follow: "5 e" and "5 each" carry no exponent.
func exponentLength(s string) int {
	if s == "" || (s[0] != 'e' && s[0] != 'E') {
		return 0
	}
	i := 1
	if i < len(s) && (s[i] == '-' || s[i] == '+') {
		i++
	}
	n := digits(s[i:])
	if n == 0 {
		return 0
	}
	return i + n
}

func digits(s string) int {
	n := 0
	for n < len(s) && s[n] >= '0' && s[n] <= '9' {
		n++
	}
	return n
}
