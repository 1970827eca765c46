package machine_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
	"aliquot/safety"
)

// condensable is an invented history of some days of the lagoon with everything in it that a sum must not reach over: tests,
// late ones too, refills, swaps, water changes, new tubing, runs that nobody knows the outcome of, second words about a run,
// runs that are open while something else happens, a channel that stops for good, a clock in doubt.
func condensable(site *machine.Site, days int, seed uint64) []machine.Row {
	random := rand.New(rand.NewPCG(seed, 8))
	var rows []machine.Row
	trusted := true
	add := func(at time.Time, body machine.Body) {
		r := machine.Row{Seq: int64(len(rows) + 1), At: at, Elapsed: safety.Elapsed(at.UnixMilli()), Trusted: trusted, Body: body}
		if run, ok := body.(machine.RunReserved); ok {
			r.ID = run.Run
		}
		rows = append(rows, r)
	}
	care := func(at time.Time) {
		c := site.Channels[random.IntN(len(site.Channels))]
		k, y := c.Container, site.Systems[0].ID
		switch random.IntN(40) {
		case 0:
			add(at, machine.Refill{Container: k, Added: ml(300)})
		case 1:
			add(at, machine.Refill{Container: k, Remaining: ref(ml(900))})
		case 2:
			add(at, machine.WaterChange{System: y, Taken: at.Add(-time.Hour), Litres: 20})
		case 3:
			add(at, machine.Tube{Channel: c.ID})
			add(at, machine.Calibration{Channel: c.ID, Rate: mustRate(boardRate * 1.1), Tolerance: safety.DefaultTolerance})
			add(at, machine.Primed{Channel: c.ID})
		case 4:
			add(at, machine.Answered{Ref: fmt.Sprint("ask ", len(rows)), Verb: "test", OK: true, Code: safety.OK})
		case 5:
			add(at, machine.Swap{Container: k, Supplement: site.Containers[0].Supplement, Remaining: ml(1000)})
		case 6:
			add(at, machine.AlertChanged{Name: "clock", Level: machine.Warning, Raised: random.IntN(2) == 0})
		case 7:
			add(at, machine.SlotCarried{Channel: c.ID, Slot: at.Format("2006-01-02T15:04"), CarryNL: 77})
		case 8:
			add(at, machine.Note{System: y, Note: "other"})
		case 9, 10, 11, 12, 13, 14:
			back := time.Duration(random.IntN(30)) * time.Hour / 4
			add(at, machine.Test{System: y, Quantity: units.Alkalinity, Level: 8 + random.Float64()/4, Value: 8, Unit: "dKH", Taken: at.Add(-back)})
		}
	}
	for _, k := range site.Containers {
		add(noon, machine.Refill{Container: k.ID, Remaining: ref(ml(1000))})
	}
	for _, c := range site.Channels {
		add(noon, machine.Calibration{Channel: c.ID, Rate: mustRate(boardRate), Tolerance: safety.DefaultTolerance})
	}
	for slot := range days * 12 {
		at := noon.Add(time.Duration(slot)*2*time.Hour + time.Duration(random.IntN(1000))*time.Millisecond)
		trusted = slot%171 != 0
		add(at, machine.ProbeMean{Probe: "ph", From: at.Add(-time.Hour), Until: at, Mean: 8 + random.Float64()/8, Count: 1 + random.IntN(9)})
		care(at)
		for i, c := range site.Channels {
			if i == 1 && slot > days*6 {
				continue
			}
			run := fmt.Sprintf("run-%d-%d", slot, i)
			begun := at.Add(time.Duration(i) * time.Minute)
			add(begun, machine.RunReserved{Run: run, Channel: c.ID, Container: c.Container, Node: c.Node, Output: c.Output, Serial: int64(len(rows)), Purpose: machine.Dose,
				Into: machine.IntoTank, Slot: begun.Format("2006-01-02T15:04"), Volume: ml(.5), Worst: ml(.5), Duration: 3000, Longest: 3000, Rate: mustRate(boardRate), Tolerance: safety.DefaultTolerance,
				CarryNL: int64(random.IntN(500)), DayVolume: ml(6) + safety.Microlitres(slot)})
			if random.IntN(8) == 0 {
				care(begun)
			}
			e := machine.RunEnded{Run: run, Outcome: machine.Finished, Hi: ml(.53), Lo: ml(.47)}
			switch random.IntN(30) {
			case 0:
				e.Outcome, e.Lo = machine.Unknown, 0
			case 1:
				e.Outcome, e.Duration = machine.Partial, 1500
			case 2:
				e.Duration, e.Hi = 2950, ml(.6)
			}
			add(begun.Add(4*time.Second), e)
			if random.IntN(50) == 0 {
				add(begun.Add(9*time.Second), machine.RunEnded{Run: run, Outcome: machine.Extra, Hi: ml(1.1), Lo: ml(.47)})
			}
		}
	}
	return rows
}

// condense sums what is not newer than a moment.
func condense(rows []machine.Row, until time.Time) machine.Condensed {
	d := machine.NewCondenser(time.FixedZone("", 3*3600+900))
	n := 0
	for n < len(rows) && !rows[n].At.After(until) {
		d.Add(rows[n])
		n++
	}
	for _, r := range rows[n:] {
		d.Look(r)
	}
	return d.Done()
}

// shorter is a ledger without what was summed.
func shorter(t *testing.T, rows []machine.Row, c machine.Condensed) []machine.Row {
	t.Helper()
	gone := map[int64]bool{}
	for _, seq := range c.Gone {
		gone[seq] = true
	}
	sums := map[int64]machine.Row{}
	for _, r := range c.Sums {
		if !gone[r.Seq] || sums[r.Seq].Body != nil {
			t.Fatalf("a sum stands at row %d, which is not free", r.Seq)
		}
		sums[r.Seq] = r
	}
	var out []machine.Row
	for _, r := range rows {
		if s, ok := sums[r.Seq]; ok {
			out = append(out, s)
		}
		if !gone[r.Seq] {
			out = append(out, r)
		}
	}
	return out
}

func fold(site *machine.Site, rows []machine.Row) machine.State {
	f := machine.NewFold(site)
	for _, r := range rows {
		f.Add(r)
	}
	return f.State()
}

// A fold of a shorter ledger is that of the whole one: to the last bit in all that a limit, a container or a pump's life rests
// on. What is believed of the water differs by far less than a test can tell, since runs around a test are gathered by the
// estimator in other spans than they are summed in. Answers to old requests are no longer known.
func TestCondensedFoldIsTheSame(t *testing.T) {
	for seed := range uint64(6) {
		site := lagoon(time.UTC)
		rows := condensable(site, 160, seed)
		last := rows[len(rows)-1].At
		until := last.Add(-60 * 24 * time.Hour)
		c := condense(rows, until)
		less := shorter(t, rows, c)
		t.Logf("%d rows became %d, %d sums", len(rows), len(less), len(c.Sums))
		if runs := len(c.Gone); runs < len(rows)/4 || len(c.Sums) == 0 {
			t.Fatalf("only %d rows went: the test compares nothing", runs)
		}
		whole, short := fold(site, rows), fold(site, less)
		a, b := countable(machine.Durable(&whole)), countable(machine.Durable(&short))
		if a != b {
			t.Errorf("seed %d: the folds differ:\n%s", seed, firstDifference(a, b))
		}
		x, y := machine.Estimates(&whole, last), machine.Estimates(&short, last)
		for i := range x {
			if (x[i].Level == nil) != (y[i].Level == nil) {
				t.Fatalf("one of two is believed: %+v, %+v", x[i], y[i])
			}
			if x[i].Level == nil {
				continue
			}
			for n, d := range []float64{*x[i].Level - *y[i].Level, *x[i].LevelSD - *y[i].LevelSD, *x[i].ConsumptionPerDay - *y[i].ConsumptionPerDay, *x[i].ConsumptionSD - *y[i].ConsumptionSD} {
				if !(math.Abs(d) < 1e-4) { // a kit scatters by a thousand times as much
					t.Errorf("seed %d: number %d of %s differs by %g", seed, n, x[i].Quantity, d)
				}
			}
		}
	}
}

// A run during which something else happened keeps its rows: new tubing counts the time that pumps ran from its row on.
func TestCondenseLeavesWhatStraddles(t *testing.T) {
	site := lagoon(time.UTC)
	c := site.Channels[0]
	var rows []machine.Row
	add := func(at time.Time, body machine.Body) {
		rows = append(rows, machine.Row{Seq: int64(len(rows) + 1), At: at, Elapsed: safety.Elapsed(at.UnixMilli()), Trusted: true, Body: body})
	}
	for day := range 100 {
		at := noon.AddDate(0, 0, day)
		run := fmt.Sprint("run ", day)
		add(at, machine.RunReserved{Run: run, Channel: c.ID, Container: c.Container, Purpose: machine.Dose, Into: machine.IntoTank, Volume: ml(1), Worst: ml(1),
			Duration: 6000, Longest: 6000, Rate: mustRate(boardRate), Tolerance: safety.DefaultTolerance})
		if day == 10 {
			add(at.Add(time.Second), machine.Tube{Channel: c.ID})
		}
		add(at.Add(6*time.Second), machine.RunEnded{Run: run, Outcome: machine.Finished, Hi: ml(1.1), Lo: ml(.9)})
	}
	less := shorter(t, rows, condense(rows, noon.AddDate(0, 0, 50)))
	whole, short := fold(site, rows), fold(site, less)
	if a, b := countable(machine.Durable(&whole)), countable(machine.Durable(&short)); a != b {
		t.Errorf("the folds differ:\n%s", firstDifference(a, b))
	}
	kept := 0
	for _, r := range less {
		if b, ok := r.Body.(machine.RunReserved); ok && b.Run == "run 10" {
			kept++
		}
	}
	if kept != 1 || len(less) >= len(rows) {
		t.Errorf("%d rows of the run during which the tubing was changed, %d of %d rows in all; want 1 and fewer", kept, len(less), len(rows))
	}
}

// countable leaves out of a state what a shorter ledger may change: how many answers and inputs are remembered, and beliefs.
func countable(durable string) string {
	var out []string
	for line := range strings.Lines(durable) {
		if at := strings.Index(line, " answers "); at >= 0 {
			line = line[:at] + "\n"
		}
		if !strings.HasPrefix(line, "system ") && !strings.HasPrefix(line, "  uses ") {
			out = append(out, line)
		}
	}
	return strings.Join(out, "")
}
