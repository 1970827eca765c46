package planner

import (
	"math"

	"aliquot/safety"
)

// A relay whose on-time is fixed inside it may be on for all of that time whatever it is told, so that every run counts as
// much against per_day, however small it is. Where not every slot of a day can have one, the runs that can be are made
// larger: slots owe to later ones until enough is owed. Otherwise the gate would refuse the last runs of each day.

// countedRuns is how many runs per_day has room for in any 24 h where each counts as the worst, whatever its volume.
// limited is false where every slot can have its run, or where runs count by what they give. The slot exactly 24 h after
// another may have to wait for that one's run to leave the window, which is minutes, and an hour where the clock goes forward; it
// does not make a run larger.
func (l *lane) countedRuns() (runs int, limited bool) {
	if l.ch.Worst <= 0 {
		return 0, false
	}
	each := l.ch.Tolerance.Above(max(l.ch.Worst, safety.Microlitres(l.largestRunNL()/nlPerUL)+max(0, l.ch.RunsOn)))
	if each <= 0 {
		return 0, false
	}
	n := l.ch.PerDay / each
	return int(n), n < safety.Microlitres(max(1, l.slots().Slots-1))
}

// slots is the fullest window of the calendar.
func (l *lane) slots() Peak {
	if l.peak != (Peak{}) {
		return l.peak
	}
	return l.ch.Peak
}

// leastNL is what has to be owed before a slot gives a run, nanolitres: the smallest run, or as much as makes the runs of any
// 24 h few enough. n runs of at least this much take no more than the window's demand and one such carry less a nanolitre.
func (l *lane) leastNL(perDay safety.Microlitres) int64 {
	smallest := int64(l.ch.SmallestRun) * nlPerUL
	runs, limited := l.countedRuns()
	if !limited || runs < 1 {
		return smallest
	}
	share := math.Ceil(float64(perDay) * nlPerUL * l.slots().Days / float64(runs))
	return max(smallest, min(int64(share)+l.roundingNL(), l.largestRunNL()))
}

// roundingNL is what whole milliseconds and whole µL may leave of a run.
func (l *lane) roundingNL() int64 { return int64(l.ch.Rate)/1000 + 2*nlPerUL }

// mostCounted is the largest daily volume, mL, that so few runs can give: each has to be owed in full, with a slot's own
// share on top of it, before it exceeds per_run.
func (l *lane) mostCounted(runs int) float64 {
	p := l.slots()
	if runs < 1 || p.Slots < 1 || !(p.Days > 0) {
		return 0
	}
	room := float64(l.largestRunNL()-l.roundingNL()) / nlPerUL
	return max(0, room/(p.Days/float64(runs)+p.Days/float64(p.Slots))) / 1000
}
