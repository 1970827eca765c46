package machine_test

import (
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
	"aliquot/safety"
)

// A clock that stands a year ahead, or behind, for half an hour leaves nothing behind: what is believed of the water
// afterwards is what it would have been without (H-11).
func TestH11_WhatEndsOnAWrongClockIsDatedByTheAxis(t *testing.T) {
	level := func(step time.Duration) float64 {
		r := newRig(t, lagoon(time.UTC), noon)
		r.boot()
		r.commission()
		r.test("alkalinity", 8.1, "dKH")
		r.advance(23*time.Hour + 30*time.Minute)
		started := false
		r.told = func(_ time.Time, e machine.Effect) {
			_, run := e.(machine.SendRun)
			started = started || run
		}
		for !started {
			r.advance(time.Second)
		}
		r.told = nil
		if step != 0 { // while the run is on
			r.offset, r.synced = step, false
		}
		r.advance(30 * time.Minute)
		r.offset, r.synced = 0, true
		r.advance(10 * time.Hour)
		return machine.Believed(&r.state, "reef", units.Alkalinity, r.trueTime()).Level
	}
	want := level(0)
	for _, step := range []time.Duration{365 * 24 * time.Hour, 25 * time.Hour, -25 * time.Hour, -365 * 24 * time.Hour} {
		if got := level(step); !(got > want-.15 && got < want+.15) {
			t.Errorf("after a step of %s the level is believed to be %.2f dKH; want about %.2f", step, got, want)
		}
	}
}

// What happened at a time that nobody can say is not taken in (H-14).
func TestH14_NoTestIsTakenOnAClockInDoubt(t *testing.T) {
	r := newRig(t, lagoon(time.UTC), noon)
	r.boot()
	r.commission()
	value := 8.1
	for _, at := range []*time.Time{nil, &noon} {
		q := machine.Request{Quantity: "alkalinity", Value: &value, Unit: "dKH", At: at}
		r.synced = false
		r.advance(time.Minute)
		if a := r.ask(machine.VerbTest, q); a.Code != safety.ClockUntrusted {
			t.Errorf("a test on a clock in doubt is answered %s, %s", a.Code, a.Text)
		}
		r.synced = true
		r.advance(2 * time.Minute)
		if a := r.ask(machine.VerbTest, q); !a.OK {
			t.Errorf("a test on a good clock is answered %s, %s", a.Code, a.Text)
		}
	}
}
