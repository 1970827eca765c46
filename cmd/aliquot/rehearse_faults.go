package main

import (
	"fmt"
	"strings"
	"time"

	"aliquot/bridge/rehearse"
	"aliquot/planner/units"
)

// cutSpan splits "dayN+6h", or "what@dayN+6h" where it has to name something.
func cutSpan(flag, text, example string, named bool, days int) (what string, span rehearse.Span, err error) {
	when, length, ok := cutLast(text, "+")
	if !ok {
		return "", span, usage(flag, text, "it does not say for how long", example)
	}
	if !named {
		when = "@" + when
	}
	what, from, err := cutDay(flag, when, example, days)
	if err != nil {
		if m, is := asMisread(err); is {
			err = usage(flag, text, m.why, example)
		}
		return "", span, err
	}
	d, perr := units.ParseDuration(length)
	if perr != nil || d <= 0 || d > 366*day {
		return "", span, usage(flag, text, fmt.Sprintf("%q is no duration", length), example)
	}
	return what, rehearse.Span{From: from, To: from + d}, nil
}

func (s scene) readCuts(_ loaded, into *rehearse.Scenario) error {
	for _, text := range s.PowerCut {
		_, span, err := cutSpan("power-cut", text, "day5+6h", false, into.Days)
		if err != nil {
			return err
		}
		into.Cuts = append(into.Cuts, span)
	}
	return nil
}

// among refuses a name that the configuration does not have.
func among(ids []string, kind, name, flag, text, example string) error {
	if has(ids, name) {
		return nil
	}
	return usage(flag, text, fmt.Sprintf("there is no %s %q; there are: %s", kind, name, strings.Join(ids, ", ")), example)
}

func (s scene) readEmpties(l loaded, into *rehearse.Scenario) error {
	const flag, example = "empties", "carbonate-jug@day9"
	var ids []string
	for _, k := range l.Containers {
		ids = append(ids, k.ID)
	}
	for _, text := range s.Empties {
		name, at, err := cutDay(flag, text, example, into.Days)
		if err != nil {
			return err
		}
		if err := among(ids, "container", name, flag, text, example); err != nil {
			return err
		}
		into.Empties = append(into.Empties, rehearse.Empties{Container: name, At: at})
	}
	return nil
}

func (s scene) readStuck(l loaded, into *rehearse.Scenario) error {
	const flag, example = "stuck-probe", "ph@day4+2d"
	var ids []string
	for _, p := range l.Probes {
		ids = append(ids, p.ID)
	}
	for _, text := range s.StuckProbe {
		name, span, err := cutSpan(flag, text, example, true, into.Days)
		if err != nil {
			return err
		}
		if err := among(ids, "probe", name, flag, text, example); err != nil {
			return err
		}
		into.Stuck = append(into.Stuck, rehearse.StuckProbe{Probe: name, Span: span})
	}
	return nil
}

func (s scene) readUseSteps(l loaded, into *rehearse.Scenario) error {
	const flag, example = "use-step", "+30%@day10"
	var ids []string
	for _, y := range l.Systems {
		ids = append(ids, y.ID)
	}
	for _, text := range s.UseStep {
		what, at, err := cutDay(flag, text, example, into.Days)
		if err != nil {
			return err
		}
		systems := ids
		if name, value, named := strings.Cut(what, "="); named {
			name = strings.TrimSpace(name)
			if err := among(ids, "system", name, flag, text, example); err != nil {
				return err
			}
			systems, what = []string{name}, value
		}
		share, ok := percent(what)
		if !ok || !(share >= -0.9 && share <= 2) {
			return usage(flag, text, "a step is -90 % to 200 %", example)
		}
		for _, id := range systems {
			into.UseSteps = append(into.UseSteps, rehearse.UseStep{System: id, Factor: 1 + share, At: max(at, time.Second)})
		}
	}
	return nil
}
