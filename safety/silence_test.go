package safety

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// trace is one channel that is asked for runs of one size at given times; the k-th run that is permitted is
// reported as finished after delays[k], or never where silent[k].
type trace struct {
	asks   []Elapsed
	delays []Elapsed
	silent []bool
}

const traceGivesUp = Elapsed((AckWait + StopWait) / time.Millisecond)

// starts gives the times at which the gate permitted a run.
func (tr trace) starts() []Elapsed {
	a := anAsk()
	f := goodFacts()
	f.Neighbours, f.Quantities, f.RemainingMin = nil, nil, 1e9
	var book Book
	var out []Elapsed
	for _, now := range tr.asks {
		for k, start := range out {
			b, found := book.Find(fmt.Sprint(k))
			if !found || !b.Open {
				continue
			}
			o, due := Finished, start+tr.delays[k]
			if tr.silent[k] {
				o, due = Unknown, start+traceGivesUp
			}
			if due <= now {
				hi, lo := Account(a.Commanded, o, nil)
				book = book.Replace(b.Close(due, o, hi, lo))
			}
		}
		f.Now, f.TankHi = now, book.Hi(now, false)
		f.LatestEnd, f.Open = book.LatestEnd()
		if Permit(a, f).Allowed {
			book = book.Add(now, NewBooking(fmt.Sprint(len(out)), false, now, a.Longest, a.Commanded))
			out = append(out, now)
		}
	}
	return out
}

// Turning any report into silence never lets more runs through, up to any moment. Runs are of one size: with
// several, a small run that is refused may leave room for a large one.
func TestINV9SilenceNeverHelps(t *testing.T) {
	later := 0
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 60).Draw(t, "asks")
		var tr trace
		now := Elapsed(0)
		for range n {
			now += rapid.SampledFrom([]Elapsed{minute, 5 * minute, 6 * minute, lateMax, 21 * minute, hour, 5 * hour, day - lateMax, day}).Draw(t, "step")
			tr.asks = append(tr.asks, now)
			tr.delays = append(tr.delays, Elapsed(rapid.Int64Range(2000, int64(lateMax+2000)).Draw(t, "delay")))
			tr.silent = append(tr.silent, rapid.Bool().Draw(t, "silent"))
		}
		told := tr.starts()
		quiet := tr
		quiet.silent = slices.Clone(tr.silent)
		quiet.silent[rapid.IntRange(0, len(told)-1).Draw(t, "silence")] = true
		silenced := quiet.starts()
		if len(silenced) > len(told) {
			t.Fatalf("silence let %d runs through, reports %d", len(silenced), len(told))
		}
		for k := range silenced {
			if silenced[k] < told[k] {
				t.Fatalf("run %d came at %d with silence, at %d with a report", k, silenced[k], told[k])
			}
		}
		if !slices.Equal(silenced, told) {
			later++
		}
	})
	if later == 0 {
		t.Error("silence never made a difference: the traces do not reach rest or cap")
	}
}
