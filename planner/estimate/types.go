package estimate

import (
	"time"

	"aliquot/planner/units"
)

// Spec describes one quantity of a system.
type Spec struct {
	Quantity units.Quantity
	TestSD   float64 // repeatability of the keeper's test; 0 = DefaultTestSD
	MaxUse   float64 // the largest use per day that is believed; 0 = no limit
	// Use and UseSD are the use per day before tests say anything, for example what a declared base brings.
	// UseSD 0 = this package's own prior, Use included.
	Use, UseSD float64
	Target     float64
	Upper      float64 // target + band; 0 = overshoot is not watched
	Light      Light   // the daily cycle of the use
}

// Test is one measurement of the system's water.
type Test struct {
	At        time.Time // when the sample was taken
	Quantity  units.Quantity
	Value     float64 // canonical unit
	SD        float64 // 0 = the Spec's TestSD
	BiasSD    float64 // of an error that Value shares with other tests, as of one lot; what is known of it is taken off already
	Confirmed bool    // the keeper insists: taken at once
	Doubtful  bool    // outside what is plausible: held however well it fits, and confirms nothing
}

// Verdict is what became of a test.
type Verdict int

// Verdicts. The zero value is the safe one.
const (
	Refused  Verdict = iota // not a number, or no such quantity here: nothing was changed
	Held                    // too far from the prediction: waits for the next test
	Accepted                // taken into the estimate
)

// String gives the verdict as a word.
func (v Verdict) String() string {
	switch v {
	case Accepted:
		return "accepted"
	case Held:
		return "held"
	}
	return "refused"
}

// Resolution is what a test did to an earlier held one.
type Resolution int

// Resolutions of an earlier held test.
const (
	None Resolution = iota
	Confirmed
	Refuted
)

// String gives the resolution as a word.
func (r Resolution) String() string {
	switch r {
	case Confirmed:
		return "confirmed"
	case Refuted:
		return "refuted"
	}
	return "none"
}

// Result is the answer to a test.
type Result struct {
	Verdict     Verdict
	Value       float64 // of the test, as it was taken in
	Known       bool    // there was a prediction to compare with
	Predicted   float64 // the level before this test
	PredictedSD float64 // of a test of this level
	Distance    float64 // between test and prediction
	Limit       float64 // the distance above which the test is held
	Resolved    Resolution
	// Gross is the probability, in the light of what had been predicted, that an accepted test is grossly wrong. It counts
	// accordingly little, and the next test says more.
	Gross float64
}

// Rise is what one run brought of one quantity, canonical unit of the whole system; negative if it lowers.
type Rise struct {
	Quantity     units.Quantity
	Mean, Lo, Hi float64
	Unknown      bool // the outcome is not known: Lo..Hi is all that is certain
	// Over is the time after which 95 % of it has appeared in the water, such as the alkalinity of organic salts that
	// bacteria have to use first; 0 or less: at once.
	Over time.Duration
}

// Level is a level of one quantity, for example in new water.
type Level struct {
	Quantity units.Quantity
	Value    float64
}

// Reading is an accepted test beside what had been predicted for it.
type Reading struct {
	At                     time.Time
	Value                  float64
	Predicted, PredictedSD float64 // zero for the first test of a quantity
}

// Estimate is what is believed of one quantity at one time.
type Estimate struct {
	Quantity    units.Quantity
	Known       bool    // at least one test was accepted; else all that follows is zero but Held
	Level       float64 // on the mean of the day: what doses are reckoned from
	OfHour      float64 // by what the hour moves it from that mean: LevelNow
	LevelSD     float64 // of both, with the BiasSD of the last accepted test
	LevelCaught float64 // Level if every unknown run since had delivered, and shown, its most: decides over raises
	// CaughtByTests is LevelCaught without what a probe says; zero without one.
	CaughtByTests float64
	// Pending was dosed and is not in Level yet; PendingOver is the mean time constant in which it appears.
	Pending     float64
	PendingOver time.Duration
	Consumption float64 // per day, at least 0
	// Use is per day, below 0 where the system itself makes more than it takes (nitrate, phosphate).
	Use float64
	// ConsumptionSD is per day.
	ConsumptionSD float64
	UseAtTarget   float64 // per day, what the same corals would use at the target
	// UseRaised is the part of UseAtTarget, per day and at least 0, that rests on the last accepted test alone: one wrong
	// test can make it up.
	UseRaised float64
	// Gain is what the system gets for 1 of what is told to be dosed: 0.95 if volumes, strengths and rates together
	// are told 5 % too high.
	Gain, GainSD  float64
	TestsUsed     int
	TestsSetAside int       // refuted, and one that is still held
	FirstAccepted time.Time // when the sample of the first accepted test was taken
	LastAccepted  time.Time // when the sample of the last accepted test was taken
	// Last and Previous are the last two accepted tests; zero where there are not so many.
	Last, Previous Reading
	// Offset is by how much the probe that streams this quantity reads too high, and OffsetSeen when it was heard last; zero
	// without one.
	Offset, OffsetSD float64
	OffsetSeen       time.Time
	// Overshoot: two accepted tests in a row lay above Upper and rose, and the prediction has not been back at
	// the target since.
	Overshoot bool
	Held      *Test   // waits for the next test
	HeldLevel float64 // what the held test would mean for the level now
	// HeldPredicted is what had been predicted for the held test, HeldLimit the distance above which it was held; both
	// are 0 where there was no prediction, the limit also where the quantity is not judged by distance.
	HeldPredicted, HeldLimit float64
}

// LevelNow is the level at the hour of the estimate: what a test would show.
func (e *Estimate) LevelNow() float64 { return max(0, e.Level+e.OfHour) }
