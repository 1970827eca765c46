package planner

import (
	"fmt"
	"sort"

	"aliquot/safety"
)

// planRuns turns a day's volume into runs at the calendar's slots. Everything is counted in nanolitres: what a
// slot owes and does not give is carried to the next, so that nothing is lost to rounding. Only what exceeds
// per_run is dropped: it must not build up.
func (l *lane) planRuns(in *Input, perDay safety.Microlitres, out *Output) {
	if l.ch.Rate <= 0 {
		return // not calibrated: whoever asks withholds it with that code
	}
	horizon := in.Horizon
	if horizon <= 0 {
		horizon = defaultHorizon
	}
	owed, dropped := l.believedCarry(perDay)
	for _, slot := range l.ch.Slots(in.At, in.At.Add(horizon)) {
		if !l.ch.ServedThrough.IsZero() && !slot.At.After(l.ch.ServedThrough) {
			continue
		}
		owed += OwedNL(perDay, slot)
		var least int64
		owed, least = l.forCourse(owed, l.leastNL(perDay))
		run, excess, ok := l.split(owed, least)
		dropped += excess
		owed -= excess
		if !ok {
			out.Carried = append(out.Carried, Carried{Channel: l.ch.ID, Slot: slot, CarryAfterNL: owed})
			continue
		}
		owed -= int64(run.Volume) * nlPerUL
		run.Channel, run.Slot, run.CarryAfterNL = l.ch.ID, slot, owed
		out.Runs = append(out.Runs, run)
		l.count(run)
	}
	if note := l.courseNote(); note != "" {
		out.Notes = append(out.Notes, note)
	}
	if l.offsetTooLarge() {
		out.Notes = append(out.Notes, fmt.Sprintf("channel %s: every run gives %s besides rate × time, as much as the largest run may be: no run fits; look for a siphon and calibrate anew",
			l.ch.ID, l.ch.Offset))
		return
	}
	if dropped > 0 {
		out.Notes = append(out.Notes, fmt.Sprintf("channel %s: %s mL is more than its runs may carry and is left out; raise per_run or add slots",
			l.ch.ID, round(float64(dropped)/1e6, 3)))
	}
}

const nlPerUL = 1000

// OwedNL is what a slot owes of a daily volume, nanolitres, rounded down.
func OwedNL(perDay safety.Microlitres, slot Slot) int64 {
	return int64(float64(int64(perDay)*nlPerUL) * slot.Days)
}

// believedCarry is what earlier slots can owe at all, and what is left out of it: all of it where per_day has
// no room for a carry.
func (l *lane) believedCarry(perDay safety.Microlitres) (owed, dropped int64) {
	carry, most := max(0, l.ch.CarryNL), l.carryMost()
	if _, limited := l.countedRuns(); limited {
		owed = min(carry, l.leastNL(perDay)-1)
		return max(0, owed), carry - max(0, owed)
	}
	slots := float64(max(l.peak.Slots, l.ch.Peak.Slots))
	if (most+slots*l.surplus())*l.tolerance()+slots <= float64(l.ch.PerDay) {
		owed = min(carry, int64(most*nlPerUL))
	}
	return owed, carry - owed
}

// split decides the run for what is owed: whole milliseconds of rate × time besides the offset, then the whole µL that
// these give, both rounded down. Less than the least is not given. excess is the part of owed above per_run, or above what the longest run can move. ok is
// false if the run would be below the smallest, or if the offset alone gives what is owed.
func (l *lane) split(owed, least int64) (run Run, excess int64, ok bool) {
	if l.ch.Rate <= 0 {
		return Run{}, 0, false // nothing is known of how long a volume takes
	}
	rate, most := int64(l.ch.Rate), l.largestRunNL()
	if owed > most {
		owed, excess = most, owed-most
	}
	if owed < least {
		return Run{}, excess, false
	}
	ms := (owed - int64(l.ch.Offset)*nlPerUL) * 1000 / rate
	if ms < 1 {
		return Run{}, excess, false
	}
	run = Run{Volume: safety.Microlitres(rate*ms/1e6) + l.ch.Offset, Duration: safety.Milliseconds(ms)}
	// Rounding may bring a run just below the smallest one, which the gate refuses. It waits a slot, unless
	// per_run leaves no room to wait for.
	if run.Volume <= 0 || (run.Volume < l.ch.SmallestRun && owed < most) {
		return Run{}, excess, false
	}
	return run, excess, true
}

// largestRunNL is per_run, or what the longest run can move if that is less; at least 0.
func (l *lane) largestRunNL() int64 {
	longest := int64(l.ch.Rate)*int64(safety.RunMax)/1000 + int64(l.ch.Offset)*nlPerUL
	return max(0, min(int64(l.ch.PerRun)*nlPerUL, longest))
}

// offsetTooLarge says that the shortest run there is gives more than the largest may.
func (l *lane) offsetTooLarge() bool {
	return (l.largestRunNL()-int64(l.ch.Offset)*nlPerUL)*1000 < int64(l.ch.Rate)
}

// sortByTime orders runs and carried slots by time; those of one instant stay in channel order.
func sortByTime(out *Output) {
	sort.SliceStable(out.Runs, func(i, j int) bool { return out.Runs[i].Slot.At.Before(out.Runs[j].Slot.At) })
	sort.SliceStable(out.Carried, func(i, j int) bool { return out.Carried[i].Slot.At.Before(out.Carried[j].Slot.At) })
}
