package machine_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
	"aliquot/safety"
)

// growing is five weeks of tests every other day in an invented tank at its target, with runs twice a day that meet a use
// of alkalinity that grows from the third week on; the last test is of the last day.
func growing(site *machine.Site, perDay float64) (*history, time.Time) {
	h := ready(site)
	use, last := .6, midnight
	for d := range 36 {
		at := midnight.AddDate(0, 0, d)
		if d%7 == 0 {
			h.at(at, machine.Refill{Container: "carbonate-jug", Remaining: ref(ml(4000))}, machine.Primed{Channel: "alk"})
		}
		if d%2 == 1 {
			last = at
			h.at(at, tested(units.Alkalinity, 8.3, at))
		}
		if d > 14 {
			use += perDay
		}
		for _, hour := range []int{1, 13} {
			then := at.Add(time.Duration(hour) * time.Hour)
			if d < 35 {
				h.at(then, machine.RunPast{Channel: "alk", Happened: then, Purpose: machine.Dose, Into: machine.IntoTank, Volume: ml(use * 40), Outcome: machine.Finished})
			}
		}
	}
	return h, last
}

// live starts a machine on the rows of a history at a moment and gives what it shows.
func live(t *testing.T, site *machine.Site, h *history, at time.Time) machine.SiteView {
	t.Helper()
	s := h.fold(site)
	now := safety.Instant{Wall: at, Synced: true}
	s, _ = machine.Step(s, now, machine.Booted{Instance: "one"})
	now.Mono, now.Wall = time.Second, at.Add(time.Second)
	s, _ = machine.Step(s, now, machine.Woke{})
	return machine.Snapshot(&s)
}

func quantityOf(t *testing.T, v machine.SiteView, q units.Quantity) machine.QuantityView {
	t.Helper()
	for _, x := range v.Quantities {
		if x.Quantity == string(q) {
			return x
		}
	}
	t.Fatalf("no %s in %+v", q, v.Quantities)
	return machine.QuantityView{}
}

func TestAdviceIsShown(t *testing.T) {
	site := lagoon(time.UTC)
	h, last := growing(site, .02)
	now := last.Add(2 * time.Hour)
	v := live(t, site, h, now)
	q := quantityOf(t, v, units.Alkalinity)
	if q.NextTest == nil || q.NextTest.Before(now) || q.NextTestWhy == "" {
		t.Errorf("next test %v, %q; want one after %v", q.NextTest, q.NextTestWhy, now)
	}
	if q.ConsumptionLow == nil || !(*q.ConsumptionLow < *q.ConsumptionPerDay && *q.ConsumptionPerDay < *q.ConsumptionHigh) {
		t.Errorf("consumption %s", text(t, q))
	}
	if q.ConsumptionWeekAgo == nil || q.ConsumptionMonthAgo == nil || !(*q.ConsumptionMonthAgo < *q.ConsumptionWeekAgo && *q.ConsumptionWeekAgo < *q.ConsumptionPerDay) {
		t.Errorf("the consumption did not rise: %s", text(t, q))
	}
	if q.TrendPerDay == nil || !(*q.TrendLow > 0 && *q.TrendLow < .02) || len(q.Advice) == 0 || !strings.Contains(q.Advice[len(q.Advice)-1].Text, "rising by about") {
		t.Errorf("trend %s", text(t, q))
	}
	c := v.Channels[0]
	if c.CapExpected == nil || c.CapExpected.Before(now) || c.CapExpected.After(now.AddDate(0, 0, 91)) || c.CapCode == "" {
		t.Errorf("channel %s; want a cap ahead", text(t, c))
	}
	for _, k := range v.Containers {
		if (k.DaysLeft == nil) != (k.DaysLeftLow == nil) || k.DaysLeft != nil && *k.DaysLeftLow > *k.DaysLeft {
			t.Errorf("container %s", text(t, k))
		}
	}
	if k := v.Containers[0]; !(*k.DaysLeftLow < .98**k.DaysLeft) {
		t.Errorf("container %s lasts no less with the uncertainty of the use", text(t, k))
	}
	// A plan says so too.
	s := h.fold(site)
	if n := strings.Join(machine.Preview(&s, now).Notes, "\n"); !strings.Contains(n, "channel alk reaches ") {
		t.Errorf("notes %s", n)
	}
}

func TestAnEvenUseHasNothingToSay(t *testing.T) {
	site := lagoon(time.UTC)
	h, last := growing(site, 0)
	v := live(t, site, h, last.Add(2*time.Hour))
	q := quantityOf(t, v, units.Alkalinity)
	if len(q.Advice) > 0 || v.Channels[0].CapExpected != nil || q.TrendPerDay == nil || math.Abs(*q.TrendPerDay) > .005 {
		t.Errorf("%s %s", text(t, q), text(t, v.Channels[0]))
	}
	s := h.fold(site)
	if n := strings.Join(machine.Preview(&s, last).Notes, "\n"); strings.Contains(n, "channel alk reaches") || strings.Contains(n, "alkalinity of reef") {
		t.Errorf("notes %s", n)
	}
}

// Before a test there is no advice but to test; a held one and a surprising one are put into words in a plan.
func TestAdviceOnTests(t *testing.T) {
	site := lagoon(time.UTC)
	v := live(t, site, &history{}, noon)
	if q := quantityOf(t, v, units.Alkalinity); q.NextTest != nil || q.NextTestWhy != "there is no test yet" || q.Advice == nil || q.Gain != nil || q.ConsumptionLow != nil {
		t.Errorf("without a test: %s", text(t, q))
	}
	for _, c := range []struct {
		value float64
		want  string
	}{{12, "alkalinity of reef: the test of 12 dKH waits"}, {9, "alkalinity of reef: the last test, 9 dKH, lies"}, {8.3, ""}} {
		h, last := growing(site, 0)
		at := last.Add(time.Hour)
		h.at(at, tested(units.Alkalinity, c.value, at))
		s := h.fold(site)
		n := strings.Join(machine.Preview(&s, at).Notes, "\n")
		if has := strings.Contains(n, "alkalinity of reef: the "); has != (c.want != "") || !strings.Contains(n, c.want) {
			t.Errorf("a test of %v: notes %s", c.value, n)
		}
		q := quantityOf(t, live(t, site, h, at.Add(time.Minute)), units.Alkalinity)
		if c.want != "" && len(q.Advice) == 0 {
			t.Errorf("a test of %v: %s", c.value, text(t, q))
		}
		if c.value == 12 && (q.NextTest == nil || q.NextTest.After(at.Add(2*time.Minute))) {
			t.Errorf("with a held test the next is worth most at %v, want now", q.NextTest)
		}
	}
}

// A fold and a running machine log the same uses, also when tests come late.
func TestUsesAreLoggedAlikeLiveAndFolded(t *testing.T) {
	r := newRig(t, lagoon(time.UTC), noon)
	r.boot()
	for i := range 8 {
		r.advance(20 * time.Hour)
		taken := r.trueTime()
		if i%3 == 2 {
			taken = taken.Add(-30 * time.Hour)
		}
		r.must(machine.VerbTest, machine.Request{Quantity: "alkalinity", Value: ref(8.3), Unit: "dKH", At: &taken})
	}
	if d := machine.Durable(&r.state); !strings.Contains(d, "uses [[{") {
		t.Fatalf("no use is logged:\n%s", d)
	}
	r.check.refolds(r)
}

// Advice moves no dose: a machine that has none plans the same volumes.
func TestAdviceChangesNoDose(t *testing.T) {
	site := lagoon(time.UTC)
	h, last := growing(site, .02)
	v := live(t, site, h, last.Add(2*time.Hour))
	s := h.fold(site)
	sum := 0.0
	for _, run := range runsOf(machine.Preview(&s, last.Add(2*time.Hour)), "alk") {
		sum += run.VolumeML
	}
	if v.Channels[0].PlannedMLPerDay <= 0 || math.Abs(sum-v.Channels[0].PlannedMLPerDay) > 5 {
		t.Errorf("a machine plans %v mL a day, a preview %v", v.Channels[0].PlannedMLPerDay, fmt.Sprint(sum))
	}
}
