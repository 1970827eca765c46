package faultsim

import (
	"math"

	"aliquot/bridge/machine"
	"aliquot/planner"
	"aliquot/safety"
)

// sick is a planner that answers what cannot be while its fault lasts (H-35). What is no number comes out of a float as
// the least integer.
type sick struct{ how int }

var _ machine.Planner = (*sick)(nil)

// DayVolumes are the daily volumes, bent.
func (k *sick) DayVolumes(in planner.Input) []planner.Day {
	out := planner.DayVolumes(in)
	for i := range out {
		switch d := &out[i]; k.how {
		case 1:
			d.PerDay = 1000*d.PerDay + 1_000_000
		case 2:
			d.PerDay = math.MinInt64
		case 3:
			d.PerDay = -d.PerDay - 1
		case 4:
			d.PerDay = math.MaxInt64
		}
	}
	return out
}

// RunAt is a run, bent.
func (k *sick) RunAt(c planner.ChannelState, perDay safety.Microlitres, slot planner.Slot) (planner.Run, int64, bool) {
	run, carry, ok := planner.RunAt(c, perDay, slot)
	switch k.how {
	case 5:
		run.Volume, run.Duration, ok = 1000*run.Volume+1_000_000, 1000*run.Duration+600_000, true
	case 6:
		run.Volume, run.Duration, ok = math.MinInt64, math.MinInt64, true
	case 7:
		run.Duration += 20_000 // of the same volume
	case 8:
		carry = math.MaxInt64
	}
	return run, carry, ok
}
