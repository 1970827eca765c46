package rehearse

import (
	"testing"
	"time"

	"aliquot/planner/units"
	"aliquot/safety"
)

// withFault rehearses the bay for some days with a fault, and without it: the fault is to show, and no cap to break.
func withFault(t *testing.T, days int, put func(*Scenario)) (with, without Result) {
	t.Helper()
	o := bayOptions(t, days, 5)
	put(&o.Scenario)
	with, without = rehearsed(t, o), rehearsed(t, bayOptions(t, days, 5))
	if len(with.Exceeded) > 0 || len(without.Exceeded) > 0 {
		t.Errorf("caps were exceeded: %v, and without the fault: %v", with.Exceeded, without.Exceeded)
	}
	return with, without
}

func runs(r Result) (n int) {
	for _, c := range r.Channels {
		n += c.Runs
	}
	return n
}

// The service starts anew from its rows and doses on: what it missed is not caught up.
func TestPowerCut(t *testing.T) {
	with, without := withFault(t, 5, func(s *Scenario) { s.Cuts = []Span{{2 * day, 2*day + 8*time.Hour}} })
	if noted(with, "the power fails") != 1 || noted(with, "starts anew") != 1 {
		t.Errorf("remarks %+v", with.Happened)
	}
	if a, b := runs(with), runs(without); !(a < b && a > b/2) {
		t.Errorf("%d runs with a power cut of 8 h in 5 days, %d without it", a, b)
	}
	last := with.Channels[0].Days[len(with.Channels[0].Days)-2]
	if !(last.ML > 0) {
		t.Errorf("after the power cut nothing was dosed: %+v", with.Channels[0].Days)
	}
}

// Cuts that lie over each other are one.
func TestPowerCutsOverlap(t *testing.T) {
	o := bayOptions(t, 4, 5)
	o.Scenario.Cuts = []Span{{2 * day, 2*day + 4*time.Hour}, {2*day + time.Hour, 2*day + 2*time.Hour}, {10, 11 * time.Minute}}
	if r := rehearsed(t, o); len(r.Exceeded) > 0 || noted(r, "the power fails") != noted(r, "starts anew") {
		t.Errorf("remarks %+v, exceeded %v", r.Happened, r.Exceeded)
	}
}

func TestEmptiedContainer(t *testing.T) {
	with, without := withFault(t, 6, func(s *Scenario) { s.Empties = []Empties{{"alk-jug", 3 * day}} })
	if a, b := with.Channels[0].VolumeML, without.Channels[0].VolumeML; !(a < 0.9*b) {
		t.Errorf("%g mL from a jug that lost all on day 4, %g mL without that", a, b)
	}
	if a, b := with.Quantities[0].End, without.Quantities[0].End; !(a < b-0.05) {
		t.Errorf("alkalinity ends at %g, without the fault at %g", a, b)
	}
	if noted(with, "alk-jug loses") != 1 {
		t.Errorf("remarks %+v", with.Happened)
	}
}

// A probe that is stuck keeps what it interlocks from running, until it reads again.
func TestStuckProbe(t *testing.T) {
	with, without := withFault(t, 5, func(s *Scenario) { s.Stuck = []StuckProbe{{"ph", Span{2 * day, 3*day + 12*time.Hour}}} })
	h := withheld(with, "alk", safety.InterlockActive)
	if !(h.Slots > 3) || withheld(without, "alk", safety.InterlockActive).Slots > 0 {
		t.Errorf("%d slots of alk met the interlock; a probe stuck for 36 h is bad after 12: %+v", h.Slots, with.Withheld)
	}
	if a, b := runs(with), runs(without); !(a < b) || noted(with, "probe ph reads again") != 1 {
		t.Errorf("%d runs, %d without the fault; remarks %+v", a, b, with.Happened)
	}
	if withheld(with, "ca", safety.InterlockActive).Slots > 0 {
		t.Error("ca is not interlocked by ph")
	}
}

func TestUseStep(t *testing.T) {
	with, without := withFault(t, 8, func(s *Scenario) { s.UseSteps = []UseStep{{"bay", 1.6, 3 * day}} })
	use := func(r Result) float64 { s := r.Quantities[0].Series; return *s[len(s)-1].Use }
	if a, b := use(with), use(without); !(a > 1.4*b) {
		t.Errorf("the use is %g dKH/day after a step of 60 %%, %g without it", a, b)
	}
	if a, b := with.Channels[0].VolumeML, without.Channels[0].VolumeML; !(a > b) {
		t.Errorf("%g mL for more use, %g mL without the step", a, b)
	}
	o := bayOptions(t, 2, 5)
	o.Scenario.UseSteps = []UseStep{{"bay", 1000, day}}
	if _, err := Run(o); err == nil {
		t.Error("a use of 700 dKH/day must be refused")
	}
}

// The faults that are older have an effect too; what was asked for stands in the result.
func TestOlderFaults(t *testing.T) {
	with, without := withFault(t, 8, func(s *Scenario) {
		s.MissTests, s.Asked = 1, []string{"miss-tests 1"}
	})
	if a, b := with.Quantities[0], without.Quantities[0]; !(a.Missed > 0 && a.Entered < b.Entered && b.Missed == 0) {
		t.Errorf("%d missed and %d entered; without the fault %d and %d", a.Missed, a.Entered, b.Missed, b.Entered)
	}
	if len(with.Asked) != 1 || with.Asked[0] != "miss-tests 1" || without.Asked == nil || len(without.Asked) != 0 {
		t.Errorf("asked %v, without %v", with.Asked, without.Asked)
	}
	away, _ := withFault(t, 8, func(s *Scenario) { s.Holidays = []Span{{2 * day, 7 * day}} })
	if a, b := away.Quantities[0].Entered, without.Quantities[0].Entered; !(a < b) {
		t.Errorf("%d tests with a holiday, %d without", a, b)
	}
	wrong, _ := withFault(t, 8, func(s *Scenario) { s.WrongTests = []WrongTest{{"bay", units.Alkalinity, 3, 5}} })
	if !(wrong.Quantities[0].Worst != without.Quantities[0].Worst || wrong.Quantities[0].SetAside > without.Quantities[0].SetAside) {
		t.Errorf("a test that is 3 dKH off left no trace: %+v", wrong.Quantities[0])
	}
}
