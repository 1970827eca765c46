package planner

import (
	"fmt"
	"time"

	"aliquot/safety"
)

// A course ends by itself: no slot lies outside its days, and what its total has left bounds each run, counted as the gate
// counts it (the most that a run may give), so that the last one is made smaller rather than refused.

// Slots gives the channel's slots with from ≤ At < to, in order.
func (c *Channel) Slots(from, to time.Time) []Slot {
	all := c.Calendar.Slots(from, to)
	kept := all[:0]
	for _, s := range all {
		if c.onCourse(s.At) == "" {
			kept = append(kept, s)
		}
	}
	return kept
}

// NextAfter gives the channel's first slot strictly after t, false if none comes.
func (c *Channel) NextAfter(t time.Time) (Slot, bool) {
	if from := c.Course.From; !from.IsZero() {
		y, m, d := from.Date()
		t = latest(t, time.Date(y, m, d, 0, 0, 0, 0, c.Calendar.zone()).Add(-1))
	}
	for {
		s, ok := c.Calendar.NextAfter(t)
		switch {
		case !ok || c.onCourse(s.At) == safety.CourseOver:
			return Slot{}, false
		case c.onCourse(s.At) == "":
			return s, true
		}
		t = s.At
	}
}

func latest(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

// onCourse says why a moment does not belong to the channel's course, empty if it does.
func (c *Channel) onCourse(at time.Time) safety.Code {
	return c.Course.On(safety.LocalDay(at, c.Calendar.zone()))
}

// prepareCourse withholds a channel of which no slot of the next day can belong to its course.
func (s *solver) prepareCourse(l *lane) {
	c := &l.ch.Channel
	if !c.Course.Declared() || l.withheld != "" {
		return
	}
	day := safety.LocalDay(s.in.At, c.Calendar.zone())
	if c.onCourse(s.in.At) == safety.CourseNotBegun && c.onCourse(s.in.At.Add(defaultHorizon-1)) == "" {
		day = c.Course.From // it begins within the day
	}
	smallest := l.ch.Tolerance.Above(max(l.ch.Worst, l.ch.SmallestRun, 1))
	most, ends := l.courseNL()
	b, against := c.Course.Against(day, l.ch.CourseHi, smallest)
	switch {
	case against && c.Course.On(day) != "":
		l.withhold(b.Code, b.Text)
	case against || (ends && most < int64(max(1, c.SmallestRun))*nlPerUL):
		l.withhold(safety.CourseOver, c.Course.Ended(l.ch.CourseHi))
	}
}

// courseNL is the largest run, nanolitres, for which the course's total has room; false where no total ends it.
func (l *lane) courseNL() (int64, bool) {
	left, ends := l.ch.Course.Left(l.ch.CourseHi + l.planned)
	if !ends {
		return 0, false
	}
	if l.ch.Tolerance.Above(l.ch.Worst) > left {
		return 0, true
	}
	// What is booked beyond the command, and a µL each for what rounding up the tolerance and the time may add.
	most := int64(left)*1000/(1000+int64(l.ch.Tolerance)) - int64(l.ch.RunsOn-l.ch.Offset) - 2
	return max(0, most) * nlPerUL, true
}

// forCourse bounds what is owed, and what has to be owed before a slot gives a run, by what the course has left.
func (l *lane) forCourse(owed, least int64) (int64, int64) {
	most, ends := l.courseNL()
	if !ends {
		return owed, least
	}
	return min(owed, most), min(least, max(most, int64(l.ch.SmallestRun)*nlPerUL))
}

// count notes a planned run against the course, as the gate will.
func (l *lane) count(r Run) {
	l.planned += l.ch.Tolerance.Above(max(l.ch.Worst, r.Volume+l.ch.RunsOn-l.ch.Offset))
}

// courseNote speaks of a course that comes to its total within a plan; empty if it does not.
func (l *lane) courseNote() string {
	if most, ends := l.courseNL(); !ends || l.planned == 0 || most >= int64(l.ch.SmallestRun)*nlPerUL {
		return ""
	}
	return fmt.Sprintf("channel %s: with these runs its course comes to its total of %s", l.ch.ID, l.ch.Course.Total)
}

// courseWords say in a plan's sentence what bounds a course.
func (l *lane) courseWords() string {
	c, words := l.ch.Course, "on a course"
	if !c.From.IsZero() {
		words += " from " + c.From.Format(time.DateOnly)
	}
	if !c.Until.IsZero() {
		words += " to " + c.Until.Format(time.DateOnly)
	}
	if c.Total > 0 {
		words += fmt.Sprintf(", of whose %s at most %s may have been given", c.Total, l.ch.CourseHi)
	}
	return words
}
