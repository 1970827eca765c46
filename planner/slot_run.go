package planner

import "aliquot/safety"

// RunAt gives the run of one slot for a daily volume that was decided before, by the same rules as Plan. ok is
// false if what is owed is below the smallest run: carryNL is then owed to a later slot.
func RunAt(ch ChannelState, perDay safety.Microlitres, slot Slot) (run Run, carryNL int64, ok bool) {
	l := lane{ch: &ch}
	owed, _ := l.believedCarry(perDay)
	owed += OwedNL(perDay, slot)
	owed, least := l.forCourse(owed, l.leastNL(perDay))
	run, excess, ok := l.split(owed, least)
	owed -= excess
	if !ok {
		return Run{}, owed, false
	}
	run.Channel, run.Slot, run.CarryAfterNL = ch.ID, slot, owed-int64(run.Volume)*nlPerUL
	return run, run.CarryAfterNL, true
}
