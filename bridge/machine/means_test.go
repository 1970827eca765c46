package machine_test

import (
	"slices"
	"testing"
	"time"

	"aliquot/bridge/machine"
)

// written is a transaction that stored means.
type written struct {
	at    time.Time
	means []machine.ProbeMean
	alone bool // nothing else was stored with them
}

// meansOf collects every transaction with means.
func meansOf(r *rig) *[]written {
	var all []written
	r.told = func(at time.Time, e machine.Effect) {
		a, ok := e.(machine.Append)
		if !ok {
			return
		}
		w := written{at: at, alone: true}
		for _, row := range a.Rows {
			if b, ok := row.Body.(machine.ProbeMean); ok {
				w.means = append(w.means, b)
			} else {
				w.alone = false
			}
		}
		if len(w.means) > 0 {
			all = append(all, w)
		}
	}
	return &all
}

// Means go with whatever else is stored, and alone after half an hour; none is lost or overlaps with the one before, and each
// is of a quarter of an hour.
func TestMeansGoWithOtherRows(t *testing.T) {
	r := newRig(t, lagoon(time.UTC), noon)
	r.boot()
	r.commission()
	r.advance(time.Hour)
	all := meansOf(r)
	r.advance(6 * time.Hour) // of runs every half hour
	beside, until := 0, map[string]time.Time{}
	for _, w := range *all {
		if !w.alone {
			beside++
		}
		if waited := w.at.Sub(w.means[0].From); waited > 31*time.Minute || w.alone && waited < 30*time.Minute {
			t.Errorf("at %s a mean was written, alone: %v, %s after the beginning of its batch", w.at.Format(time.TimeOnly), w.alone, waited)
		}
		for _, m := range w.means {
			if last, again := until[m.Probe]; again && (m.From.Before(last) || m.From.Sub(last) > 6*time.Minute) {
				t.Errorf("%s: a mean from %s follows one until %s", m.Probe, m.From, last)
			}
			if m.Count < 2 || m.Count > 4 { // a reading every five minutes
				t.Errorf("%s: a mean of %d readings", m.Probe, m.Count)
			}
			until[m.Probe] = m.Until
		}
	}
	if len(*all) < 8 || beside < len(*all)*2/3 || len(until) != 2 {
		t.Errorf("%d transactions with means of %d probes, %d of them with other rows", len(*all), len(until), beside)
	}
}

func TestMeansOfAQuietSite(t *testing.T) {
	r := newRig(t, lagoon(time.UTC), noon)
	r.boot()
	r.advance(time.Minute)
	r.readings["ph"], r.readAt = 8.2, r.now
	all := meansOf(r)
	r.advance(29 * time.Minute)
	if len(*all) != 0 {
		t.Fatalf("before half an hour was over: %+v", *all)
	}
	r.advance(2 * time.Minute)
	if len(*all) != 1 || !(*all)[0].alone || len((*all)[0].means) != 2 {
		t.Fatalf("after half an hour: %+v; want the means of two quarters at once", *all)
	}
	r.advance(7 * time.Minute)
	r.stop()
	if len(*all) != 2 || (*all)[1].alone || (*all)[1].means[0].Count < 1 {
		t.Fatalf("at the end: %+v; want what was read since", *all)
	}
}

// What a clock says that nobody believes is no time to write down.
func TestMeansWaitForTheClock(t *testing.T) {
	r := newRig(t, lagoon(time.UTC), noon)
	r.synced = false
	r.boot()
	r.readings["ph"], r.readAt = 8.2, r.now
	all := meansOf(r)
	r.advance(2 * time.Hour)
	r.stop()
	if slices.ContainsFunc(r.rows, func(row machine.Row) bool { _, mean := row.Body.(machine.ProbeMean); return mean }) || len(*all) != 0 {
		t.Fatalf("written: %+v", *all)
	}
}
