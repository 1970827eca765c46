package machine

import (
	"time"

	"aliquot/planner/estimate"
	"aliquot/planner/units"
)

// AfterwardsReach is how far back Afterwards can look from the newest thing that the estimator was told.
const AfterwardsReach = inputsKept

// Afterwards is what is believed now of a quantity at past times, in order, with all that came before and after them. A time
// before what is still kept is not Known. It decides nothing; the state is not changed.
func Afterwards(s *State, system string, q units.Quantity, times []time.Time) []estimate.Smoothed {
	out := make([]estimate.Smoothed, len(times))
	for i, t := range times {
		out[i].At = t
	}
	y := s.system(system)
	if y == nil || len(y.inputs) == 0 {
		return out
	}
	first := 0
	for first < len(times) && times[first].Before(y.inputs[0].at) {
		first++
	}
	inputs := make([]estimate.Input, len(y.inputs))
	for i := range y.inputs {
		inputs[i] = y.inputs[i].told()
	}
	copy(out[first:], y.base.Smooth(q, inputs, times[first:]))
	return out
}

// told is an input as the estimator takes it.
func (in *input) told() estimate.Input {
	out := estimate.Input{At: in.at}
	switch in.kind {
	case inputDose:
		out.Rises = in.rises
	case inputTest:
		out.Test = &in.test
	case inputWater:
		out.Fraction, out.Mix = in.fraction, in.mix
	case inputNote:
		out.Note = in.note
	}
	return out
}
