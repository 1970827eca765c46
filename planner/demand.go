package planner

import (
	"time"

	"aliquot/planner/estimate"
)

// Constants of the control law. The ones without a hazard id are this program's own choice.
const (
	// correctionDays is in how many days a correction would bring the mean to the target if it stayed as it is.
	correctionDays = 1.0
	// doubtSDs of the use are taken off max_rise, at most doubtShare of it: a use that is believed too large raises the
	// level as well.
	doubtSDs, doubtShare = 1, 0.3
	// pendingSDs of the use are not granted to what is still to appear.
	pendingSDs = 2
	// gainLeast and gainMost bound how far volumes are moved because the system answers to doses otherwise than told.
	gainLeast, gainMost = 0.8, 1.25
	// heldLowers is by how much a held test may lower a volume (H-29).
	heldLowers = 0.25
	// staleMove is by how much a day a volume moves once tests are twice too old; staleAim is where it goes
	// without a base, as a share of the last estimated use (H-30).
	staleMove, staleAim = 0.10, 0.90
	// overshootUse is the share of the estimated use that is given during an overshoot (H-27).
	overshootUse = 0.5
	// stepShare and stepCap bound the automatic rise of a volume in a day: a share of the present volume, or of
	// per_day, whichever is more (PLAN_STEP).
	stepShare, stepCap = 0.25, 0.15
)

// freshness is the age of the last accepted test.
type freshness int

const (
	fresh   freshness = iota
	stale             // older than StaleAfter: no correction
	ancient           // older than twice that: never rises, moves to base
)

func ageOf(habits TestHabits, last, at time.Time) freshness {
	age := at.Sub(last)
	switch {
	case habits.StaleAfter <= 0 || age <= habits.StaleAfter:
		return fresh
	case age <= 2*habits.StaleAfter:
		return stale
	}
	return ancient
}

// demand is what a quantity needs in a day, canonical unit, all channels together.
type demand struct {
	use        float64
	correction float64
	// heldCorrection is the correction if the held test were true; only where it asks for less.
	heldCorrection float64
	least          float64 // below this the predicted level would fall faster than max_fall
	age            freshness
	held           bool
	above          bool // raising is off because the level may be above target + band, or overshoots
}

// demandOf applies the rules that speak of levels. The others speak of volumes: see bounds.
func demandOf(t Target, e estimate.Estimate, at time.Time, kind Kind) demand {
	believed := useAhead(t, e)
	most := mostByOneTest(t, e, believed, at)
	d := demand{use: min(believed, most), age: ageOf(t.Test, e.LastAccepted, at), held: e.Held != nil}
	maxFall := max(0, t.MaxFall)
	d.least = max(0, d.use-maxFall)
	d.above = max(e.LevelCaught, e.CaughtByTests) > t.Target+t.Band
	if d.age == fresh {
		d.correction = min(correctionFor(t, e.Level, e.LevelCaught, e), most-d.use)
		if !e.OffsetSeen.IsZero() { // a probe that lies raises the level to the edge of the band at most
			d.correction = min(d.correction, max(0, t.Target+t.Band-e.CaughtByTests))
		}
	}
	if kind == Treatment {
		d.correction = min(d.correction, 0)
	}
	if e.Overshoot && e.Level > t.Target {
		d.above = true
		d.correction = min(d.correction, max(overshootUse*d.use, d.least)-d.use)
	}
	d.heldCorrection = d.correction
	if d.held && d.age == fresh && e.HeldLevel > e.Level {
		d.heldCorrection = min(d.correction, correctionFor(t, e.HeldLevel, e.HeldLevel, e))
	}
	return d
}

// oneTestHolds is how long a use that one early test alone raised is followed without another: whoever tests each week is
// not touched by it. Our own choice.
const oneTestHolds = 7 * 24 * time.Hour

// earlyTests is how many tests it takes to know a tank; lateShare is the part of what one later test alone raised that is
// followed at once. With all of it a wrong test made the level rise by twice max_rise in a day; with none of it a use that
// really stepped is followed a test later. Our own choice.
const (
	earlyTests = 3
	lateShare  = 0.25
)

// mostByOneTest is the most that use and correction may come to: max_rise above the use believed before the last accepted
// test, and after the third test ever a part of what it raised; of the second and the third no more than that use after a week without
// the next. One wrong test can make a use up, but then the level rises hardly faster than it may, and not for long; the
// next test believes the rest or takes it back (H-29).
func mostByOneTest(t Target, e estimate.Estimate, believed float64, at time.Time) float64 {
	raised := max(0, e.UseRaised)
	before := max(0, believed-raised)
	if e.TestsUsed > earlyTests {
		return before + lateShare*raised + max(0, t.MaxRise)
	}
	if raised > 0 && at.Sub(e.LastAccepted) > oneTestHolds {
		return before
	}
	return before + max(0, t.MaxRise)
}

// useAhead is the use of the coming day: it changes with the level, which is on its way to the target.
func useAhead(t Target, e estimate.Estimate) float64 {
	return (e.Consumption + e.UseAtTarget) / 2
}

// correctionFor gives the change per day that brings the mean level to the target, within max_rise and max_fall. A raise
// looks at what the level may be at most, with what is in the water and has not appeared yet. The noise of tests is not chased: the mean holds only the part of a test that
// its noise leaves believable, and giving less than the mean asks for keeps the level off its target for longer.
func correctionFor(t Target, level, caught float64, e estimate.Estimate) float64 {
	if up := t.Target - caught - surplus(e); up > 0 {
		return min(up/correctionDays, max(0, t.MaxRise-min(doubtSDs*e.ConsumptionSD, doubtShare*t.MaxRise)))
	}
	if down := level - t.Target; down > 0 {
		return -min(down/correctionDays, max(0, t.MaxFall))
	}
	return 0
}

// surplus is what is still to appear beyond what the use takes while it does. A daily dose that meets the use keeps use
// × time constant on its way for ever, and the level stays where it is: counting that part against a raise would hold
// the level below its target by as much. What is not known of the use is not granted.
func surplus(e estimate.Estimate) float64 {
	sure := max(0, e.Consumption-pendingSDs*e.ConsumptionSD)
	return max(0, e.Pending-sure*float64(e.PendingOver)/float64(24*time.Hour))
}
