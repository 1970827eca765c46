// Package planner decides how much each channel should give in a day, at which slots, in which runs.
//
// It never decides whether a run may start (safety.Permit does), never learns what became of one (estimate
// does), and reads no clock: everything is in its Input, and the same Input gives the same Output.
package planner

import (
	"time"

	"aliquot/planner/estimate"
	"aliquot/safety"
)

// Input is everything that a plan depends on.
type Input struct {
	At       time.Time
	Horizon  time.Duration // slots with At ≤ t < At+Horizon are planned; 0 = 24 h
	Systems  []SystemState
	Channels []ChannelState // in the order of the configuration, which is part of the answer
}

// SystemState is a system and what is believed of it at Input.At.
type SystemState struct {
	System
	Estimates []estimate.Estimate
}

// ChannelState is a channel and what the ledger knows of it.
type ChannelState struct {
	Channel
	Rate safety.Rate // 0 = not calibrated: a day's volume, no runs
	// Offset is what every run gives besides rate × time, of either sign; RunsOn is the most of it that is booked, at
	// least 0 and at least Offset. Both are 0 where the calibration knows of none.
	Offset, RunsOn safety.Microlitres
	// Worst is what every run counts as at least, whatever its volume, before the tolerance: all that a relay's own off-timer
	// lets through. 0: a run counts by what it gives.
	Worst safety.Microlitres
	// CarryNL is what earlier slots owe, nanolitres. More than one run's remainder is not believed: nothing
	// missed is caught up.
	CarryNL int64
	// Reference is the daily volume of the last plan in force at least 24 h ago; nil = Base, or 0.
	Reference *safety.Microlitres
	// InForce is the daily volume that was in force when a test came that is held now; nil = not known.
	InForce *safety.Microlitres
	// Ceiling, after an unknown run: the volume may not rise above it until the next accepted test.
	Ceiling *safety.Microlitres
	// DoubtCeiling, while what its container holds does not agree with what was given: the volume that ran last, above
	// which it does not rise (H-24).
	DoubtCeiling *safety.Microlitres
	// CourseHi is the most that may have gone into the tank since the first day of the course.
	CourseHi safety.Microlitres
	// ServedThrough: slots up to and including this instant were served already. Zero = none.
	ServedThrough time.Time
	// Peak is Calendar.Peak, computed once by the caller; zero = computed here, which costs milliseconds.
	Peak Peak
}

// Day is a channel's volume per day of demand.
type Day struct {
	Channel string
	PerDay  safety.Microlitres
	// UsePart + CorrectionPart = PerDay. A negative correction lowers the level.
	UsePart, CorrectionPart safety.Microlitres
	Why                     []safety.Code // what limited or withheld it, in a fixed order
	Text                    string        // one sentence for people; empty from DayVolumes
}

// Run is one intended run.
type Run struct {
	Channel      string
	Slot         Slot
	Volume       safety.Microlitres
	Duration     safety.Milliseconds
	CarryAfterNL int64 // owed after this run
}

// Carried is a slot without a run, because what is owed is below the smallest run.
type Carried struct {
	Channel      string
	Slot         Slot
	CarryAfterNL int64
}

// Withheld is a channel that gets no plan.
type Withheld struct {
	Channel string
	Code    safety.Code
	Text    string
}

// Output is a plan.
type Output struct {
	Days     []Day // one for each channel, in channel order
	Runs     []Run // by time, then channel order
	Carried  []Carried
	Withheld []Withheld
	Notes    []string
}

// defaultHorizon is the span of a plan.
const defaultHorizon = 24 * time.Hour

// Plan decides the volumes of a day and the runs within the horizon.
func Plan(in Input) Output {
	s := newSolver(&in)
	s.solve()
	out := Output{Days: s.days()}
	for i := range s.lanes {
		l := &s.lanes[i]
		out.Days[i].Text = l.sentence(out.Days[i])
		if l.withheld != "" {
			out.Withheld = append(out.Withheld, Withheld{Channel: l.ch.ID, Code: l.withheld, Text: l.reason})
			continue
		}
		l.planRuns(&in, out.Days[i].PerDay, &out)
	}
	sortByTime(&out)
	return out
}

// DayVolumes is the part of Plan that needs no slots. Give it the channels' Peak: it is asked once for each run
// of a history.
func DayVolumes(in Input) []Day {
	s := newSolver(&in)
	s.solve()
	return s.days()
}
