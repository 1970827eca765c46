package simnode

import "time"

// Faults says how a node misbehaves. The zero value is a good node. Deaf, Mute, DropReport, DoubleReports,
// ObeysRetained, ClockOffset and RebootAt concern the node; the others strike the output named by Output, or
// every output if that is 0.
type Faults struct {
	Output int

	// Deaf nodes get no command.
	Deaf bool
	// Mute nodes say nothing but online.
	Mute bool
	// DropReport loses every nth report or state; 0 loses none.
	DropReport int
	// DoubleReports says every report and state twice, with the same boot and seq: a re-delivery.
	DoubleReports bool
	// ObeysRetained nodes act on retained commands.
	ObeysRetained bool
	// ClockOffset is added to true time where a board compares expiries.
	ClockOffset time.Duration
	// RebootAt is an instant at which the node restarts once; zero is never.
	RebootAt time.Time
	// ResumesAtBoot nodes switch outputs that were on before a restart on again, for the longest time they know.
	ResumesAtBoot bool

	// StuckOn outputs cannot open once they are on, whatever ends the run and even in a restart: a welded
	// contact. The node believes otherwise and says so, unless a relay has Feedback. They open when the fault
	// is taken away.
	StuckOn bool
	// IgnoresTimer outputs end a run on a command or a restart only. A board's MaxRun fails with it.
	IgnoresTimer bool
	// LateOff, 0 to 8760 h, is by how much an own timer ends a run too late; a board's MaxRun still binds.
	LateOff time.Duration
	// LateStart, 0 to 8760 h, is the time from accepting a command to switching on. The run then has its full length.
	LateStart time.Duration
	// RateFactor multiplies the true rate: drift above or below 1, slip below 1. 0 counts as 1.
	RateFactor float64
	// Blocked outputs switch, but nothing comes out: a closed line, air, an empty container.
	Blocked bool
}

// maxLate bounds delays, so that no sum of times overflows.
const maxLate = 8760 * time.Hour

// strikes says whether the faults of outputs concern output i, counted from 0.
func (f *Faults) strikes(i int) bool { return f.Output == 0 || f.Output == i+1 }

// factor is what the true rate of output i is multiplied by; never negative and never NaN.
func (f *Faults) factor(i int) float64 {
	switch {
	case !f.strikes(i):
		return 1
	case f.Blocked:
		return 0
	case f.RateFactor > 0:
		return f.RateFactor
	}
	return 1
}
