package history

import (
	"slices"
	"time"

	"aliquot/bridge/machine"
)

// earlyRows are handed out at once: few enough that who takes them starts soon.
const earlyRows = 512

// early is how far rows were handed out while a reading goes on.
type early struct {
	taken int           // of the reader's rows
	seq   int64         // of the last that was handed out
	held  []machine.Row // entered late: later lines may come before them
	over  bool          // ids were needed
}

// handOut gives the rows that no later line can come before: those that became known up to the time of the present
// line, since lines ascend in time and no row became known before its line's time. The zero time gives all.
func (r *reader) handOut(until time.Time) {
	e := &r.early
	if r.site.Early == nil || e.over {
		return
	}
	if !r.site.WithoutIDs {
		e.over, e.held = true, nil
		r.site.Early(nil)
		return
	}
	ready := append(e.held, r.rows[e.taken:]...)
	e.taken, e.held = len(r.rows), nil
	slices.SortStableFunc(ready, func(a, b machine.Row) int { return a.At.Compare(b.At) })
	if !until.IsZero() {
		n, _ := slices.BinarySearchFunc(ready, until, func(row machine.Row, t time.Time) int {
			if row.At.After(t) {
				return 1
			}
			return -1
		})
		e.held = slices.Clone(ready[n:])
		ready = ready[:n:n]
	}
	for i := range ready {
		e.seq++
		ready[i].Seq = e.seq
	}
	if len(ready) > 0 {
		r.site.Early(ready)
	}
}
