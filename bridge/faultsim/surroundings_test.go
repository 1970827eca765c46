package faultsim

import (
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// While a raised cap waits for a word, or a sensor says that a container runs out by itself, nothing is dosed by plan from
// what it concerns; while the planner answers what cannot be, as much as by the last good plan and no more.
func TestH35_H36_H21_WhatIsInDoubtIsNotDosed(t *testing.T) {
	const from, long = 8*hour + time.Minute, 3 * hour
	for _, c := range []struct {
		name string
		f    Fault
		code safety.Code // of a lockout that must come; empty: none is, and the last good plan stands
	}{
		{"a thousand times the day", Fault{Kind: BadPlan, N: 1}, ""},
		{"a day that is no number", Fault{Kind: BadPlan, N: 2}, ""},
		{"a thousand times the run", Fault{Kind: BadPlan, N: 5}, ""},
		{"a run longer than its volume takes", Fault{Kind: BadPlan, N: 7}, ""},
		{"a raised cap", Fault{Kind: RaisedCap, Target: "alk"}, safety.NotAccepted},
		{"a falling level", Fault{Kind: LevelFalls, Target: "alk"}, safety.Fault},
	} {
		t.Run(c.name, func(t *testing.T) {
			doses := func(faults ...Fault) (given safety.Microlitres, codes []safety.Code) {
				live(t, calmDays(1, 1, faults...), func(at time.Duration, e machine.Effect) {
					if at < from+hour || at > from+long {
						if h, is := e.(machine.Happened); is && at >= from {
							if l, is := h.Data.(machine.LockoutEvent); is {
								codes = append(codes, l.Code)
							}
						}
						return
					}
					if run, is := e.(machine.SendRun); is && run.Purpose == machine.Dose && run.Channel == "alk" {
						given += run.Volume
					}
				})
				return given, codes
			}
			c.f.At, c.f.For = from, long
			// A new plan is asked for, so that a bad one is not waited for until the next tick.
			test := Fault{At: from + 10*time.Minute, Kind: WrongTest, N: 0}
			given, codes := doses(c.f, test)
			usual, _ := doses(test)
			stands := c.code == "" && given > usual/2 && given <= usual
			if usual == 0 || (given != 0 && !stands) || (given == 0 && c.code == "") {
				t.Errorf("%s is given while the fault lasts, %s without it", given, usual)
			}
			found := c.code == ""
			for _, code := range codes {
				found = found || code == c.code
			}
			if !found {
				t.Errorf("the lockouts are %v; want %s", codes, c.code)
			}
		})
	}
}

// silentTail swallows the runs of one channel from a moment on.
type silentTail struct {
	Untouched
	w *world
}

func (o *silentTail) Effects(_ machine.Event, effects []machine.Effect) []machine.Effect {
	var out []machine.Effect
	for _, e := range effects {
		if run, is := e.(machine.SendRun); !is || run.Channel != "ca" || o.w.now < 60*hour {
			out = append(out, e)
		}
	}
	return out
}

// In a tail without faults at least 95 % of what is planned is given; what does not come is noticed.
func TestLivenessIsJudged(t *testing.T) {
	s := calmDays(1, 4)
	s.Tail = LeastTail
	if r := Run(s, Options{}); r.Violation != nil || !r.Lives {
		t.Fatalf("a calm scenario: %v, judged %v; want judged and nothing", r.Violation, r.Lives)
	}
	o := &silentTail{}
	w, err := newWorld(s, Options{Tamper: o})
	if err != nil {
		t.Fatal(err)
	}
	o.w = w
	w.begin()
	for w.now < w.end && w.check.broken == nil {
		w.turn()
	}
	w.check.liveness(w)
	if v := w.check.broken; v == nil || v.Rule != "LIVENESS" {
		t.Errorf("a channel that gives nothing for a day and a half: %v; want LIVENESS", v)
	}
}
