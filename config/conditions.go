package config

import (
	"fmt"
	"strings"
	"time"

	"aliquot/planner/units"
)

// readCondition reads one side of an interlock: exactly one of above, below, is.
func readCondition(m mapping, probe Probe, longest time.Duration) (c Condition, ok bool) {
	take(m, "for", &c.For, duration(0, longest))
	var given []string
	for _, key := range []string{"above", "below", "is"} {
		if m.has(key) {
			given = append(given, key)
		}
	}
	if len(given) != 1 {
		found := "none of above, below and is"
		if len(given) > 1 {
			found = joined(given) + " together"
		}
		m.problem(found, "must have exactly one of them", "")
		return c, false
	}
	side := m.items[given[0]]
	if onOff := given[0] == "is"; onOff != (probe.Quantity == units.Switch) {
		side.problem(fmt.Sprintf("%s does not fit the probe %s, which measures %s", given[0], probe.ID, probe.Quantity),
			"is belongs to a switch, above and below to a number", "")
		return c, false
	}
	if given[0] == "is" {
		c.Relation, ok = readWord(IsOn, IsOff)(side)
		return c, ok
	}
	c.Relation = Relation(given[0])
	c.Value, ok = readThreshold(side, probe)
	return c, ok
}

// readThreshold reads a number in the probe's unit, or with a unit of its own, that the probe can show. It
// gives the canonical unit.
func readThreshold(v value, probe Probe) (float64, bool) {
	s, ok := readLine(v)
	if !ok {
		return 0, false
	}
	number, unit, err := units.ParseSplit(s)
	if err != nil {
		v.unitsProblem(err)
		return 0, false
	}
	if unit == "" {
		unit = probe.Unit
	}
	x, err := units.ToCanonical(probe.Quantity, number, unit)
	if err != nil {
		v.unitsProblem(err)
		return 0, false
	}
	shown, err := units.FromCanonical(probe.Quantity, x, probe.Unit)
	if err != nil || !(shown > probe.Low && shown < probe.High) {
		v.problem(fmt.Sprintf("%s is not inside the range %s..%s of the probe %s", strings.TrimSpace(s), num(probe.Low), num(probe.High), probe.ID),
			"must lie inside it: the probe counts as not read outside", "")
		return 0, false
	}
	if probe.Quantity == units.PH && leaf(v.path) == "above" && !strings.HasSuffix(parentPath(v.path), ".until") && !(x <= maxPHAbove) {
		v.problem(fmt.Sprintf("above is %s", num(x)), "for pH at most 8.60, where the built-in alarm is", "")
		return 0, false
	}
	return x, true
}

// untilFits checks that an interlock lets go on the other side of what made it block.
func (m mapping) untilFits(l *Interlock, probe Probe) {
	between := 0.0
	if probe.Quantity == units.PH {
		between = minPHBetween
	}
	// Thresholds have two or three decimals: a difference of 0.05 must not fail by its last binary digit.
	const tiny = 1e-9
	w, u := l.When, *l.Until
	both := fmt.Sprintf("when is %s, until is %s", condition(w, probe), condition(u, probe))
	fits, allowed := false, ""
	switch w.Relation {
	case Above:
		fits = u.Relation == Below && w.Value-u.Value >= between-tiny && u.Value < w.Value
		allowed = "until must be below, and less than " + num(w.Value) + lessBy(between)
	case Below:
		fits = u.Relation == Above && u.Value-w.Value >= between-tiny && u.Value > w.Value
		allowed = "until must be above, and more than " + num(w.Value) + lessBy(between)
	case IsOn:
		fits, allowed = u.Relation == IsOff, "until must be is: off"
	case IsOff:
		fits, allowed = u.Relation == IsOn, "until must be is: on"
	default:
		return // the condition itself was refused
	}
	if !fits {
		m.r.at(m.path+".until", both, allowed, "")
	}
}

func lessBy(between float64) string {
	if between > 0 {
		return " by " + num(between) + " or more"
	}
	return ""
}

func condition(c Condition, probe Probe) string {
	if c.Relation == IsOn || c.Relation == IsOff {
		return string(c.Relation)
	}
	unit := probe.Quantity.Unit()
	if unit == "pH" {
		unit = ""
	}
	return strings.TrimSpace(string(c.Relation) + " " + num(c.Value) + " " + unit)
}
