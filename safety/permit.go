package safety

import (
	"fmt"
	"time"
)

// Ask is one run that wants to start now.
type Ask struct {
	Attended bool // a person stands beside the pump: priming, calibrating, testing, proving
	Vessel   bool // the outlet is in a vessel, not in the tank
	Proving  bool // the run that proves a relay's auto-off
	Duration Milliseconds
	Longest  Milliseconds // the most the node can be on for it
	Commanded
}

// Limits of a channel, as its keeper set them.
type Limits struct {
	SmallestRun    Microlitres
	PerRun         Microlitres
	PerDay         Microlitres
	RunTime        Milliseconds
	Rest           time.Duration
	AttendedPerRun Microlitres
	AttendedPerDay Microlitres
}

// Block is one reason for which a run may not start, in the words of the closed list, and what ends it.
type Block struct {
	Code Code
	Text string
	// Until is when the block ends by itself; 0 if somebody or something has to end it.
	Until Elapsed
}

// Neighbour is another channel that must not run together with this one.
type Neighbour struct {
	Channel   string
	Open      bool
	LatestEnd Elapsed
	Gap       time.Duration
}

// QuantityUse is what all channels together may have done to one quantity in the window that ends now, in its
// canonical unit for the whole system.
type QuantityUse struct {
	Name          string
	Unit          string
	Used          float64
	PerMillilitre float64 // what 1 mL of this channel adds
	Cap           float64
}

// Facts is all that a verdict rests on. Its zero value permits nothing.
type Facts struct {
	Now          Elapsed
	LinkUp       bool
	LedgerGood   bool
	ClockTrusted bool
	ClockText    string
	OwnerSure    bool
	OwnerText    string
	NodeUp       bool
	NodeName     string
	Calibrated   bool
	Primed       bool
	NeedsProof   bool
	Proven       bool
	RunsApart    bool // the node knows runs by their ids and refuses one on top of another; a relay does not

	Standing []Block // lockouts, holds, interlocks, retained commands: whatever the caller found standing

	Limits       Limits
	TankHi       Microlitres // most that may have gone into the tank in the window
	VesselHi     Microlitres
	Open         bool    // a run of this channel has no outcome yet
	LatestEnd    Elapsed // of this channel's runs
	Neighbours   []Neighbour
	Quantities   []QuantityUse
	Course       Course
	Today        time.Time   // local date, written as midnight UTC
	CourseHi     Microlitres // most that may have gone into the tank since the course's first day
	RemainingMin Microlitres // least that the container can hold
	EmptyAt      Microlitres
}

// Verdict is the answer to an Ask. Hi is what the run books if it is allowed.
type Verdict struct {
	Allowed bool
	Hi      Microlitres
	Block   // why not, if not allowed
}

// Permit decides whether the run may start now. It is the only gate: scheduled, manual, attended and automatic
// runs all pass it, in the same transaction that reserves them (INV-1, INV-7, INV-8, INV-14).
func Permit(a Ask, f Facts) Verdict {
	for _, check := range checks {
		if blocks := check(a, f); len(blocks) > 0 {
			return Verdict{Block: blocks[0]}
		}
	}
	hi, _ := Account(a.Commanded, Unknown, nil)
	return Verdict{Allowed: true, Hi: hi}
}

// checks are everything that is looked at, the gravest first.
var checks = [...]func(Ask, Facts) []Block{
	checkFinite, checkShell, checkStanding, checkReadiness, checkContainer, checkOwnLimits, checkCourse, checkDayCap, checkQuantities, checkSpacing,
}

// Blocks lists every reason against the run, the gravest first; none means that Permit allows it.
func Blocks(a Ask, f Facts) []Block {
	var out []Block
	for _, check := range checks {
		out = append(out, check(a, f)...)
	}
	return out
}

// checkFinite refuses what no pump should ever be told, whoever planned it.
func checkFinite(a Ask, _ Facts) []Block {
	switch {
	case a.Volume <= 0 || a.Worst < a.Volume:
		return []Block{{Code: BadVolume, Text: fmt.Sprintf("a run of %s (worst case %s) is no run", a.Volume, a.Worst)}}
	case a.Worst > maxMillilitres*Millilitre:
		return []Block{{Code: BadVolume, Text: fmt.Sprintf("a run that can move %s is beyond anything a pump moves", a.Worst)}}
	case a.Duration < 1 || a.Longest < a.Duration || a.Longest > RunMax:
		return []Block{{Code: BadVolume, Text: fmt.Sprintf("a run of %d ms (at most %d ms) is outside 1 to %d ms", a.Duration, a.Longest, RunMax)}}
	case a.Tolerance < 10 || a.Tolerance > 250:
		return []Block{{Code: BadVolume, Text: fmt.Sprintf("a tolerance of %d permille is outside 10 to 250", a.Tolerance)}}
	case a.Vessel && !a.Attended:
		return []Block{{Code: BadVolume, Text: "only an attended run goes into a vessel"}}
	}
	return nil
}

func checkShell(_ Ask, f Facts) []Block {
	var out []Block
	if !f.LedgerGood {
		out = append(out, Block{Code: LedgerFault, Text: "the ledger cannot be written; nothing runs until it can"})
	}
	if !f.LinkUp {
		out = append(out, Block{Code: LinkDown, Text: "there is no connection to the broker"})
	}
	if !f.OwnerSure {
		out = append(out, Block{Code: SecondOwner, Text: f.OwnerText})
	}
	if !f.ClockTrusted {
		out = append(out, Block{Code: ClockUntrusted, Text: f.ClockText})
	}
	if !f.NodeUp {
		out = append(out, Block{Code: NodeOffline, Text: fmt.Sprintf("node %s has not said that it is online", f.NodeName)})
	}
	return out
}

func checkStanding(_ Ask, f Facts) []Block { return f.Standing }

func checkReadiness(a Ask, f Facts) []Block {
	var out []Block
	if !f.Calibrated && !a.Attended {
		out = append(out, Block{Code: NotCalibrated, Text: "the channel is not calibrated: run it into a measuring cylinder and enter what came out"})
	}
	if !f.Primed && !a.Attended {
		out = append(out, Block{Code: NotPrimed, Text: "the line is not primed: prime it, look at the outlet, and confirm that liquid comes"})
	}
	if f.NeedsProof && !f.Proven && !a.Proving {
		out = append(out, Block{Code: NoProof, Text: fmt.Sprintf("node %s has not proven within %d days that it goes off by itself", f.NodeName, int(ProofAge.Hours()/24))})
	}
	if a.Proving && !a.Vessel {
		out = append(out, Block{Code: BadVolume, Text: "a proof runs into a vessel, never into the tank"})
	}
	return out
}

func checkContainer(a Ask, f Facts) []Block {
	hi := a.Tolerance.Above(max(a.Worst, a.Volume))
	switch {
	case f.RemainingMin <= f.EmptyAt:
		return []Block{{Code: ContainerEmpty, Text: fmt.Sprintf("the container may hold only %s, and stops at %s: refill it and say how much", f.RemainingMin, f.EmptyAt)}}
	case f.RemainingMin < hi:
		return []Block{{Code: ContainerEmpty, Text: fmt.Sprintf("the container may hold only %s, less than this run can take (%s)", f.RemainingMin, hi)}}
	}
	return nil
}

func checkOwnLimits(a Ask, f Facts) []Block {
	var out []Block
	if a.Vessel {
		if a.Worst > f.Limits.AttendedPerRun {
			out = append(out, Block{Code: RunCap, Text: fmt.Sprintf("the run can move %s, above attended.per_run %s", a.Worst, f.Limits.AttendedPerRun)})
		}
	} else {
		if a.Volume > f.Limits.PerRun {
			out = append(out, Block{Code: RunCap, Text: fmt.Sprintf("the run of %s exceeds per_run %s", a.Volume, f.Limits.PerRun)})
		}
		if a.Duration > f.Limits.RunTime {
			out = append(out, Block{Code: RunTimeCap, Text: fmt.Sprintf("the run of %.1f s exceeds run_time %.1f s", a.Duration.Seconds(), f.Limits.RunTime.Seconds())})
		}
	}
	if !a.Attended && a.Volume < f.Limits.SmallestRun {
		out = append(out, Block{Code: BelowSmallestRun, Text: fmt.Sprintf("the run of %s is below smallest_run %s", a.Volume, f.Limits.SmallestRun)})
	}
	return out
}

// checkCourse holds for every run into the tank, whoever asks for it: what somebody gives by hand belongs to the total too.
func checkCourse(a Ask, f Facts) []Block {
	if a.Vessel || !f.Course.Declared() {
		return nil
	}
	if b, against := f.Course.Against(f.Today, f.CourseHi, a.Tolerance.Above(max(a.Worst, a.Volume))); against {
		return []Block{b}
	}
	return nil
}

func checkDayCap(a Ask, f Facts) []Block {
	hi := a.Tolerance.Above(max(a.Worst, a.Volume))
	used, limit, name := f.TankHi, f.Limits.PerDay, "per_day"
	if a.Vessel {
		used, limit, name = f.VesselHi, f.Limits.AttendedPerDay, "attended.per_day"
	}
	if used+hi > limit {
		return []Block{{Code: DayCap, Text: fmt.Sprintf("%s may have been given in the last 24 h and this run can add %s, above %s %s", used, hi, name, limit)}}
	}
	return nil
}

func checkQuantities(a Ask, f Facts) []Block {
	if a.Vessel {
		return nil
	}
	var out []Block
	hi := a.Tolerance.Above(max(a.Worst, a.Volume)).Millilitres()
	for _, q := range f.Quantities {
		after := q.Used + hi*q.PerMillilitre
		if q.PerMillilitre != 0 && !(after <= q.Cap*(1+1e-9)) {
			out = append(out, Block{Code: QuantityCap, Text: fmt.Sprintf("with this run all channels together may have moved %s by %.3g %s in 24 h, above max_dose %.3g", q.Name, after, q.Unit, q.Cap)})
		}
	}
	return out
}

func checkSpacing(a Ask, f Facts) []Block {
	var out []Block
	switch {
	case f.Open:
		out = append(out, Block{Code: ChannelBusy, Text: "a run of this channel has no outcome yet"})
	case a.Attended && !f.RunsApart && f.Now < f.LatestEnd:
		// The rest is waived for attended runs, the run before is not: a command that got lost may still arrive, and on
		// a relay a second one makes the first longer, by more than is booked (INV-7).
		out = append(out, Block{Code: ChannelBusy, Text: fmt.Sprintf("an earlier run of this channel may still be on, or start, within %s", wait(f.LatestEnd-f.Now)), Until: f.LatestEnd})
	}
	if ends := f.LatestEnd + Elapsed(f.Limits.Rest/time.Millisecond); !a.Attended && f.Now < ends {
		out = append(out, Block{Code: RestTime, Text: fmt.Sprintf("the channel rests for another %s", wait(ends-f.Now)), Until: ends})
	}
	for _, n := range f.Neighbours {
		ends := n.LatestEnd + Elapsed(n.Gap/time.Millisecond)
		switch {
		case n.Open:
			out = append(out, Block{Code: KeptApart, Text: fmt.Sprintf("it is kept apart from channel %s, whose run has no outcome yet", n.Channel)})
		case f.Now < n.LatestEnd:
			out = append(out, Block{Code: KeptApart, Text: fmt.Sprintf("it is kept apart from channel %s for another %s: that one may be running until %s from now", n.Channel, wait(ends-f.Now), wait(n.LatestEnd-f.Now)), Until: ends})
		case f.Now < ends:
			out = append(out, Block{Code: KeptApart, Text: fmt.Sprintf("it is kept apart from channel %s for another %s: that one may have run until %s ago", n.Channel, wait(ends-f.Now), wait(f.Now-n.LatestEnd)), Until: ends})
		}
	}
	return out
}

// wait rounds up to whole seconds, so that a wait never reads as none.
func wait(e Elapsed) time.Duration {
	return (time.Duration(e)*time.Millisecond + time.Second - 1).Truncate(time.Second)
}
