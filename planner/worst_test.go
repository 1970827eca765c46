package planner_test

import (
	"maps"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"aliquot/planner"
	"aliquot/safety"
)

// timed is a channel on a relay with a timer of its own: every run counts as the worst, whatever its volume.
func timed(t testing.TB, expr string, perDay float64, worst, limit safety.Microlitres) planner.Input {
	in := fixed(t, expr, 0, perDay)
	c := &in.Channels[0]
	c.Worst, c.PerDay, c.Peak = worst, limit, c.Calendar.Peak(in.At)
	return in
}

// runsOfDays gives the runs of so many days by RunAt, one slot after the other, and the daily volume that they are of.
func runsOfDays(in planner.Input, days int) (perDay safety.Microlitres, runs []planner.Run) {
	ch := in.Channels[0]
	perDay = planner.DayVolumes(in)[0].PerDay
	for _, slot := range ch.Calendar.Slots(in.At, in.At.Add(time.Duration(days)*24*time.Hour)) {
		run, carry, ok := planner.RunAt(ch, perDay, slot)
		if ch.CarryNL = carry; ok {
			runs = append(runs, run)
		}
	}
	return perDay, runs
}

// mostCounted is the most that the runs of 24 h by the clock on the wall count as. Of a daily slot two lie within 24 true
// hours where it goes forward: the second then waits at the gate for the hour that the day lacks.
func mostCounted(c planner.ChannelState, runs []planner.Run) safety.Microlitres {
	most := safety.Microlitres(0)
	for i := range runs {
		sum := safety.Microlitres(0)
		for _, r := range runs[i:] {
			if wallOf(r).Sub(wallOf(runs[i])) < 24*time.Hour {
				sum += c.Tolerance.Above(max(c.Worst, r.Volume))
			}
		}
		most = max(most, sum)
	}
	return most
}

// wallOf is when a run's slot is by the clock on the wall, written as UTC.
func wallOf(r planner.Run) time.Time {
	at, err := time.Parse("2006-01-02T15:04", r.Slot.Key)
	if err != nil {
		panic(err)
	}
	return at
}

// Whatever the relay's timer lets through and whatever the cap: the planned runs of a day fit below per_day as the gate
// counts them, and together they give what the plan says.
func TestINV1_H02_RunsOfARelayCountAsItsTimer(t *testing.T) {
	known := map[string]planner.Input{}
	for _, expr := range []string{"0 * * * *", "*/30 * * * *", "0 */2 * * *", "15 6,12,18 * * *", "45 9 * * *"} {
		known[expr] = timed(t, expr, 0, 0, 0)
	}
	exprs := slices.Sorted(maps.Keys(known))
	rapid.Check(t, func(r *rapid.T) {
		expr := rapid.SampledFrom(exprs).Draw(r, "slots")
		worst := safety.Microlitres(rapid.Int64Range(8000, 12_000).Draw(r, "worst"))
		limit := safety.Microlitres(rapid.Int64Range(0, 600_000).Draw(r, "per_day"))
		in := known[expr]
		in.Channels = slices.Clone(in.Channels)
		in.Channels[0].Worst, in.Channels[0].PerDay = worst, limit
		in.Channels[0].FixedPerDay = rapid.Float64Range(0, 100).Draw(r, "mL")
		in.Channels[0].CarryNL = rapid.Int64Range(0, 20_000_000).Draw(r, "carry")
		const days = 20
		perDay, runs := runsOfDays(in, days)
		if most := mostCounted(in.Channels[0], runs); most > limit {
			r.Fatalf("%d runs of %s a day count as up to %s in a day, above per_day %s", len(runs), perDay, most, limit)
		}
		given := safety.Microlitres(0)
		for _, run := range runs {
			given += run.Volume
			if run.Volume > in.Channels[0].PerRun {
				r.Fatalf("a run of %s, above per_run", run.Volume)
			}
		}
		// Whatever is planned, no more than per_run at each slot is given.
		perDay = min(perDay, safety.Microlitres(len(in.Channels[0].Calendar.Slots(in.At, in.At.Add(24*time.Hour))))*in.Channels[0].PerRun)
		if least := perDay*days - max(perDay, 8000) - perDay/50; given < least {
			r.Fatalf("%s given in %d days of %s", given, days, perDay)
		}
	})
}

// With room for k runs a day and fewer slots nothing is gathered; with more slots they wait until enough is owed; with room
// for none nothing is planned, and the reason is named.
func TestH02_RunsAreGatheredWherePerDayHasRoomForFewer(t *testing.T) {
	const worst = 10_000 // counts as 10.5 mL
	for _, c := range []struct {
		name   string
		worst  safety.Microlitres
		limit  safety.Microlitres
		perDay safety.Microlitres // planned of 24 mL asked
		runs   int                // in the second day
		capped bool
	}{
		{"by what it gives", 0, 100_000, 24_000, 24, false},
		{"room for more", worst, 25 * 10_500, 24_000, 24, false},
		{"room for one in each hour", worst, 24 * 10_500, 24_000, 24, false},
		{"room for one less", worst, 24*10_500 - 1, 24_000, 12, false},
		{"room for twelve", worst, 12 * 10_500, 24_000, 8, false},
		{"room for four", worst, 4 * 10_500, 24_000, 3, false},
		{"room for three", worst, 3 * 10_500, 19_774, 3, true},
		{"room for one", worst, 10_500, 7098, 1, true},
		{"room for none", worst, 10_499, 0, 0, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := timed(t, "0 * * * *", 24, c.worst, c.limit)
			perDay, runs := runsOfDays(in, 2)
			second := 0
			for _, run := range runs {
				if !run.Slot.At.Before(in.At.Add(24 * time.Hour)) {
					second++
				}
			}
			why := planner.DayVolumes(in)[0].Why
			if perDay != c.perDay || second != c.runs || slices.Contains(why, safety.DayCap) != c.capped {
				t.Errorf("%s a day, %d runs in the second, %v; want %s, %d, capped %v", perDay, second, why, c.perDay, c.runs, c.capped)
			}
		})
	}
}

func TestAWorstThatCannotBeIsWithheld(t *testing.T) {
	for _, worst := range []safety.Microlitres{-1, 1_000_000_001} {
		in := timed(t, "0 * * * *", 24, worst, 100_000)
		if d := planner.DayVolumes(in)[0]; d.PerDay != 0 || !slices.Contains(d.Why, safety.BadVolume) {
			t.Errorf("worst %d: %+v; want withheld", worst, d)
		}
	}
}
