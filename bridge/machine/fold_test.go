package machine_test

import (
	"fmt"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/estimate"
	"aliquot/planner/metering"
	"aliquot/planner/units"
	"aliquot/safety"

	"pgregory.net/rapid"
)

// Inputs in whatever order give the same belief, whether or not the filter is remembered from near the end.
func TestLateInputsTakeTheirPlaceInTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		quick, slow := machine.NewOneSystem(&previews.Systems[0]), machine.NewOneSystem(&previews.Systems[0])
		now := midnight
		for i := range rapid.IntRange(1, 120).Draw(t, "inputs") {
			now = now.Add(time.Duration(rapid.IntRange(0, 120).Draw(t, "step")) * time.Minute)
			at := now.Add(-time.Duration(rapid.SampledFrom([]int{0, 0, 0, 1, 30, 6000}).Draw(t, "late")) * time.Minute)
			slow.Forgetful()
			if rapid.IntRange(0, 4).Draw(t, "kind") == 0 {
				v := rapid.Float64Range(7, 9.5).Draw(t, "test")
				if a, b := quick.TestAt(at, units.Alkalinity, v), slow.TestAt(at, units.Alkalinity, v); a != b {
					t.Fatalf("input %d: %+v; want %+v", i, a, b)
				}
			} else {
				v := rapid.Float64Range(0, .1).Draw(t, "rise")
				over := rapid.SampledFrom([]time.Duration{0, 0, 24 * time.Hour, 48 * time.Hour}).Draw(t, "over")
				quick.DoseAt(at, units.Alkalinity, v, over)
				slow.DoseAt(at, units.Alkalinity, v, over)
			}
			if a, b := quick.Believes(now), slow.Believes(now); a != b {
				t.Fatalf("input %d: believes %s; want %s", i, a, b)
			}
		}
	})
}

// A row about something that the site no longer has changes nothing and stands for nothing.
func TestRowsAboutWhatIsGone(t *testing.T) {
	at := midnight
	before := ready(previews).fold(previews)
	want := machine.Snapshot(&before)
	h := ready(previews).at(at,
		machine.Lockout{Scope: machine.Scope{Channel: "gone"}, Code: safety.Fault, Text: "x"},
		machine.Lockout{Scope: machine.Scope{Interlock: "gone"}, Code: safety.InterlockActive, Text: "x"},
		machine.OutOfService{Scope: machine.Scope{System: "gone"}, Reason: "x"},
		machine.Primed{Channel: "gone"}, machine.Tube{Channel: "gone"}, machine.Calibration{Channel: "gone", Rate: 1000},
		machine.Refill{Container: "gone", Added: 1}, machine.Swap{Container: "gone"}, machine.Proof{Node: "gone"},
		machine.WaterChange{System: "gone", Litres: 3}, machine.SalinityCorrection{System: "gone", Litres: 3}, machine.Note{System: "gone"},
		machine.Test{System: "gone", Quantity: units.Alkalinity}, machine.ProbeMean{Probe: "gone"},
		machine.RunReserved{Run: "r", Channel: "gone"}, machine.RunEnded{Run: "r"}, machine.RunPast{Channel: "gone"}, machine.SlotCarried{Channel: "gone"})
	after := h.fold(previews)
	got := machine.Snapshot(&after)
	if text(t, got.Channels) != text(t, want.Channels) || text(t, got.Containers) != text(t, want.Containers) || text(t, got.Why) != text(t, want.Why) {
		t.Errorf("rows about what is gone changed the state:\n%s\n%s\nwant\n%s\n%s", text(t, got.Channels), text(t, got.Why), text(t, want.Channels), text(t, want.Why))
	}
}

// A run that was open when the process died stays open through an import, and is settled at the next start.
func TestH05_ImportKeepsAnOpenRun(t *testing.T) {
	r := newRig(t, previews, noon)
	r.boot()
	r.commission()
	r.until(noon.Add(4*time.Hour + 2*time.Second)) // an hourly run is under way
	r.crash()
	if !r.channel("alk").Running {
		t.Fatal("nothing runs; the test needs an open run")
	}
	last := r.rows[len(r.rows)-1]
	r.write([]machine.Row{{Seq: last.Seq + 1, ID: "imported", At: last.At, Elapsed: last.Elapsed, Trusted: true,
		Body: machine.RunPast{Channel: "alk", Happened: noon.Add(-time.Hour), Purpose: machine.Dose, Into: machine.IntoTank, Volume: 1000, Outcome: machine.Finished}}})
	r.boot()
	if c := r.channel("alk"); c.Running || c.LastOutcome != string(machine.Unknown) {
		t.Errorf("running %v, last outcome %s; want the open run to have ended unknown", c.Running, c.LastOutcome)
	}
	r.advance(time.Hour + time.Minute)
	if c := r.channel("alk"); c.LastOutcome != string(machine.Finished) {
		t.Errorf("last outcome %s; want the next slot to have run", c.LastOutcome)
	}
}

// What a keeper states of a container while a run is under way: the run may still take its most out of it.
func TestH20_RefillDuringARun(t *testing.T) {
	r := newRig(t, previews, noon)
	r.boot()
	r.commission()
	r.until(noon.Add(4*time.Hour + 2*time.Second))
	r.must(machine.VerbRefill, machine.Request{Container: "carbonate-jug", RemainingML: ref(1000.0)})
	r.advance(time.Minute)
	k := r.container("carbonate-jug")
	if !(k.RemainingMinML < 1000 && k.RemainingMinML <= k.RemainingMaxML && k.RemainingMaxML <= 1000) {
		t.Errorf("the container holds %v to %v mL; want both below 1000 and in order", k.RemainingMinML, k.RemainingMaxML)
	}
}

func TestH02_ProofAge(t *testing.T) {
	const age = safety.ProofAge
	for _, c := range []struct {
		name        string
		at          time.Duration
		fingerprint string
		want        bool
	}{
		{"fresh", time.Minute, "plug-1", true},
		{"as old as it may be", age, "plug-1", true},
		{"too old", age + time.Second, "plug-1", false},
		{"of another configuration", time.Minute, "plug-0", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, previews, noon)
			r.write([]machine.Row{{Seq: 1, At: noon, Elapsed: 0, Trusted: true, Body: machine.Proof{Channel: "mg", Node: "plug", Output: 1, OnFor: 60_000, Fingerprint: c.fingerprint}}})
			r.now = c.at
			r.boot()
			blocked := false
			for _, b := range r.channel("mg").Withheld {
				blocked = blocked || b.Code == safety.NoProof
			}
			if blocked == c.want {
				t.Errorf("blocked for want of a proof: %v; want %v", blocked, !c.want)
			}
		})
	}
}

// A longer run that the board reports after it was given up raises what is booked, and a shorter one lowers nothing.
func TestH01_LateReportOfALongRun(t *testing.T) {
	for _, c := range []struct {
		name    string
		seconds float64
		more    bool
		fault   bool
	}{
		{"shorter", 1, false, false}, {"as commanded", 5, false, false}, {"a little longer", 7, true, false}, {"much longer", 60, true, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, previews, noon)
			r.boot()
			r.commission()
			r.until(noon.Add(3*time.Hour + 50*time.Minute))
			r.net.loseReports = true
			r.until(noon.Add(4*time.Hour + 30*time.Second))
			run, before := lastRun(r, "alk"), r.channel("alk")
			if before.LastOutcome != string(machine.Unknown) {
				t.Fatalf("the run ended %s; the test needs an unknown one", before.LastOutcome)
			}
			r.step(machine.Reported{Node: "board", Run: run.Run, State: machine.ReportFinished, Seconds: ref(c.seconds), Boot: 1, Seq: 900})
			after := r.channel("alk")
			if more := after.Window24hHiML > before.Window24hHiML; more != c.more || after.Window24hHiML < before.Window24hHiML {
				t.Errorf("booked %v mL, then %v mL after %v s of %v s", before.Window24hHiML, after.Window24hHiML, c.seconds, run.Duration.Seconds())
			}
			if fault := len(after.Withheld) > 0; fault != c.fault {
				t.Errorf("withheld %v; a fault: %v", after.Withheld, c.fault)
			}
		})
	}
}

func lastRun(r *rig, channel string) machine.RunReserved {
	for i := len(r.rows) - 1; i >= 0; i-- {
		if b, ok := r.rows[i].Body.(machine.RunReserved); ok && b.Channel == channel {
			return b
		}
	}
	r.t.Fatalf("%s never ran", channel)
	return machine.RunReserved{}
}

// Before the first calibration nothing is sure of what a run moved.
func TestINV14_UncalibratedRunsAreSureOfNothing(t *testing.T) {
	r := newRig(t, previews, noon)
	r.boot()
	r.readings["ph"] = 8.2
	r.advance(6 * time.Minute)
	r.must(machine.VerbRefill, machine.Request{Container: "carbonate-jug", Full: true})
	r.must(machine.VerbPrime, machine.Request{Channel: "alk", Into: "vessel", Seconds: ref(30.0)})
	r.advance(time.Minute)
	c, k := r.channel("alk"), r.container("carbonate-jug")
	if c.TotalLoML != 0 || c.TotalHiML != 10.502 { // 30 s at twice 10 mL/min, and 5 %
		t.Errorf("a run of 30 s counts %v to %v mL; want 0 to 10.502 mL", c.TotalLoML, c.TotalHiML)
	}
	if k.RemainingMaxML != 5000 {
		t.Errorf("the container may hold %v mL; want 5000 mL", k.RemainingMaxML)
	}
}

// A late test's day of grace neither ends what an unknown run froze, nor hides a later one.
func TestH09_UnknownRunsFreezeWhateverTestsComeLate(t *testing.T) {
	at := midnight.Add(-30 * time.Hour)
	unknown := func(h *history, at time.Time) {
		h.at(at, machine.RunPast{Channel: "alk", Happened: at, Purpose: machine.Dose, Into: machine.IntoTank, Volume: 1000, Outcome: machine.Unknown})
	}
	late := func(h *history, at time.Time) { h.at(at, tested(units.Alkalinity, 7.6, at.Add(-30*time.Hour))) }
	for _, c := range []struct {
		name   string
		events []func(h *history, at time.Time)
		frozen bool
	}{
		{"nothing", nil, false},
		{"unknown", []func(*history, time.Time){unknown}, true},
		{"late test", []func(*history, time.Time){late}, false}, // its day is over
		{"unknown, late test", []func(*history, time.Time){unknown, late}, true},
		{"late test, unknown", []func(*history, time.Time){late, unknown}, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			h := ready(previews)
			now := at.Add(2 * time.Hour)
			for _, e := range c.events {
				e(h, now)
				now = now.Add(time.Hour)
			}
			now = now.Add(26 * time.Hour)
			h.at(now, machine.Note{System: "reef", Note: "other"})
			s := h.fold(previews)
			if got := machine.Ceiling(&s, "alk", now) != "none"; got != c.frozen {
				t.Errorf("frozen %v (%s); want %v", got, machine.Ceiling(&s, "alk", now), c.frozen)
			}
		})
	}
}

// The machine asks to be woken no more often than something can happen.
func TestWakesAreFew(t *testing.T) {
	for _, c := range []struct {
		name string
		do   func(r *rig)
		most int // in ten minutes; 15 s make 40
	}{
		{"idle", func(*rig) {}, 45},
		{"clock in doubt", func(r *rig) { r.offset, r.synced = 25*time.Hour, false; r.step(machine.Woke{}) }, 45},
		{"a slot waits", func(r *rig) { r.disconnect("board"); r.disconnect("plug") }, 150},
		{"a relay is stuck", func(r *rig) {
			r.faults("plug", stuck)
			r.must(machine.VerbRun, machine.Request{Channel: "mg", VolumeML: ref(1.0)})
		}, 150},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, previews, noon)
			r.boot()
			r.commission()
			r.until(noon.Add(3*time.Hour + 55*time.Minute))
			c.do(r)
			r.wakes = 0
			r.advance(10 * time.Minute)
			if r.wakes > c.most || r.wakes < 30 {
				t.Errorf("%d wakes in ten minutes; want 30 to %d", r.wakes, c.most)
			}
		})
	}
}

// An imported calibration has trials only.
func TestCalibrationFromTrials(t *testing.T) {
	for _, c := range []struct {
		trials int
		rate   float64
		prov   bool
	}{{1, 9.8, true}, {2, 9.8, true}, {3, 9.8, false}} {
		t.Run(fmt.Sprint(c.trials), func(t *testing.T) {
			k := machine.Calibration{Channel: "alk"}
			for range c.trials {
				k.Trials = append(k.Trials, metering.Trial{Seconds: 60, MeasuredML: c.rate})
			}
			s := (&history{}).at(midnight, k).fold(previews)
			v := machine.Snapshot(&s).Channels[0]
			if v.RateMLPerMin == nil || *v.RateMLPerMin < c.rate-.001 || *v.RateMLPerMin > c.rate+.001 || v.Provisional != c.prov {
				t.Errorf("%+v; want %v mL/min, provisional %v", v, c.rate, c.prov)
			}
		})
	}
}

// A fold tells what became of the last test, and what is believed, without a plan.
func TestFoldJudges(t *testing.T) {
	fold := machine.NewFold(lagoon(time.UTC))
	test := func(n int, level float64) machine.Row {
		at := noon.Add(time.Duration(n) * 24 * time.Hour)
		return machine.Row{Seq: int64(n + 1), At: at, Elapsed: safety.Elapsed(at.UnixMilli()), Trusted: true,
			Body: machine.Test{System: "reef", Quantity: units.Alkalinity, Level: level, Value: level, Unit: "dKH", Taken: at}}
	}
	for n, c := range []struct {
		level   float64
		known   bool
		verdict estimate.Verdict
		used    int
	}{{8, false, estimate.Accepted, 1}, {8, true, estimate.Accepted, 2}, {8, true, estimate.Accepted, 3}, {14, true, estimate.Held, 3}} {
		fold.Add(test(n, c.level))
		if got := fold.Judged("reef"); got.Known != c.known || got.Verdict != c.verdict {
			t.Errorf("test %d of %g dKH: judged %+v; want known %v, %s", n, c.level, got, c.known, c.verdict)
		}
		s := fold.State()
		for _, e := range machine.Estimates(&s, noon.Add(time.Duration(n)*24*time.Hour)) {
			if e.Quantity == string(units.Alkalinity) && (e.Level == nil || e.TestsUsed != c.used) {
				t.Errorf("after test %d %d tests count; want %d", n, e.TestsUsed, c.used)
			}
		}
	}
	if got := fold.Judged("pond"); got != (estimate.Result{}) {
		t.Errorf("a system that is not there was judged: %+v", got)
	}
}
