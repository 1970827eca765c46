package rehearse

import (
	"fmt"
	"math"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
	"aliquot/safety"
)

// past is a history with a test of alkalinity every two days.
func past(t *testing.T, levels ...float64) []machine.Row {
	t.Helper()
	var rows []machine.Row
	for i, v := range levels {
		at := start.Add(time.Duration(i) * 2 * day)
		rows = append(rows, machine.Row{Seq: int64(i + 1), ID: fmt.Sprint(i), At: at, Elapsed: safety.Elapsed(at.UnixMilli()), Trusted: true,
			Body: machine.Test{System: "bay", Quantity: units.Alkalinity, Level: v, Value: v, Unit: "dKH", Taken: at}})
	}
	return rows
}

// The replay tells what the estimator had predicted, what was set aside, and what became of it.
func TestReplayTellsPredictions(t *testing.T) {
	site := bay(t)
	site.Channels = nil
	for _, c := range []struct {
		name    string
		levels  []float64
		verdict []string
		became  []string
		aside   int
	}{
		{"steady", []float64{8, 8, 8, 8}, []string{"accepted", "accepted", "accepted", "accepted"}, []string{"", "", "", ""}, 0},
		{"a slip", []float64{8, 8, 8, 12, 8}, []string{"accepted", "accepted", "accepted", "held", "accepted"}, []string{"", "", "", "refuted", ""}, 1},
		{"a real jump", []float64{8, 8, 8, 10.5, 10.5}, []string{"accepted", "accepted", "accepted", "held", "accepted"}, []string{"", "", "", "confirmed", ""}, 0},
		{"the last one is open", []float64{8, 8, 8, 12}, []string{"accepted", "accepted", "accepted", "held"}, []string{"", "", "", "open"}, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := Replay(site, past(t, c.levels...))
			if len(r.Tests) != len(c.levels) {
				t.Fatalf("%d tests; want %d", len(r.Tests), len(c.levels))
			}
			for i, k := range r.Tests {
				if k.Verdict != c.verdict[i] || k.Became != c.became[i] {
					t.Errorf("test %d is %s, %q; want %s, %q", i, k.Verdict, k.Became, c.verdict[i], c.became[i])
				}
				if (k.Predicted == nil) != (i == 0) {
					t.Errorf("test %d has prediction %v; want one for all but the first", i, k.Predicted)
				}
				if k.Error != nil && math.Abs(*k.Error-(k.Value-*k.Predicted)) > 1e-12 {
					t.Errorf("test %d misses by %g; want %g less %g", i, *k.Error, k.Value, *k.Predicted)
				}
			}
			q := r.Quantities[0]
			if q.Tests != len(c.levels) || q.Predicted != len(c.levels)-1 || q.SetAside != c.aside || q.RMSError == nil || q.Within90 == nil {
				t.Errorf("sums %+v; want %d tests, %d set aside", q, len(c.levels), c.aside)
			}
		})
	}
}

// The sums come from the tests by their definitions.
func TestReplaySums(t *testing.T) {
	r := Replay(bay(t), past(t, 8, 7.5, 7.6, 7.2, 11, 7.4))
	sum, n, in, predicted := 0.0, 0, 0, 0
	for _, k := range r.Tests {
		if k.Error == nil {
			continue
		}
		predicted++
		if math.Abs(*k.Error) <= 1.645**k.PredictedSD {
			in++
		}
		if k.Became == "" || k.Became == "confirmed" {
			sum, n = sum+*k.Error**k.Error, n+1
		}
	}
	q := r.Quantities[0]
	if want := math.Sqrt(sum / float64(n)); math.Abs(*q.RMSError-want) > 1e-12 {
		t.Errorf("RMS error %g; want %g", *q.RMSError, want)
	}
	if want := 100 * float64(in) / float64(predicted); *q.Within90 != want {
		t.Errorf("within 90 %%: %g; want %g", *q.Within90, want)
	}
}

// Tests of something else than the tank, or of what has no target, are no business of a replay.
func TestReplayLeavesOthersOut(t *testing.T) {
	rows := past(t, 8, 8, 8)
	for i, change := range []func(*machine.Test){func(b *machine.Test) { b.Of = "mix" }, func(b *machine.Test) { b.Quantity = units.Nitrate }, func(b *machine.Test) { b.System = "pond" }} {
		b := rows[i].Body.(machine.Test)
		change(&b)
		rows[i].Body = b
	}
	if r := Replay(bay(t), rows); len(r.Tests) != 0 || r.Rows != 3 {
		t.Errorf("replayed %+v; want none of the three tests", r.Tests)
	}
	if r := Replay(bay(t), nil); r.From != nil || len(r.Quantities) != 2 || r.Quantities[0].RMSError != nil {
		t.Errorf("an empty history gave %+v", r)
	}
}

// A rehearsal's own rows, replayed, hold its own tests with the predictions that the machine answered with.
func TestReplayOfARehearsal(t *testing.T) {
	o := bayOptions(t, 8, 4)
	o.Scenario.WrongTests = []WrongTest{{"bay", units.Alkalinity, 3, 4}}
	r := rehearsed(t, o)
	again := Replay(o.Site, r.Rows)
	if len(again.Tests) != len(r.Tests) {
		t.Fatalf("%d tests replayed, %d were entered", len(again.Tests), len(r.Tests))
	}
	held := 0
	for i, k := range again.Tests {
		lived := r.Tests[i]
		if k.Value != lived.Value || (k.Predicted == nil) != (lived.Expected == nil) || k.Predicted != nil && math.Abs(*k.Predicted-*lived.Expected) > 1e-4 {
			t.Errorf("replayed %+v; lived %+v", k, lived)
		}
		if (k.Verdict == "held") != lived.Held {
			t.Errorf("replayed as %s; lived held %v", k.Verdict, lived.Held)
		}
		if lived.Held {
			held++
		}
	}
	if held == 0 {
		t.Error("no test was held; the wrong one should be")
	}
	if asTests := again.AsTests(); len(asTests) != len(again.Tests) || asTests[0].Expected != nil {
		t.Errorf("as tests: %+v", asTests[0])
	}
}
