package config

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"aliquot/planner/units"
	"aliquot/safety"

	"gopkg.in/yaml.v3"
)

// take reads a key into dst if it is there. It is true only if dst was set. A missing key is no problem here:
// the table of keys decides about that.
func take[T any](m mapping, key string, dst *T, read func(value) (T, bool)) bool {
	v, ok := m.get(key)
	if !ok {
		return false
	}
	x, ok := read(v)
	if ok {
		*dst = x
	}
	return ok
}

// text gives a scalar as it is written, without quotes. Nothing and the empty text are problems.
func (v value) text() (string, bool) {
	if v.r.bad[v.y] {
		return "", false
	}
	if v.y.Kind != yaml.ScalarNode || isNull(v.y) {
		v.problem("found "+kindOf(v.y), v.wantedType(), "")
		return "", false
	}
	if strings.TrimSpace(v.y.Value) == "" {
		v.problem("the value is empty", v.wantedType(), "")
		return "", false
	}
	if strings.ContainsFunc(v.y.Value, func(r rune) bool { return r < ' ' && r != '\n' && r != '\t' || r == 0x7f }) {
		v.problem(fmt.Sprintf("%q has control characters", clip(v.y.Value)), v.wantedType(), "")
		return "", false
	}
	return v.y.Value, true
}

func readText(v value) (string, bool) { return v.text() }

// readLine is a text without line breaks.
func readLine(v value) (string, bool) {
	s, ok := v.text()
	if ok && strings.ContainsAny(s, "\n\t") {
		v.problem(fmt.Sprintf("%q has more than one line", clip(s)), v.wantedType(), "")
		return "", false
	}
	return s, ok
}

func readBool(v value) (bool, bool) {
	s, ok := v.text()
	if !ok {
		return false, false
	}
	if v.y.Tag != "!!bool" {
		v.problem(fmt.Sprintf("found %q", clip(s)), v.wantedType(), "")
		return false, false
	}
	return strings.EqualFold(s, "true"), true
}

// readWord accepts one of a closed list.
func readWord[T ~string](words ...T) func(value) (T, bool) {
	return func(v value) (T, bool) {
		s, ok := v.text()
		if !ok {
			return "", false
		}
		list := make([]string, len(words))
		for i, w := range words {
			if string(w) == s {
				return w, true
			}
			list[i] = string(w)
		}
		v.problem(fmt.Sprintf("found %q", clip(s)), v.wantedType(), didYouMean(s, list))
		return "", false
	}
}

// readWhole accepts a whole number in plain decimal digits: no sign, no leading zero, which YAML reads as
// octal.
func readWhole(least, most int) func(value) (int, bool) {
	return func(v value) (int, bool) {
		s, ok := v.text()
		if !ok {
			return 0, false
		}
		n, err := strconv.Atoi(s)
		if err != nil || strconv.Itoa(n) != s || n < least || n > most {
			v.problem(fmt.Sprintf("found %q", clip(s)), v.wantedType(), "")
			return 0, false
		}
		return n, true
	}
}

// unitsProblem reports what a parser of planner/units refused.
func (v value) unitsProblem(err error) {
	var e *units.Error
	if !errors.As(err, &e) {
		v.problem(err.Error(), v.wantedType(), "")
		return
	}
	allowed, do := v.wantedType(), e.Hint
	if e.Allowed != "" {
		allowed = "allowed: " + e.Allowed
	}
	if strings.HasPrefix(allowed, "must be a number") {
		do = "" // the parser's hint speaks of units, and there is none here
	}
	v.problem(e.Found, allowed, do)
}

// measure reads a number with its unit and holds it between two bounds, both allowed.
func measure(parse func(string) (float64, error), least, most float64, unit string) func(value) (float64, bool) {
	return func(v value) (float64, bool) {
		s, ok := readLine(v)
		if !ok {
			return 0, false
		}
		x, err := parse(s)
		if err != nil {
			v.unitsProblem(err)
			return 0, false
		}
		if !(x >= least && x <= most) {
			v.problem(clip(s)+" is out of range", strings.TrimSpace(fmt.Sprintf("must be %s to %s %s", num(least), num(most), unit)), "")
			return 0, false
		}
		return x, true
	}
}

// volume reads mL into whole µL, rounded down: a limit is never widened by rounding.
func volume(least, most safety.Microlitres) func(value) (safety.Microlitres, bool) {
	read := measure(units.ParseVolume, least.Millilitres(), most.Millilitres(), "mL")
	return func(v value) (safety.Microlitres, bool) {
		ml, ok := read(v)
		if !ok {
			return 0, false
		}
		return v.microlitres(ml)
	}
}

func volumePerDay(least, most safety.Microlitres) func(value) (safety.Microlitres, bool) {
	read := measure(units.ParseVolumePerDay, least.Millilitres(), most.Millilitres(), "mL/day")
	return func(v value) (safety.Microlitres, bool) {
		ml, ok := read(v)
		if !ok {
			return 0, false
		}
		return v.microlitres(ml)
	}
}

func (v value) microlitres(ml float64) (safety.Microlitres, bool) {
	u, err := safety.MillilitresDown(ml)
	if err != nil {
		v.problem(err.Error(), v.wantedType(), "")
		return 0, false
	}
	return u, true
}

// duration reads a time with its unit between two bounds, both allowed.
func duration(least, most time.Duration) func(value) (time.Duration, bool) {
	return func(v value) (time.Duration, bool) {
		s, ok := readLine(v)
		if !ok {
			return 0, false
		}
		d, err := units.ParseDuration(s)
		if err != nil {
			v.unitsProblem(err)
			return 0, false
		}
		if d < least || d > most {
			v.problem(clip(s)+" is out of range", "must be "+span(least)+" to "+span(most), "")
			return 0, false
		}
		return d, true
	}
}

// span prints a duration the way people write it in the file: 90s, 10m, 12h, 21d, 1h30m.
func span(d time.Duration) string {
	const day = 24 * time.Hour
	switch {
	case d >= 2*day && d%day == 0:
		return fmt.Sprintf("%dd", d/day)
	case d >= time.Hour && d%time.Hour == 0:
		return fmt.Sprintf("%dh", d/time.Hour)
	case d >= time.Hour && d%time.Minute == 0:
		return fmt.Sprintf("%dh%dm", d/time.Hour, d%time.Hour/time.Minute)
	case d >= 5*time.Minute && d%time.Minute == 0:
		return fmt.Sprintf("%dm", d/time.Minute)
	}
	return num(d.Seconds()) + "s"
}

// num prints a number for people: at most six significant digits, no exponent in the ranges used here.
func num(x float64) string {
	s := strconv.FormatFloat(x, 'g', 6, 64)
	if strings.ContainsAny(s, "e") {
		return strconv.FormatFloat(x, 'f', -1, 64)
	}
	return s
}

// level prints a level or a change with its unit for people: three significant digits.
func level(x float64, unit string) string {
	return strings.TrimSpace(strconv.FormatFloat(round3(x), 'f', -1, 64) + " " + unit)
}

// round3 rounds to three significant digits.
func round3(x float64) float64 {
	r, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 3, 64), 64)
	if err != nil {
		return x // an infinite value prints as it is
	}
	return r
}
