package machine_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner"
	"aliquot/safety"
)

// fallible is a planner that falls ill: its answers are bent from then on.
type fallible struct{ now bent }

func (f *fallible) DayVolumes(in planner.Input) []planner.Day { return f.now.DayVolumes(in) }

func (f *fallible) RunAt(c planner.ChannelState, perDay safety.Microlitres, slot planner.Slot) (planner.Run, int64, bool) {
	return f.now.RunAt(c, perDay, slot)
}

// fallingIll is a commissioned lagoon with a plan of two days, and the planner that it has.
func fallingIll(t *testing.T) (*rig, *fallible) {
	t.Helper()
	p := &fallible{}
	site := *lagoon(time.UTC)
	site.Planner = p
	r := newRig(t, &site, noon)
	r.boot()
	r.commission()
	r.advance(48 * time.Hour)
	return r, p
}

// illnesses are ways in which a plan of a day cannot be.
var illnesses = []struct {
	name string
	day  func(*planner.Day)
}{
	{"no number", func(d *planner.Day) { d.PerDay = math.MinInt64 }},
	{"negative", func(d *planner.Day) { d.PerDay = -1 }},
	{"above per_day", func(d *planner.Day) { d.PerDay = math.MaxInt64 }},
	{"another channel", func(d *planner.Day) { d.Channel = "other" }},
	{"not worked out", func(d *planner.Day) { d.PerDay, d.Why = 0, []safety.Code{safety.BadVolume} }},
}

// What a plan that cannot be is replaced by: for a day the last good one, after that the base, at most what the last good
// one gave; and the alert says which. A planner that has recovered is believed at once.
func TestH35_TheLastGoodPlanStandsForADay(t *testing.T) {
	for _, c := range illnesses {
		t.Run(c.name, func(t *testing.T) {
			r, p := fallingIll(t)
			alk, mg := r.channel("alk").PlannedMLPerDay, r.channel("mg").PlannedMLPerDay
			base := min(4, mg)
			if alk <= 0 || mg <= 0 {
				t.Fatalf("a healthy plan of %v and %v mL is needed", alk, mg)
			}
			before := r.channel("alk").TotalLoML
			p.now.day = c.day
			check := func(when string, wantAlk, wantMg float64) {
				t.Helper()
				a, m := r.channel("alk").PlannedMLPerDay, r.channel("mg").PlannedMLPerDay
				if a != wantAlk || m != wantMg {
					t.Errorf("%s: %v and %v mL a day; want %v and %v", when, a, m, wantAlk, wantMg)
				}
			}
			r.advance(7 * time.Hour)
			check("after 7 h", alk, mg)
			for name, words := range map[string]string{"alk": "after that nothing is given until this ends", "mg": "after that at most its base of 4 mL is"} {
				if a := r.alerts["plan-refused-"+name]; !a.Raised || !strings.Contains(a.Text, words) {
					t.Errorf("alert %+v lacks %q", a, words)
				}
			}
			if r.channel("alk").TotalLoML <= before {
				t.Errorf("nothing was given within 7 h of the last good plan")
			}
			r.advance(24 * time.Hour)
			check("after 31 h", 0, base)
			p.now.day = nil
			r.advance(7 * time.Hour)
			if a := r.channel("alk").PlannedMLPerDay; a <= 0 || r.alerts["plan-refused-alk"].Raised {
				t.Errorf("recovered: %v mL a day, alert %v", a, r.alerts["plan-refused-alk"].Raised)
			}
		})
	}
}

// The age of the last good plan is what the ledger tells: neither a restart nor a refused plan makes it younger.
func TestH35_ARestartMakesTheLastGoodPlanNoYounger(t *testing.T) {
	r, p := fallingIll(t)
	p.now.day = illnesses[0].day
	for range 5 {
		r.advance(6 * time.Hour)
		r.crash()
		r.advance(10 * time.Second)
		r.boot()
		r.advance(2 * time.Minute)
	}
	if a := r.channel("alk").PlannedMLPerDay; a != 0 {
		t.Errorf("%v mL a day, 30 h after the last good plan; want nothing", a)
	}
}

// Of another supplement nothing is given by a plan that was made for the one before.
func TestH35_H22_NoFallBackAfterASwap(t *testing.T) {
	r, p := fallingIll(t)
	p.now.day = illnesses[0].day
	r.must(machine.VerbSwap, machine.Request{Container: "sulfate-jug", Supplement: "chloride", Full: true})
	r.advance(7 * time.Hour)
	if v := r.channel("mg").PlannedMLPerDay; v != 0 {
		t.Errorf("%v mL a day of another supplement; want nothing", v)
	}
}

// A run that cannot be is replaced by its slot's plain share of a day that can: a day of them is no more than the plan, and
// not much less.
func TestH35_ARunThatCannotBeIsAPlainShare(t *testing.T) {
	for _, c := range []struct {
		name string
		run  func(*planner.Run)
	}{
		{"no number", func(r *planner.Run) { r.Volume, r.Duration = math.MinInt64, math.MinInt64 }},
		{"a thousand times", func(r *planner.Run) { r.Volume, r.Duration = 1000*r.Volume+1e6, 1000*r.Duration+1e6 }},
		{"longer than its volume takes", func(r *planner.Run) { r.Duration += 20_000 }},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, p := fallingIll(t)
			p.now.run = c.run
			sent, most := safety.Microlitres(0), 0.0
			r.told = func(_ time.Time, e machine.Effect) {
				if s, is := e.(machine.SendRun); is && s.Purpose == machine.Dose && s.Channel == "alk" {
					sent += s.Volume
					most = max(most, r.channel("alk").PlannedMLPerDay)
				}
			}
			r.advance(24 * time.Hour)
			if ml := sent.Millilitres(); ml > most*25/24 || ml < .8*most || most == 0 {
				t.Errorf("%v mL were given of at most %v mL a day", ml, most)
			}
			if a := r.alerts["plan-refused-alk"]; !a.Raised || !strings.Contains(a.Text, "plain share") {
				t.Errorf("alert: %+v", a)
			}
		})
	}
}
