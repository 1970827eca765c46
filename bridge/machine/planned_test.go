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

// bent is a planner whose answers are bent.
type bent struct {
	day func(*planner.Day)
	run func(*planner.Run)
}

func (b bent) DayVolumes(in planner.Input) []planner.Day {
	out := planner.DayVolumes(in)
	for i := range out {
		if b.day != nil {
			b.day(&out[i])
		}
	}
	return out
}

func (b bent) RunAt(c planner.ChannelState, perDay safety.Microlitres, slot planner.Slot) (planner.Run, int64, bool) {
	run, carry, ok := planner.RunAt(c, perDay, slot)
	if b.run != nil {
		b.run(&run)
		ok = true
	}
	return run, carry, ok
}

// Whatever a planner answers, what cannot be is refused by bounds of other code, and somebody is told. Where no day could
// ever be worked out nothing is given; a run is replaced by the plain share of a day that can be.
func TestH35_INV8_WhatAPlannerAnswersIsBounded(t *testing.T) {
	nan := safety.Microlitres(math.MinInt64) // what a number that is none becomes on most processors
	for _, c := range []struct {
		name string
		b    bent
		runs bool
	}{
		{"as it is", bent{}, true},
		{"a negative day", bent{day: func(d *planner.Day) { d.PerDay = -1 }}, false},
		{"a day that is no number", bent{day: func(d *planner.Day) { d.PerDay = nan }}, false},
		{"a thousand times the day", bent{day: func(d *planner.Day) { d.PerDay = 1000*d.PerDay + 1e6 }}, false},
		{"an endless day", bent{day: func(d *planner.Day) { d.PerDay = math.MaxInt64 }}, false},
		{"another channel's day", bent{day: func(d *planner.Day) { d.Channel = "other" }}, false},
		{"a negative run", bent{run: func(r *planner.Run) { r.Volume = -r.Volume - 1 }}, true},
		{"no volume", bent{run: func(r *planner.Run) { r.Volume = 0 }}, true},
		{"a thousand times the run", bent{run: func(r *planner.Run) { r.Volume, r.Duration = 1000*r.Volume, 1000*r.Duration }}, true},
		{"a run longer than its volume takes", bent{run: func(r *planner.Run) { r.Duration += 100 }}, true},
		{"a negative time", bent{run: func(r *planner.Run) { r.Duration = -1 }}, true},
		{"an endless time", bent{run: func(r *planner.Run) { r.Duration = math.MaxInt64 }}, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			site := *lagoon(time.UTC)
			site.Planner = c.b
			r := newRig(t, &site, noon)
			r.boot()
			r.commission()
			doses := 0
			r.told = func(_ time.Time, e machine.Effect) {
				if s, is := e.(machine.SendRun); is && s.Purpose == machine.Dose {
					if doses++; s.Volume <= 0 || s.Volume > ml(6) || s.Duration <= 0 || s.Duration > 60_000 {
						t.Errorf("a run of %s in %d ms", s.Volume, s.Duration)
					}
				}
			}
			r.advance(6 * time.Hour)
			alerts := 0
			for name, a := range r.alerts {
				if a.Raised && strings.HasPrefix(name, "plan-refused-") {
					alerts++
				}
			}
			if healthy := c.b.day == nil && c.b.run == nil; (doses > 0) != c.runs || (alerts == 0) != healthy {
				t.Errorf("%d runs, %d alerts", doses, alerts)
			}
		})
	}
}
