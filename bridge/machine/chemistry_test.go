package machine_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner"
	"aliquot/planner/estimate"
	"aliquot/planner/units"
)

// levels are a test of each on the same day: dKH and mg/L.
type levels struct {
	day             float64
	alk, ca, no3    float64
	withoutAlk      bool
	withoutCalcium  bool
	nitrateMeasured bool
}

// months is a history of tests without a dose.
func months(list ...levels) (*history, time.Time) {
	h := &history{}
	at := midnight
	for _, l := range list {
		at = midnight.Add(time.Duration(l.day * 24 * float64(time.Hour)))
		if !l.withoutAlk {
			h.at(at, tested(units.Alkalinity, l.alk, at))
		}
		if !l.withoutCalcium {
			h.at(at, tested(units.Calcium, l.ca, at))
		}
		if l.nitrateMeasured {
			h.at(at, tested(units.Nitrate, l.no3, at))
		}
	}
	return h, at
}

// falling gives n tests over so many days in which both levels fall evenly.
func falling(n int, days, alkPerDay, caPerDay float64) (out []levels) {
	for i := range n {
		d := days * float64(i) / float64(n-1)
		out = append(out, levels{day: d, alk: 9.5 - alkPerDay*d, ca: 440 - caPerDay*d})
	}
	return out
}

func notes(site *machine.Site, h *history, at time.Time, about string) (out []string) {
	s := h.fold(site)
	for _, n := range machine.Preview(&s, at).Notes {
		if strings.Contains(n, about) {
			out = append(out, n)
		}
	}
	return out
}

// Uses are compared when each rests on three accepted tests over two weeks, and not before.
func TestUsesAreComparedOnlyWithEnoughTests(t *testing.T) {
	for _, c := range []struct {
		name  string
		tests []levels
		want  string // in the note; empty: no note
	}{
		{"both true", falling(8, 24, .25, 1.79), "can both be true"},
		{"calcium too fast", falling(8, 28, .1, 4), "calcium falls by"},
		{"alkalinity too fast", falling(15, 20, .35, 0), "alkalinity falls by"},
		{"three tests over 14 days", falling(3, 14, .1, .715), "calcium"},
		{"three tests over a little less", falling(3, 13.99, .1, .715), ""},
		{"two tests over 14 days", falling(2, 14, .1, .715), ""},
		{"no calcium", func() []levels {
			l := falling(8, 28, .1, 4)
			for i := range l {
				l[i].withoutCalcium = true
			}
			return l
		}(), ""},
		{"no alkalinity", func() []levels {
			l := falling(8, 28, .1, 4)
			for i := range l {
				l[i].withoutAlk = true
			}
			return l
		}(), ""},
		{"nothing", nil, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			h, at := months(c.tests...)
			got := notes(previews, h, at, "system reef: ")
			if c.want == "" && len(got) > 0 || c.want != "" && !(len(got) == 1 && strings.Contains(got[0], c.want)) {
				t.Errorf("notes %q; want one with %q", got, c.want)
			}
		})
	}
}

// withNitrate is the site with a target for nitrate, dosed by a channel or not.
func withNitrate(dosed bool) *machine.Site {
	site := lagoon(time.UTC)
	site.Systems[0].Targets = append(site.Systems[0].Targets, planner.Target{Quantity: units.Nitrate, Target: 10, Band: 5, MaxRise: 2, MaxFall: 2,
		Test: planner.TestHabits{SD: .5}})
	if dosed {
		for i := range site.Channels {
			if site.Channels[i].ID == "trace" {
				site.Channels[i].Strength = map[units.Quantity]float64{units.Nitrate: 1}
			}
		}
	}
	return site
}

// Nitrate that forms from food takes alkalinity without calcium; where a channel doses nitrate its rise says nothing.
func TestNitrateCountsOnlyWhereNobodyDosesIt(t *testing.T) {
	tests := falling(8, 28, .15, 0)
	for i := range tests {
		tests[i].nitrateMeasured, tests[i].no3 = true, 2+2.2*tests[i].day
	}
	h, at := months(tests...)
	free, dosed := notes(withNitrate(false), h, at, "goes with nitrate"), notes(withNitrate(true), h, at, "goes with nitrate")
	if len(free) != 1 || len(dosed) != 0 {
		t.Errorf("notes on nitrate %q without a dose and %q with one; want one and none", free, dosed)
	}
}

// What the chemistry says moves no dose: the same plan with it and without.
func TestFindingsChangeNoDose(t *testing.T) {
	h := ready(previews)
	for _, l := range falling(8, 28, .1, 4) {
		at := midnight.Add(time.Duration(l.day * 24 * float64(time.Hour)))
		h.at(at, tested(units.Alkalinity, l.alk, at), tested(units.Calcium, l.ca, at), phMean(at, 8.9))
	}
	at := midnight.AddDate(0, 0, 28)
	wet, dry := lagoon(time.UTC), lagoon(time.UTC)
	wet.Interlocks, dry.Interlocks, dry.Waters = nil, nil, nil // the keeper's interlock would pause alkalinity at such a pH
	for _, c := range wet.Channels {
		h.at(at, machine.Primed{Channel: c.ID})
	}
	withIt, without := h.fold(wet), h.fold(dry)
	a, b := machine.Preview(&withIt, at), machine.Preview(&without, at)
	if !slices.ContainsFunc(a.Notes, func(n string) bool { return strings.Contains(n, "aragonite") }) {
		t.Fatalf("notes %q say nothing of aragonite", a.Notes)
	}
	if len(a.Runs) == 0 || text(t, a.Runs) != text(t, b.Runs) || text(t, a.Withheld) != text(t, b.Withheld) {
		t.Errorf("the plan with a known water differs: %s\n%s", text(t, a), text(t, b))
	}
}

func phMean(at time.Time, ph float64) machine.ProbeMean {
	return machine.ProbeMean{Probe: "ph", From: at.Add(-15 * time.Minute), Until: at, Mean: ph, Count: 3}
}

// An alert on uses ends only when not even the lower confidence calls them impossible.
func TestBalanceAlertHasHysteresis(t *testing.T) {
	sys := machine.NewBalanced(&lagoon(time.UTC).Systems[0])
	for _, c := range []struct {
		calcium    float64 // mg/L a day, ± 1, beside 0.5 ± 0.05 dKH: at most 3.57
		raised     bool
		wrong      bool
		comparison string
	}{
		{5.5, false, false, "between the two confidences, from below"},
		{8, true, true, "far above"},
		{5.6, true, false, "between the two confidences, from above"},
		{4, false, false, "below both"},
		{5.6, false, false, "from below again"},
	} {
		raised, wrong := sys.Judge(c.calcium, 1, .5, .05)
		if raised != c.raised || wrong != c.wrong {
			t.Errorf("%s: raised %v, wrong %v; want %v, %v", c.comparison, raised, wrong, c.raised, c.wrong)
		}
	}
}

// The believed use of the estimator is what is compared; nothing is compared that it does not know.
func TestUseComesFromTheEstimator(t *testing.T) {
	h, at := months(falling(8, 24, .25, 1.79)...)
	s := h.fold(previews)
	var e estimate.Estimate
	for _, q := range machine.Preview(&s, at).Estimates {
		if q.Quantity == string(units.Alkalinity) {
			e.Consumption = *q.ConsumptionPerDay
		}
	}
	want := fmt.Sprintf("alkalinity %.3g dKH a day", e.Consumption)
	if got := notes(previews, h, at, want); len(got) != 1 {
		t.Errorf("no note with %q in %q", want, notes(previews, h, at, "system reef"))
	}
}
