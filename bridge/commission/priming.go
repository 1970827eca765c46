package commission

import (
	"fmt"
	"math"
	"strings"

	"aliquot/bridge/machine"
	"aliquot/planner/metering"
	"aliquot/planner/units"
)

// turnSeconds is how long a node that times its own runs is watched, this program's own choice.
const turnSeconds = 3

func (s Session) turningOpening() []string {
	texts := []string{"Hold the outlet over a vessel, not over the tank, and watch the pump."}
	switch {
	case s.u.AutoOff > 0:
		texts = append(texts, fmt.Sprintf("The relay is switched on and never off: it must go off by itself after %s s. It has to show this every 90 days.", num(s.u.AutoOff.Seconds())))
	case s.u.Style == machine.Switch:
		texts = append(texts, "The relay is switched on for 5 s and never off: it must go off by itself.")
	default:
		texts = append(texts, fmt.Sprintf("The node runs the pump for %d s and must end that by itself.", turnSeconds))
	}
	return texts
}

func (s Session) readTurning(text string) (Session, Out, bool) {
	switch s.place {
	case atStill:
		switch is, understood := yes(text); {
		case !understood:
			return s.complaint("Type y if the pump stands still, n if it turns.")
		case !is:
			return s.complaint("Pull the pump's plug NOW. Then: aliquot stop-all. A pump that does not end its run must never dose: look at the node's timer (auto-off), then type q and begin again.")
		}
		return s.took(atWay)
	case atWay:
		switch strings.ToLower(text) {
		case "y", "yes":
			s.own[Turning] = doneHere
			after, out := s.next(say("Good: it pumps the right way and stops by itself."))
			return after, out, true
		case "n", "no":
			return s.took(atTurn, "Change the two tubes over at the pump head (or the two wires of a motor), then run it again.")
		case "s":
			s.own[Turning] = doneHere
			after, out := s.next(say("The priming will show it: if bubbles come up in the container, it turns the wrong way."))
			return after, out, true
		}
		return s.complaint("Type y, n, or s if you could not see it.")
	}
	if text != "" {
		return s.complaint("Press Enter to run the pump, or type q to leave.")
	}
	if s.u.Style == machine.Switch {
		return s.send(atTurn, machine.VerbProve, map[string]any{"channel": s.u.Channel, "into": "vessel"})
	}
	return s.send(atTurn, machine.VerbPrime, map[string]any{"channel": s.u.Channel, "into": "vessel", "seconds": float64(turnSeconds)})
}

// primings is after how many line fillings without liquid a person should look for the cause, this program's own
// choice.
const primings = 4

func (s Session) primingOpening() []string {
	return []string{
		fmt.Sprintf("The line of %s mm x %s m holds %s mL; %s mL fill it and the pump's own tube. Outlet over a vessel.", num(s.u.BoreMM), num(s.u.LengthMM/1000),
			three(metering.LineVolumeML(s.u.BoreMM, s.u.LengthMM/1000)), three(s.u.PrimeML)),
		"Watch the outlet. Press Enter when liquid comes: that stops the pump.",
	}
}

// shortPush is a part of a line, for what is still missing.
func (u Setup) shortPush() float64 {
	return math.Ceil(min(max(metering.LineVolumeML(u.BoreMM, u.LengthMM/1000)/3, 1), u.AttendedML)*10) / 10
}

func (s Session) readPriming(text string) (Session, Out, bool) {
	if s.place == atLiquid {
		return s.readLiquid(text)
	}
	tooMuch := s.pushed >= primings*s.u.PrimeML
	fields := map[string]any{"channel": s.u.Channel, "into": "vessel"}
	switch {
	case tooMuch && strings.ToLower(text) != "again":
		return s.complaint("That was enough to fill the line %d times. Look: is the end of the line in the liquid, the tubing on its barbs, the pump head shut, the valve's arrow right, no kink? Then type again, or q to leave.", primings)
	case tooMuch:
		s.pushes, s.pushed = 0, 0
	case text == "" && s.pushes > 0:
		fields["volume_ml"] = s.u.shortPush()
	case text == "":
	default:
		ml, err := volume(text)
		if err != nil {
			return s.complaint("Enter, or so many mL, such as 5 mL: %s.", err)
		}
		if !(ml > 0 && ml <= s.u.AttendedML) {
			return s.complaint("%s mL is not above 0 and at most %s mL (attended.per_run).", num(ml), num(s.u.AttendedML))
		}
		fields["volume_ml"] = ml
	}
	return s.send(atPush, machine.VerbPrime, fields)
}

func (s Session) readLiquid(text string) (Session, Out, bool) {
	switch strings.ToLower(text) {
	case "y", "yes":
		return s.send(atLiquid, machine.VerbPrimed, map[string]any{"channel": s.u.Channel})
	case "n", "no":
		texts := []string{fmt.Sprintf("So far %s mL of %s mL were pumped. Once more, in short pushes.", three(s.pushed), three(s.u.PrimeML))}
		if s.pushed >= 2*s.u.PrimeML {
			texts = append(texts, "That should have done. Bubbles in the container mean that it turns the wrong way; bubbles in the line, that it draws air at a barb.")
		}
		return s.took(atPush, texts...)
	case "b":
		return s.took(atPush, "Bubbles measure as liquid that is not there: push them out. If they keep coming, a tube is not on its barb.")
	}
	return s.complaint("Type y, n, or b if there are bubbles in it.")
}

// volume reads mL; the unit may be left out, since nothing else is asked for there.
func volume(text string) (ml float64, err error) {
	if v, plain := units.ParseNumber(text); plain == nil {
		return v, nil
	}
	if v, err := units.ParseVolume(text); err == nil {
		return v, nil
	}
	_, err = units.ParseNumber(strings.TrimSpace(strings.TrimSuffix(strings.ToLower(text), "ml")))
	if err == nil {
		err = fmt.Errorf("%q is no volume", text)
	}
	return 0, err
}
