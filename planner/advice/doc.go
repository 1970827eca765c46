// Package advice puts into words and figures what the estimates and the plan mean for the keeper: when a test would tell
// most, which test looks wrong, where the use is heading, whether the system answers to doses as told, when a channel
// runs into a cap and how long a container lasts at the worst.
//
// It never changes a dose, a plan or an estimate, reads no clock and keeps no history but what its caller hands it.
// Everything is in canonical units of the whole system, per day where it is a use. Intervals are of 90 %.
package advice

import "aliquot/planner/units"

// sure is how many standard deviations make a two-sided interval of 90 % of a normal distribution.
const sure = 1.645

// Kind says what a piece of advice is about.
type Kind string

// Kinds of advice, the ones that ask for something first.
const (
	TestHeld       Kind = "test_held"       // the last test waits for a second one
	TestSurprising Kind = "test_surprising" // it was believed, and scatter hardly explains it
	DoseAnswer     Kind = "dose_answer"     // the system answers to doses otherwise than told
	ProbeOff       Kind = "probe_off"       // the probe that streams it reads otherwise than the tests
	UseTrend       Kind = "use_trend"       // the use rises or falls
)

// Advice is one sentence for people.
type Advice struct {
	Kind Kind
	Text string
}

// Urgent says whether it asks somebody to do something.
func (a Advice) Urgent() bool { return a.Kind != UseTrend }

// perDay is the unit of a use.
func perDay(q units.Quantity) string { return q.Unit() + " a day" }
