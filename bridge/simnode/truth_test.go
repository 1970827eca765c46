package simnode

import (
	"math"
	"testing"
)

// A rate that changes counts from that moment on, even within a run; one that cannot be changes nothing.
func TestSetRate(t *testing.T) {
	for _, c := range []struct {
		name   string
		output int
		rate   float64
		taken  bool
		want   float64 // µL of a run of 20 s whose rate changes after 10 s; 10 mL/min at first
	}{
		{"half", 1, 5, true, 10e6/60*10/1000 + 5e6/60*10/1000},
		{"the largest", 1, 1e6, true, 10e6/60*10/1000 + 1e12/60*10/1000},
		{"above it", 1, 1.1e6, false, 10e6 / 60 * 20 / 1000},
		{"zero", 1, 0, false, 10e6 / 60 * 20 / 1000},
		{"not a number", 1, math.NaN(), false, 10e6 / 60 * 20 / 1000},
		{"another output", 2, 5, true, 10e6 / 60 * 20 / 1000},
		{"no such output", 3, 5, false, 10e6 / 60 * 20 / 1000},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := goodBoard(t, nil)
			runAt(b, 0, 1, "a", 20)
			if got := b.SetRate(after(10), c.output, c.rate); got != c.taken {
				t.Errorf("SetRate(%d, %g) = %v; want %v", c.output, c.rate, got, c.taken)
			}
			b.Advance(after(60))
			if got := b.Delivered(1); math.Abs(got-c.want) > 1e-6*c.want {
				t.Errorf("delivered %g µL; want %g", got, c.want)
			}
		})
	}
}

// What a node has to say when its rate changes is not lost.
func TestSetRateLosesNoReport(t *testing.T) {
	b := goodBoard(t, nil)
	runAt(b, 0, 1, "a", 5)
	b.SetRate(after(10), 1, 5)
	wantTold(t, "after a change of rate", b.Advance(after(11)), "1:finished a 5.000s 17/2")
}
