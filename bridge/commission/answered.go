package commission

import (
	"fmt"
	"strings"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// Answered takes the service's answer to what was sent.
func (s Session) Answered(r Reply, f Facts) (Session, Out) {
	s.f = f
	r.Text = s.u.withoutCautions(r.Text)
	switch {
	case r.Code == safety.Started:
		text := fmt.Sprintf("The pump runs for %s s, about %s mL, into the vessel. Enter stops it.", num(r.Run.Seconds), three(r.Run.VolumeML))
		s.begun = f.At
		return s, Out{Say: say(text), Wants: RunEnd, Run: r.Run}
	case r.OK:
		return s.recorded(r)
	case r.Code == safety.NeedsConfirm:
		s.place = atConfirm
		return s, s.line(say("The service asks for a second word: " + r.Text))
	}
	return s.turnedDown(r)
}

// withoutCautions leaves out what the welcome said once.
func (u Setup) withoutCautions(text string) string {
	for _, c := range u.Cautions {
		text = strings.ReplaceAll(text, c, "")
	}
	return strings.TrimRight(text, " .;")
}

// recorded goes on after a request that was carried out.
func (s Session) recorded(r Reply) (Session, Out) {
	said := say("Done: " + r.Text + ".")
	if s.keeping() {
		s.place = atTrials
		return s, s.line(s.sheet())
	}
	switch s.pending.Verb {
	case machine.VerbAccept:
		step := Placement
		if s.pending.Fields["what"] == machine.Commissioned {
			step = Handover
		}
		s.own[step] = doneHere
	case machine.VerbRefill:
		s.own[Contents] = doneHere
		if s.drained { // its line drew air
			s.own[Priming] = openHere
		}
	case machine.VerbPrimed:
		s.own[Priming], s.own[Turning] = doneHere, doneHere
	case machine.VerbCalibrate:
		said = append(said, s.trials.compared(r.Result)...)
		s.own[Calibration], s.own[TestRun] = doneHere, openHere
		s.trials = trialSheet{}
	}
	return s.next(said)
}

// turnedDown says why nothing was done, and goes back to where it can be mended.
func (s Session) turnedDown(r Reply) (Session, Out) {
	lines := say(fmt.Sprintf("Not done: %s (%s).", strings.TrimSuffix(r.Text, "."), r.Code))
	if way := wayOut(r.Code, s.u); way != "" {
		lines = append(lines, say(way)...)
	}
	if step, missing := missing(r.Code); missing && step < s.Step() {
		s.own[step] = openHere
		return s.next(lines)
	}
	s.place = s.refused
	if s.keeping() {
		lines = append(append(lines, say("The trial counts, but is lost if this session ends now.")...), s.sheet()...)
	}
	return s, s.line(lines)
}

// keeping says that what was sent asks to remember trials.
func (s Session) keeping() bool {
	return s.pending.Verb == machine.VerbAccept && s.pending.Fields["what"] == machine.Trials
}

// missing is the step without which a code keeps coming.
func missing(c safety.Code) (Step, bool) {
	switch c {
	case safety.ContainerEmpty:
		return Contents, true
	case safety.NoProof:
		return Turning, true
	case safety.NotPrimed:
		return Priming, true
	case safety.NotCalibrated:
		return Calibration, true
	}
	return 0, false
}

// wayOut says what ends a refusal, where the service's own words do not.
func wayOut(c safety.Code, u Setup) string {
	switch c {
	case safety.ClockUntrusted:
		return "If the time that the service shows is right, in another terminal: aliquot ask clock. Then press Enter here."
	case safety.NodeOffline:
		return fmt.Sprintf("Look at the node %s: power, network, its broker account. Then try again.", u.Node)
	case safety.ChannelBusy, safety.KeptApart, safety.RestTime:
		return "It passes by itself: wait so long, then try again."
	case safety.RunCap, safety.RunTimeCap:
		return "Ask for less at once."
	case safety.DayCap:
		return fmt.Sprintf("Enough for today. Where the line really needs more, raise attended.per_day of %s in the configuration.", u.Channel)
	case safety.OnHold:
		return fmt.Sprintf("End the hold in another terminal: aliquot release %s (or all). Then try again.", u.Channel)
	case safety.Fault, safety.OutOfService:
		return fmt.Sprintf("When the cause is found: aliquot ask clear channel=%s code=%s. Then try again.", u.Channel, c)
	}
	return ""
}

// Ended takes the end of a run.
func (s Session) Ended(e machine.RunEvent, f Facts) (Session, Out) {
	s.f, s.ran = f, e
	finished := e.Outcome == machine.Finished
	if !finished && !(s.place == atPush && e.Outcome == machine.Partial) {
		text := fmt.Sprintf("The run did not end as it should: %s", e.Outcome)
		if e.Reason != "" {
			text += ", " + e.Reason
		}
		text += "."
		switch s.place {
		case atTrial:
			text += " This trial does not count: empty the vessel, and run it again."
		case atTest, atTurn:
			text += " Run it again."
		}
		return s, s.line(say(text))
	}
	switch s.place {
	case atTurn:
		s.place = atStill
	case atPush:
		moved := e.VolumeML
		if ran := f.At.Sub(s.begun).Seconds(); !finished && e.Seconds > 0 {
			moved *= min(max(ran, 0)/e.Seconds, 1)
		}
		s.pushes, s.pushed = s.pushes+1, s.pushed+moved
		s.place = atLiquid
	case atTrial:
		s.place = atMeasured
	case atTest:
		s.place = atTestRead
	}
	return s, s.line(nil)
}
