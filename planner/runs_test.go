package planner_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"aliquot/planner"
	"aliquot/safety"
)

// fixed is a system with one fixed channel.
func fixed(t testing.TB, expr string, every int, perDay float64) planner.Input {
	cal := calendar(t, expr, "Europe/Lisbon")
	cal.EveryDays = every
	ch := planner.Channel{ID: "trace", System: "nursery", Mode: planner.Fixed, FixedPerDay: perDay, Calendar: cal,
		SmallestRun: 300, PerRun: 8000, PerDay: 180_000, Tolerance: 50}
	return planner.Input{At: utc("2027-03-10"),
		Systems:  []planner.SystemState{{System: planner.System{ID: "nursery", NetLitres: 340}}},
		Channels: []planner.ChannelState{{Channel: ch, Rate: 166_667}}}
}

func TestRunsOfADay(t *testing.T) {
	for _, c := range []struct {
		name, expr string
		every      int
		perDay     float64
		runs       int
		first      safety.Microlitres
		duration   safety.Milliseconds
	}{
		{"48 a day", "*/30 * * * *", 0, 96, 48, 1999, 11999},
		{"24 a day", "0 * * * *", 0, 96, 24, 3999, 23999},
		{"one a day", "15 9 * * *", 0, 2, 1, 1999, 11999},
		{"every second day", "15 9 * * *", 2, 2, 1, 3999, 23999},
		{"gathered to the smallest run", "*/30 * * * *", 0, 2, 6, 333, 1999},
		{"below the smallest run", "15 9 * * *", 0, .2, 0, 0, 0},
		{"nothing", "15 9 * * *", 0, 0, 0, 0, 0},
		{"more than per_run", "15 9 * * *", 0, 20, 1, 7999, 47999},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := fixed(t, c.expr, c.every, c.perDay)
			in.At = utc("2027-03-10")
			out := planner.Plan(in)
			if len(out.Runs) != c.runs {
				t.Fatalf("%d runs, want %d: %+v", len(out.Runs), c.runs, out)
			}
			if c.runs > 0 && (out.Runs[0].Volume != c.first || out.Runs[0].Duration != c.duration) {
				t.Errorf("first run %v in %v ms, want %v in %v ms", out.Runs[0].Volume, out.Runs[0].Duration, c.first, c.duration)
			}
			if overflow := c.perDay == 20; overflow != (len(out.Notes) == 1) {
				t.Errorf("notes %q", out.Notes)
			}
		})
	}
}

func TestTheSlotAtAtIsPlannedAndTheOneAtTheEndIsNot(t *testing.T) {
	in := fixed(t, "15 9 * * *", 0, 2)
	in.At = utc("2027-03-10T09:15:00Z")
	out := planner.Plan(in)
	if len(out.Runs) != 1 || !out.Runs[0].Slot.At.Equal(in.At) {
		t.Errorf("runs %+v, want the one at %v", out.Runs, in.At)
	}
	in.Channels[0].ServedThrough = in.At
	if out := planner.Plan(in); len(out.Runs) != 0 {
		t.Errorf("runs %+v, want none: that slot was served", out.Runs)
	}
	in.Channels[0].ServedThrough = in.At.Add(-1)
	if out := planner.Plan(in); len(out.Runs) != 1 {
		t.Errorf("runs %+v, want one: nothing was served at that instant", out.Runs)
	}
}

func TestWithoutARateThereIsAVolumeAndNoRun(t *testing.T) {
	in := fixed(t, "15 9 * * *", 0, 2)
	in.Channels[0].Rate = 0
	if out := planner.Plan(in); out.Days[0].PerDay != 2000 || len(out.Runs)+len(out.Carried) != 0 {
		t.Errorf("%+v, want 2 mL a day, no runs", out)
	}
	if _, _, ok := planner.RunAt(in.Channels[0], 2000, planner.Slot{Days: 1}); ok {
		t.Error("RunAt gives a run without a rate")
	}
}

func TestFixedRespectsPerDayOnSparseCalendars(t *testing.T) {
	in := fixed(t, "15 9 * * *", 2, 3)
	in.Channels[0].PerDay = 5000 // 6 mL every second day would be 6.3 with the tolerance
	out := planner.Plan(in)
	if v := in.Channels[0].Tolerance.Above(out.Runs[0].Volume); v > 5000 {
		t.Errorf("a run of %v may be %v, above per_day 5 mL", out.Runs[0].Volume, v)
	}
	if len(out.Days[0].Why) != 1 || out.Days[0].Why[0] != safety.DayCap {
		t.Errorf("why %v, want day_cap", out.Days[0].Why)
	}
}

func TestAnImpossibleCarryIsNotCaughtUp(t *testing.T) {
	in := fixed(t, "15 9 * * *", 0, 2)
	in.Channels[0].CarryNL = 50e6 // 50 mL: a day that was missed
	out := planner.Plan(in)
	if v := out.Runs[0].Volume; v > 2310 || len(out.Notes) != 1 {
		t.Errorf("run of %v, notes %q; want at most a day and one smallest run", v, out.Notes)
	}
	in.Channels[0].CarryNL = -5
	if v := planner.Plan(in).Runs[0].Volume; v != 1999 {
		t.Errorf("a negative carry gives %v, want 1.999 mL", v)
	}
}

func TestPerRunEqualToTheSmallestRunStillRuns(t *testing.T) {
	in := fixed(t, "*/30 * * * *", 0, 24)
	in.Channels[0].SmallestRun, in.Channels[0].PerRun = 500, 500
	if out := planner.Plan(in); len(out.Runs) != 48 {
		t.Errorf("%d runs, want 48", len(out.Runs))
	}
}

func TestNoRunIsLongerThanTheLongest(t *testing.T) {
	in := fixed(t, "15 9 * * *", 0, 100)
	in.Channels[0].PerRun, in.Channels[0].Rate = 100_000, 83_333 // 5 mL/min: 20 min
	out := planner.Plan(in)
	if r := out.Runs[0]; r.Duration > safety.RunMax || r.Volume > 50_000 || r.CarryAfterNL > 2_000 {
		t.Errorf("run %+v, want at most 600 s and nothing built up", r)
	}
}

func TestRunsAreSortedByTimeThenChannel(t *testing.T) {
	in := fixed(t, "*/30 * * * *", 0, 48)
	b := in.Channels[0]
	b.ID = "b"
	in.Channels = append(in.Channels, b)
	runs := planner.Plan(in).Runs
	for i := 1; i < len(runs); i++ {
		p, r := runs[i-1], runs[i]
		if p.Slot.At.After(r.Slot.At) || (p.Slot.At.Equal(r.Slot.At) && p.Channel != "trace") {
			t.Fatalf("run %d (%s at %v) after %s at %v", i, r.Channel, r.Slot.At, p.Channel, p.Slot.At)
		}
	}
}

var drawnExprs = []string{"*/30 * * * *", "0 */2 * * *", "15,45 * * * *", "15 9 * * *", "0 8 * * 1-5", "0 8 31 * *", "*/5 0-3 * * *"}

// peaks keeps the peaks of the drawn calendars, by what they print as.
var peaks = map[string]planner.Peak{}

func peakOf(c planner.Calendar) planner.Peak {
	key := fmt.Sprint(c.Schedule, c.Zone, c.EveryDays)
	if _, ok := peaks[key]; !ok {
		peaks[key] = c.Peak(utc("2027-01-01"))
	}
	return peaks[key]
}

// drawFixed draws a fixed channel with any calendar, limits and rate.
func drawFixed(t *testing.T, rt *rapid.T) planner.Input {
	in := fixed(t, rapid.SampledFrom(drawnExprs).Draw(rt, "expr"), rapid.IntRange(0, 3).Draw(rt, "every"), rapid.Float64Range(0, 300).Draw(rt, "per_day"))
	c := &in.Channels[0]
	c.Calendar.Zone = mustZone(t, rapid.SampledFrom([]string{"Europe/Lisbon", "America/New_York", "Australia/Lord_Howe", "Asia/Kolkata"}).Draw(rt, "zone"))
	c.SmallestRun = safety.Microlitres(rapid.IntRange(0, 2000).Draw(rt, "smallest"))
	c.PerRun = safety.Microlitres(rapid.IntRange(2000, 50_000).Draw(rt, "per_run"))
	c.PerDay = safety.Microlitres(rapid.IntRange(0, 400_000).Draw(rt, "per_day_cap"))
	c.Tolerance = safety.Tolerance(rapid.IntRange(0, 250).Draw(rt, "tolerance"))
	c.Rate = safety.Rate(rapid.IntRange(167, 20_000_000).Draw(rt, "rate"))
	c.CarryNL = int64(rapid.IntRange(0, 10_000_000).Draw(rt, "carry"))
	c.Peak = peakOf(c.Calendar)
	in.At = utc("2027-01-01").Add(time.Duration(rapid.IntRange(0, 366*24*60).Draw(rt, "at")) * time.Minute)
	return in
}

// However a channel is set up, no rolling 24 h of planned runs can exceed per_day, each run at its most, with the
// plan made anew every few hours and volumes that change at will.
func TestRollingSumsNeverExceedPerDay(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		in := drawFixed(t, rt)
		c := &in.Channels[0]
		tick := time.Duration(rapid.IntRange(1, 24).Draw(rt, "tick")) * time.Hour
		var runs []planner.Run
		for range 12 {
			in.Horizon = tick
			c.FixedPerDay = rapid.Float64Range(0, 500).Draw(rt, "volume")
			out := planner.Plan(in)
			runs = append(runs, out.Runs...)
			in.At, c.CarryNL = in.At.Add(tick), carryAfter(out, c.CarryNL)
		}
		checkRolling(rt, runs, c.Channel)
	})
}

// carryAfter is what is owed after a plan.
func carryAfter(out planner.Output, before int64) int64 {
	var at time.Time
	for _, r := range out.Runs {
		at, before = r.Slot.At, r.CarryAfterNL
	}
	for _, c := range out.Carried {
		if c.Slot.At.After(at) {
			at, before = c.Slot.At, c.CarryAfterNL
		}
	}
	return before
}

func checkRolling(rt rapid.TB, runs []planner.Run, c planner.Channel) {
	for i := range runs {
		var sum safety.Microlitres
		for j := i; j < len(runs) && runs[j].Slot.At.Sub(runs[i].Slot.At) <= 24*time.Hour; j++ {
			sum += c.Tolerance.Above(runs[j].Volume)
		}
		if sum > c.PerDay {
			rt.Fatalf("the 24 h from %v may bring %v, per_day is %v", runs[i].Slot.At, sum, c.PerDay)
		}
	}
}

// What the slots owe is given, carried or named as dropped, to the nanolitre; no run exceeds its limits.
func TestCarryIsConserved(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		in := drawFixed(t, rt)
		in.Horizon = time.Duration(rapid.IntRange(1, 72).Draw(rt, "horizon")) * time.Hour
		c := in.Channels[0]
		out := planner.Plan(in)
		var owed, given int64
		for _, s := range c.Calendar.Slots(in.At, in.At.Add(in.Horizon)) {
			owed += planner.OwedNL(out.Days[0].PerDay, s)
		}
		for _, r := range out.Runs {
			given += int64(r.Volume) * 1000
			if r.Volume <= 0 || r.Volume > c.PerRun || r.Duration <= 0 || r.Duration > safety.RunMax || r.Volume < c.SmallestRun && c.SmallestRun < c.PerRun-50 {
				rt.Fatalf("run %+v outside %v..%v", r, c.SmallestRun, c.PerRun)
			}
			if c.Rate.VolumeIn(r.Duration) < r.Volume {
				rt.Fatalf("%v takes longer than %v ms at %d nL/s", r.Volume, r.Duration, c.Rate)
			}
		}
		if len(out.Runs)+len(out.Carried) == 0 {
			return // no slot in the horizon
		}
		carried := carryAfter(out, 0)
		left, dropped := owed+c.CarryNL-given-carried, len(out.Notes) > 0
		if left < 0 || (left > 0) != dropped {
			rt.Fatalf("owed %d nL, given %d, carried %d: %d left over, notes %q", owed+c.CarryNL, given, carried, left, out.Notes)
		}
	})
}

// RunAt gives slot by slot what Plan gives for the whole horizon.
func TestRunAtFollowsThePlan(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		in := drawFixed(t, rt)
		out, c := planner.Plan(in), in.Channels[0]
		runs := 0
		for _, s := range c.Calendar.Slots(in.At, in.At.Add(24*time.Hour)) {
			run, carry, ok := planner.RunAt(c, out.Days[0].PerDay, s)
			c.CarryNL = carry
			if !ok {
				continue
			}
			if runs >= len(out.Runs) || run != out.Runs[runs] {
				rt.Fatalf("run %d at %s is %+v, not in the plan %+v", runs, s.Key, run, out.Runs)
			}
			runs++
		}
		if runs != len(out.Runs) {
			rt.Fatalf("%d runs slot by slot, %d planned", runs, len(out.Runs))
		}
	})
}

func TestH13ADaysVolumeIsTheSameOnClockChanges(t *testing.T) {
	for _, c := range clockChanges {
		in := fixed(t, "*/30 * * * *", 0, 96)
		zone := mustZone(t, c.zone)
		in.Channels[0].Calendar.Zone = zone
		d := utc(c.date)
		first := in.Channels[0].Calendar.Slots(d.Add(-36*time.Hour), d.Add(36*time.Hour))
		var from, to time.Time
		for _, s := range first {
			if s.Key[:10] == c.date && from.IsZero() {
				from = s.At
			}
			if s.Key[:10] == d.AddDate(0, 0, 1).Format("2006-01-02") && to.IsZero() {
				to = s.At
			}
		}
		in.At, in.Horizon = from, to.Sub(from)
		var sum safety.Microlitres
		out := planner.Plan(in)
		for _, r := range out.Runs {
			sum += r.Volume
		}
		if sum < 95_990 || sum > 96_000 || len(out.Runs) != c.slots || math.Abs(in.Horizon.Hours()-c.hours) > 1 {
			t.Errorf("%s: %d runs give %v in %v, want %d runs, 96 mL", c.name, len(out.Runs), sum, in.Horizon, c.slots)
		}
	}
}

// A larger reference, use or target never lowers a volume; a larger level never raises it.
func TestVolumesAreMonotone(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		draw := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(rt, name) }
		e := known(draw("level", 5, 12), draw("use", 0, 3))
		e.LevelSD, e.Overshoot = draw("sd", 0, .5), rapid.Bool().Draw(rt, "overshoot")
		e.LastAccepted = noon.Add(-time.Duration(draw("age", 0, 40) * 24 * float64(time.Hour)))
		in, ref := one(t, e), draw("reference", 0, 170)
		in.Channels[0].Reference = ml(ref)
		was, more := perDay(in), draw("more", 0, 1)
		for name, change := range map[string]func(*planner.Input){
			"reference": func(in *planner.Input) { in.Channels[0].Reference = ml(min(170, ref+20*more)) },
			"use":       func(in *planner.Input) { in.Systems[0].Estimates[0].Consumption += more },
			"level": func(in *planner.Input) {
				in.Systems[0].Estimates[0].Level -= more
				in.Systems[0].Estimates[0].LevelCaught -= more
			},
		} {
			again := one(t, e)
			again.Channels[0].Reference = ml(ref)
			change(&again)
			if now := perDay(again); now < was-1e-9 {
				rt.Fatalf("more %s by %v: %v mL, before %v mL", name, more, now, was)
			}
		}
	})
}
