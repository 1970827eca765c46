package planner_test

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"aliquot/planner"
	"aliquot/safety"
)

// Every planned run gives what it is meant to give, to the µL and the nL of a millisecond, whatever the offset; what is
// booked covers it and the whole day stays within per_day.
func TestRunsGiveTheirVolumeWithAnyOffset(t *testing.T) {
	in := fixed(t, "*/30 * * * *", 0, 96)
	rapid.Check(t, func(r *rapid.T) {
		ch := &in.Channels[0]
		ch.Rate = safety.Rate(rapid.Int64Range(1000, 2_000_000).Draw(r, "nL/s"))
		ch.Offset = safety.Microlitres(rapid.Int64Range(-3000, 3000).Draw(r, "offset"))
		ch.RunsOn = max(0, ch.Offset) + safety.Microlitres(rapid.Int64Range(0, 500).Draw(r, "unsure"))
		ch.FixedPerDay = rapid.Float64Range(0, 200).Draw(r, "mL/day")
		ch.CarryNL = rapid.Int64Range(0, 5_000_000).Draw(r, "carry")
		out := planner.Plan(in)
		if len(out.Withheld) > 0 {
			r.Fatalf("withheld: %+v", out.Withheld)
		}
		var booked, planned safety.Microlitres
		for _, run := range out.Runs {
			truth := int64(ch.Rate)*int64(run.Duration) + int64(ch.Offset)*1e6 // femtolitres
			if off := truth - int64(run.Volume)*1e6; off < 0 || off >= 1e6 {
				r.Fatalf("run %+v gives %d fL, %d off its volume", run, truth, off)
			}
			if run.Volume > ch.PerRun || run.Duration < 1 || run.Duration > safety.RunMax || run.Volume < min(ch.SmallestRun, ch.PerRun) {
				r.Fatalf("run %+v is outside its limits", run)
			}
			c := safety.Commanded{Volume: run.Volume, Rate: ch.Rate, Tolerance: ch.Tolerance, Offset: ch.Offset, RunsOn: ch.RunsOn}
			c.Worst = max(c.Volume, c.WorstIn(run.Duration))
			hi, _ := safety.Account(c, safety.Unknown, nil)
			if int64(hi)*1e6 < truth {
				r.Fatalf("run %+v gives %d fL and is booked with %s", run, truth, hi)
			}
			booked, planned = booked+hi, planned+run.Volume
		}
		if booked > ch.PerDay {
			r.Fatalf("%d runs are booked with %s, above per_day %s", len(out.Runs), booked, ch.PerDay)
		}
		if meant := out.Days[0].PerDay + safety.Microlitres(ch.CarryNL/1000) + 48; planned > meant {
			r.Fatalf("%s planned of %s", planned, meant)
		}
	})
}

func TestOffsetAtItsLimits(t *testing.T) {
	for _, c := range []struct {
		name           string
		offset, runsOn safety.Microlitres
		runs           int
		first          safety.Milliseconds
		withheld       bool
		note           string
	}{
		{"none", 0, 0, 24, 23999, false, ""},
		{"runs on", 1000, 1000, 24, 17999, false, ""},
		{"drains", -1000, 0, 24, 29999, false, ""},
		{"as much as is owed: the first slot waits", 4000, 4000, 23, 23999, false, ""},
		{"just below per_run", 7999, 7999, 12, 5, false, ""},
		{"per_run", 8000, 8000, 0, 0, false, "no run fits"},
		{"above per_run", 8001, 8001, 0, 0, false, "no run fits"},
		{"more than its most", 10, 9, 0, 0, true, ""},
		{"a most below nothing", -10, -1, 0, 0, true, ""},
		{"beyond any channel", -1_000_000_001, 0, 0, 0, true, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := fixed(t, "0 * * * *", 0, 96)
			in.Channels[0].Offset, in.Channels[0].RunsOn = c.offset, c.runsOn
			out := planner.Plan(in)
			if (len(out.Withheld) > 0) != c.withheld || len(out.Runs) != c.runs {
				t.Fatalf("%d runs, withheld %+v; want %d, %v", len(out.Runs), out.Withheld, c.runs, c.withheld)
			}
			if c.runs > 0 && out.Runs[0].Duration != c.first {
				t.Errorf("the first run takes %d ms; want %d", out.Runs[0].Duration, c.first)
			}
			if notes := strings.Join(out.Notes, "\n"); !strings.Contains(notes, c.note) || (c.note == "" && strings.Contains(notes, "no run fits")) {
				t.Errorf("notes %q; want %q", notes, c.note)
			}
		})
	}
}

// A run of the longest time there is still counts its offset.
func TestLongestRunCountsItsOffset(t *testing.T) {
	for _, offset := range []safety.Microlitres{-300, 0, 300} {
		in := fixed(t, "15 9 * * *", 0, 2)
		ch := &in.Channels[0]
		ch.Rate, ch.Offset, ch.RunsOn = 2000, offset, max(0, offset) // 1.2 mL in ten minutes
		out := planner.Plan(in)
		if len(out.Runs) != 1 || out.Runs[0].Duration != safety.RunMax || out.Runs[0].Volume != 1200+offset {
			t.Errorf("offset %s: %+v", offset, out.Runs)
		}
	}
}
