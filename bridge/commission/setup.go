package commission

import (
	"strings"
	"time"

	"aliquot/bridge/machine"
)

// Setup is what the configuration says of a channel.
type Setup struct {
	Channel, System, Container, Supplement, Node string

	Style   machine.Style
	AutoOff time.Duration // fixed on-time inside a relay; 0: none

	BoreMM, LengthMM, LiftMM float64
	// TopToOutletMM is how far the highest level in the container lies above the outlet, below 0 under it; nil: not
	// declared.
	TopToOutletMM *float64
	UnderWater    bool // the outlet is declared to be under water
	SiphonBreak   bool // something other than a check valve breaks a siphon

	NominalMLPerMin float64 // 0: not declared
	PrimeML         float64 // fills an empty line
	AttendedML      float64 // most in one run into a vessel
	PerRunML        float64
	PerDayML        float64
	SmallestML      float64
	ToleranceShare  float64 // how far a calibrated pump may be off, 0.05 is 5 %

	Slots    []time.Time // of the 24 h that begin at From, in the site's zone
	From     time.Time   // local midnight
	Effects  []Effect
	Cautions []string // of the solution
}

// Effect is what a channel can do to one quantity of its system.
type Effect struct {
	Quantity, Unit string
	AtCap          float64 // what per_day does in a day; below 0 where it lowers
	MaxDose        float64 // most of everything in 24 h, by all channels; 0: not set
	MaxRise        float64 // largest correction above the use, a day; 0: not set
}

// Facts is what the service last said, and when it is.
type Facts struct {
	At        time.Time
	Channel   machine.ChannelView
	Node      machine.NodeView
	Container machine.ContainerView
}

// Step is one part of commissioning, in the order in which they are done.
type Step int

// Steps.
const (
	Placement Step = iota
	Contents
	Turning
	Priming
	Calibration
	TestRun
	Handover
	Finished // nothing is left
)

var stepNames = [...]string{"placement", "contents", "direction", "priming", "calibration", "test-run", "handover", "finished"}

func (s Step) String() string {
	if s < 0 || int(s) >= len(stepNames) {
		return "unknown"
	}
	return stepNames[s]
}

// Steps lists them in order, without Finished.
func Steps() []Step {
	return []Step{Placement, Contents, Turning, Priming, Calibration, TestRun, Handover}
}

// StepNamed finds a step by its name.
func StepNamed(name string) (Step, bool) {
	for _, s := range Steps() {
		if s.String() == name {
			return s, true
		}
	}
	return Finished, false
}

// done says whether the service's state shows a step as done, and since when; the time is zero where nobody knows.
func (f Facts) done(s Step, u Setup) (bool, time.Time) {
	at := func(t *time.Time) (bool, time.Time) {
		if t == nil {
			return false, time.Time{}
		}
		return true, *t
	}
	switch s {
	case Placement:
		return at(f.Channel.PlacementChecked)
	case Contents:
		return f.Container.RemainingMinML > f.Container.StopML, time.Time{}
	case Turning:
		if u.AutoOff > 0 {
			return at(f.Node.Proven)
		}
		// A line that liquid came out of has shown which way it pumps.
		return f.Channel.Primed, time.Time{}
	case Priming:
		return f.Channel.Primed, time.Time{}
	case Calibration:
		if f.Channel.RateMLPerMin == nil {
			return false, time.Time{}
		}
		return at(f.Channel.Calibrated)
	case TestRun:
		return at(f.Channel.TestRun)
	case Handover:
		return at(f.Channel.Commissioned)
	}
	return false, time.Time{}
}

// Status is how far a channel has come.
type Status struct {
	Channel string       `json:"channel"`
	Next    string       `json:"next"` // finished where nothing is left
	Steps   []StepStatus `json:"steps"`
}

// StepStatus is one step of it.
type StepStatus struct {
	Step    string     `json:"step"`
	Done    bool       `json:"done"`
	At      *time.Time `json:"at"`      // null where it is not done, or nobody knows when
	Command string     `json:"command"` // what does it by hand
}

// StatusOf reads the status off the service's state.
func StatusOf(u Setup, f Facts) Status {
	out := Status{Channel: u.Channel, Next: Finished.String()}
	for _, s := range Steps() {
		ok, at := f.done(s, u)
		one := StepStatus{Step: s.String(), Done: ok, Command: strings.ReplaceAll(u.command(s, f), "\n", "; ")}
		if ok && !at.IsZero() {
			at = at.UTC()
			one.At = &at
		}
		if !ok && out.Next == Finished.String() {
			out.Next = s.String()
		}
		out.Steps = append(out.Steps, one)
	}
	return out
}
