package rehearse

import (
	"math"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
	"aliquot/safety"
)

func testsOf(r Result, q units.Quantity) []Test {
	var out []Test
	for _, t := range r.Tests {
		if t.Quantity == string(q) {
			out = append(out, t)
		}
	}
	return out
}

// Tests come when they are due, and not while nobody is there.
func TestKeeperTests(t *testing.T) {
	t.Run("as often as due", func(t *testing.T) {
		r := rehearsed(t, bayOptions(t, 9, 3))
		if got := len(testsOf(r, units.Alkalinity)); got < 5 || got > 7 {
			t.Errorf("%d tests of alkalinity in 9 days, due every 2; want 5, and repeats at most", got)
		}
		if got := len(testsOf(r, units.Calcium)); got < 3 || got > 5 {
			t.Errorf("%d tests of calcium in 9 days, of which nothing is said; want one every %s", got, dueEvery)
		}
	})
	t.Run("never", func(t *testing.T) {
		o := bayOptions(t, 9, 3)
		o.Scenario.MissTests = 1
		r := rehearsed(t, o)
		if got := len(testsOf(r, units.Alkalinity)); got != 1 || r.Quantities[0].Missed < 4 {
			t.Errorf("%d tests, %d missed; want the first only", got, r.Quantities[0].Missed)
		}
	})
	t.Run("away", func(t *testing.T) {
		o := bayOptions(t, 9, 3)
		o.Scenario.Holidays = []Span{{2 * day, 7 * day}}
		for _, k := range rehearsed(t, o).Tests {
			if at := k.At.Sub(start); at >= 2*day && at < 7*day {
				t.Errorf("a test at %s; nobody was there", k.At)
			}
		}
	})
}

// A wrong result is entered as it was read; the machine holds it back, and the keeper tests again.
func TestWrongTestIsHeld(t *testing.T) {
	o := bayOptions(t, 6, 3)
	o.Scenario.WrongTests = []WrongTest{{"bay", units.Alkalinity, 3, 5}}
	all := testsOf(rehearsed(t, o), units.Alkalinity)
	for i, k := range all {
		if k.Mistake == 0 {
			continue
		}
		if !k.Held || math.Abs(k.Value-*k.Truth-3) > 0.8 {
			t.Errorf("the wrong test is %+v; want held, 3 dKH off", k)
		}
		if i+1 == len(all) || all[i+1].At.Sub(k.At) != again || all[i+1].Held {
			t.Errorf("after it came %+v; want a second one %s later that is taken", all[i+1:], again)
		}
		return
	}
	t.Fatal("no wrong test was entered")
}

// A container is refilled in the evening on which it is low, and not while nobody is there.
func TestRefills(t *testing.T) {
	small := func() Options {
		o := bayOptions(t, 7, 3)
		o.Site.Containers[0].Capacity = ml(180)
		return o
	}
	r := rehearsed(t, small())
	if r.Containers[0].Refills == 0 {
		t.Errorf("the jug of 180 mL was never refilled in 7 days: %+v", r.Containers[0])
	}
	o := small()
	o.Scenario.Holidays = []Span{{day, 21 * day}}
	away := rehearsed(t, o)
	if away.Containers[0].Refills != 0 {
		t.Errorf("refilled %d times by nobody", away.Containers[0].Refills)
	}
	if left := away.Containers[0].EndML; left < away.Containers[0].StopML-10 {
		t.Errorf("%g mL are left; nothing is taken below the stop of %g mL", left, away.Containers[0].StopML)
	}
	if h := withheld(away, "alk", safety.ContainerEmpty); h.Slots == 0 {
		t.Errorf("nothing was withheld for an empty container: %+v", away.Withheld)
	}
}

// A node without power misses its slots; nothing is caught up, and it goes on when it is back.
func TestOutages(t *testing.T) {
	for _, c := range []struct {
		node string
		code safety.Code
	}{{"board", safety.NodeOffline}, {Broker, safety.LinkDown}} {
		t.Run(c.node, func(t *testing.T) {
			o := bayOptions(t, 5, 3)
			o.Scenario.Outages = []Outage{{c.node, Span{2 * day, 2*day + 6*time.Hour}}}
			r := rehearsed(t, o)
			if h := withheld(r, "alk", c.code); h.Slots < 5 || h.Slots > 7 {
				t.Errorf("withheld %+v; want the hourly slots of 6 h", h)
			}
			if noted(r, c.node+" begins") != 1 || noted(r, c.node+" ends") != 1 {
				t.Errorf("the outage is not told: %+v", r.Happened)
			}
			last := time.Time{}
			for _, row := range r.Rows {
				if b, ok := row.Body.(machine.RunReserved); ok && b.Channel == "alk" {
					if at := row.At.Sub(start); at > 2*day+time.Minute && at < 2*day+6*time.Hour {
						t.Errorf("a run at %s, in the outage", row.At)
					}
					last = row.At
				}
			}
			if r.To.Sub(last) > 2*time.Hour {
				t.Errorf("the last run was at %s; it never went on", last)
			}
		})
	}
}

// Tubing that wears gives less than it was calibrated to.
func TestDrift(t *testing.T) {
	o := bayOptions(t, 6, 3)
	o.Scenario.Drifts = []Drift{{"alk", -0.5}}
	r := rehearsed(t, o)
	commanded := 0.0
	for _, row := range r.Rows {
		if b, ok := row.Body.(machine.RunReserved); ok && b.Channel == "alk" && b.Into == machine.IntoTank {
			commanded += b.Volume.Millilitres()
		}
	}
	if share := r.Channels[0].VolumeML / commanded; !(share > 0.6 && share < 0.9) {
		t.Errorf("%g mL of %g mL came out; want about a quarter less for a rate that falls to the half", r.Channels[0].VolumeML, commanded)
	}
}

func TestWaterChanges(t *testing.T) {
	o := bayOptions(t, 7, 3)
	o.Scenario.Changes = WaterChanges{Share: 0.2, Every: 3 * day}
	n := 0
	for _, row := range rehearsed(t, o).Rows {
		if b, ok := row.Body.(machine.WaterChange); ok {
			n++
			if b.Litres != 24 || len(b.Mix) != 2 {
				t.Errorf("water change %+v; want 24 L of a mix with both targets", b)
			}
		}
	}
	if n != 2 {
		t.Errorf("%d water changes in 7 days; want 2", n)
	}
}

// A vessel's cap that is too small for the usual trial makes the keeper run shorter ones.
func TestSmallVesselCap(t *testing.T) {
	o := bayOptions(t, 1, 3)
	o.Site.Channels[0].Limits.AttendedPerRun = ml(4)
	r := rehearsed(t, o)
	for _, row := range r.Rows {
		if b, ok := row.Body.(machine.Calibration); ok && b.Channel == "alk" {
			if len(b.Trials) != trialsWanted || b.Trials[0].Seconds >= trialSeconds {
				t.Errorf("trials %+v; want %d shorter than %g s", b.Trials, trialsWanted, trialSeconds)
			}
			return
		}
	}
	t.Fatalf("alk was never calibrated: %+v", r.Happened)
}

func TestTidy(t *testing.T) {
	for _, c := range []struct{ v, step, want float64 }{{8.04, 0.1, 8}, {8.05001, 0.1, 8.1}, {412, 5, 410}, {412.6, 5, 415}, {1.234, 0, 1.234}, {0.30000000000000004, 0.1, 0.3}} {
		if got := tidy(c.v, c.step); got != c.want {
			t.Errorf("tidy(%v, %v) = %v; want %v", c.v, c.step, got, c.want)
		}
	}
}
