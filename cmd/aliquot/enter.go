package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
)

type enterCommand struct {
	Tests         []string `arg:"" optional:"" help:"One test or many: alkalinity 8.3 dKH calcium 430 mg/L"`
	System        string   `help:"Which system, if there are several."`
	At            string   `help:"When the sample was drawn, if not now: 08:30, 2027-03-01 08:30, or RFC 3339."`
	AtTemperature string   `help:"Of the sample, for a conductivity that the meter does not compensate, and for amounts per kilogram." placeholder:"24.5degC"`
	Method        string   `help:"Which test."`
	Lot           string   `help:"Its lot."`
	Of            string   `help:"tank, mix or reference." default:"tank" enum:"tank,mix,reference"`
	Stated        float64  `help:"Of a reference solution: what it is stated to have, in the unit of the test. With --lot it shows by how much that lot reads wrong."`
	csvFlags      `embed:""`
	asking        `embed:""`
}

// entered is one test as it was typed.
type entered struct {
	quantity string
	value    float64
	unit     string
}

// Run enters each test as a request of its own, in the order typed. One that is refused does not keep the others back; the
// exit code says that there was one.
func (e enterCommand) Run(ctx context.Context, std stream, g *Globals) error {
	if (e.CSV == "") == (len(e.Tests) == 0) {
		return fail(exitUsage, "say what was measured, as in aliquot enter alkalinity 8.3 dKH calcium 430 mg/L, or --csv FILE")
	}
	if e.CSV != "" {
		return e.table(ctx, std, g)
	}
	tests, err := parseTests(e.Tests)
	if err != nil {
		return fail(exitUsage, "%w", err)
	}
	if e.Stated != 0 && len(tests) > 1 {
		return fail(exitUsage, "--stated is one number: enter the tests of a reference solution one by one")
	}
	var all []map[string]any
	for _, t := range tests {
		f, err := e.fields(t, g)
		if err != nil {
			return err
		}
		all = append(all, f)
	}
	return e.sendAll(ctx, std, g, all)
}

func (e enterCommand) fields(t entered, g *Globals) (map[string]any, error) {
	f := map[string]any{"quantity": t.quantity, "value": t.value, "unit": t.unit, "of": e.Of}
	set(f, "system", e.System)
	if err := setWhen(f, e.At, g); err != nil {
		return nil, err
	}
	if e.AtTemperature != "" {
		v, unit, err := units.ParseSplit(e.AtTemperature)
		if err != nil {
			return nil, fail(exitUsage, "--at-temperature: %w", err)
		}
		f["temperature"] = map[string]any{"value": v, "unit": unit}
	}
	set(f, "method", e.Method)
	set(f, "lot", e.Lot)
	if e.Stated != 0 {
		f["stated"] = e.Stated
	}
	return f, nil
}

// sendAll sends tests one after the other over one connection.
func (e enterCommand) sendAll(ctx context.Context, std stream, g *Globals, all []map[string]any) error {
	_, c, err := reach(ctx, g)
	if err != nil {
		return err
	}
	defer c.stop()
	failed, last := 0, error(nil)
	for _, f := range all {
		err := e.sendOver(ctx, std, c, machine.VerbTest, f)
		if err == nil {
			continue
		}
		var why failure
		if !asFailure(err, &why) || why.code != exitFailed || ctx.Err() != nil {
			return err // nobody answers, or somebody has gone: the others would do no better
		}
		failed, last = failed+1, err
		if len(all) > 1 && err.Error() != "" {
			fmt.Fprintln(std.err, "aliquot:", err)
		}
	}
	if failed > 0 && len(all) > 1 {
		return fail(exitFailed, "%d of %d tests were not taken; the others were", failed, len(all))
	}
	return last
}

// parseTests reads "alkalinity 8.3 dKH calcium 430 mg/L". A test begins where the name of a quantity is followed by a
// number; what stands behind the number up to the next test is its unit. "calcium=430 mg/L" is read too.
func parseTests(words []string) ([]entered, error) {
	words = spread(words)
	var out []entered
	for i := 0; i < len(words); {
		if i+1 >= len(words) || (len(out) > 0 && !begins(words, i)) {
			return nil, fmt.Errorf("%q is no quantity with its number and unit, such as alkalinity 8.3 dKH", strings.Join(words[i:], " "))
		}
		end := i + 2
		for end < len(words) && !begins(words, end) {
			end++
		}
		t, err := parseTest(words[i], words[i+1], words[i+2:end])
		if err != nil {
			return nil, err
		}
		out, i = append(out, t), end
	}
	return out, nil
}

// spread parts "calcium=430" into its two words.
func spread(words []string) []string {
	var out []string
	for _, w := range words {
		for _, part := range strings.Fields(w) {
			name, value, ok := strings.Cut(part, "=")
			if _, known := quantityOf(name); ok && known {
				out = append(out, name)
				part = value
			}
			if part != "" {
				out = append(out, part)
			}
		}
	}
	return out
}

func begins(words []string, i int) bool {
	if _, ok := quantityOf(words[i]); !ok || i+1 >= len(words) {
		return false
	}
	first := words[i+1][0]
	return (first >= '0' && first <= '9') || strings.ContainsRune("+-.", rune(first))
}

func parseTest(name, number string, unit []string) (entered, error) {
	t := entered{quantity: name, unit: strings.Join(unit, " ")}
	if q, ok := quantityOf(name); ok {
		t.quantity = string(q)
	}
	var err error
	if t.value, err = units.ParseNumber(number); err == nil {
		if t.unit == "" && t.quantity == string(units.PH) {
			t.unit = units.PH.Unit() // it has no other
		}
		return t, nil
	}
	if len(unit) > 0 {
		return t, err
	}
	if t.value, t.unit, err = units.ParseSplit(number); err != nil { // 8.3dKH
		return t, err
	}
	return t, nil
}

// quantityOf finds a quantity by its name, written in any case.
func quantityOf(name string) (units.Quantity, bool) {
	for _, q := range units.Quantities() {
		if strings.EqualFold(string(q), name) {
			return q, true
		}
	}
	return "", false
}

// setWhen puts the time in at which something happened, if one is given.
func setWhen(f map[string]any, text string, g *Globals) error {
	if text == "" {
		return nil
	}
	l, err := load(g.Config)
	if err != nil {
		return err
	}
	at, err := parseWhen(text, time.Now(), l.Zone)
	if err != nil {
		return fail(exitUsage, "--at: %w", err)
	}
	f["at"] = at.UTC().Format(time.RFC3339)
	return nil
}

// parseWhen reads RFC 3339, a local date with or without an hour, or an hour alone: the last one that has been.
func parseWhen(text string, now time.Time, zone *time.Location) (time.Time, error) {
	if t, err := time.Parse(time.RFC3339, text); err == nil {
		return t, nil
	}
	text = strings.TrimSpace(text)
	for _, layout := range []string{"2006-01-02 15:04", "2006-01-02T15:04", time.DateOnly} {
		if t, err := time.ParseInLocation(layout, text, zone); err == nil {
			return t, nil
		}
	}
	if t, err := time.Parse("15:04", text); err == nil {
		l := now.In(zone)
		at := time.Date(l.Year(), l.Month(), l.Day(), t.Hour(), t.Minute(), 0, 0, zone)
		if at.After(now) {
			at = time.Date(l.Year(), l.Month(), l.Day()-1, t.Hour(), t.Minute(), 0, 0, zone)
		}
		return at, nil
	}
	return time.Time{}, fmt.Errorf("%q is no time such as 08:30, 2027-03-01, 2027-03-01 08:30, or RFC 3339 (2027-03-01T08:30:00Z)", text)
}
