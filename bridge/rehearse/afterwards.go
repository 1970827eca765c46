package rehearse

import (
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
)

// What was believed afterwards is worked out every afterwardsEvery, as far back as the machine keeps what it was told: a
// sample is seen last with the rest of that reach after it.
const afterwardsEvery = 15 * 24 * time.Hour

// lookBack notes at every so many-th sample what is believed of it now.
func lookBack(s *machine.State, now time.Time, system string, q units.Quantity, series []Sample, every int) {
	var times []time.Time
	var index []int
	for i := range series {
		if i%every == 0 && now.Sub(series[i].At) <= machine.AfterwardsReach {
			times, index = append(times, series[i].At), append(index, i)
		}
	}
	for k, e := range machine.Afterwards(s, system, q, times) {
		if !e.Known {
			continue
		}
		x := &series[index[k]]
		x.Afterwards, x.AfterwardsSD, x.AfterwardsUse, x.AfterwardsUseSD = &e.Level, &e.LevelSD, &e.Consumption, &e.ConsumptionSD
	}
}

// samplesApart: hourly samples are more than a plot can show.
const samplesApart = 3

func (w *world) lookBack() {
	if !w.o.Afterwards {
		return
	}
	for i := range w.rec.quantities {
		q := &w.rec.quantities[i]
		lookBack(&w.state, w.wall(), q.system, q.quantity, q.series, samplesApart)
	}
}

// lookBack is called with every row; it looks when it is due, or at the end.
func (r *replay) lookBack(now time.Time, end bool) {
	if r.lookedBack.IsZero() {
		r.lookedBack = now
	}
	if !end && now.Sub(r.lookedBack) < afterwardsEvery {
		return
	}
	r.lookedBack = now
	s := r.fold.State()
	for i := range r.out.Quantities {
		q := &r.out.Quantities[i]
		lookBack(&s, now, q.System, units.Quantity(q.Quantity), q.Series, 1)
	}
}
