package commission

import "fmt"

// prompt is what is asked where the conversation stands.
func (s Session) prompt() string {
	switch s.place {
	case atName:
		return "Your name, for the record:"
	case atItem:
		list := s.u.checks()
		return fmt.Sprintf("(%d/%d) %s [y/n]", s.item+1, len(list)+1, list[s.item].question)
	case atTop:
		return "How far is the highest level in the container below the outlet? (such as 20 cm)"
	case atHeights:
		return fmt.Sprintf("(%d/%d) Are the heights so? [y/n]", len(s.u.checks())+1, len(s.u.checks())+1)
	case atFill:
		return fmt.Sprintf("What does %s hold now? (such as 1.8 L, or full)", s.u.Container)
	case atTurn:
		return "Outlet over a vessel? Enter runs the pump:"
	case atStill:
		return "Does the pump stand still now? [y/n]"
	case atWay:
		return "Did liquid or bubbles move from the container to the outlet? [y/n, s: not seen]"
	case atPush:
		return s.pushPrompt()
	case atLiquid:
		return "Liquid at the outlet? [y, n, b: with bubbles]"
	case atVessel:
		return "Cylinder or scale? [c/s]"
	case atWeighed:
		return "What is weighed: water (21degC) or the solution (1.05kg/L)?"
	case atTrial:
		n := s.redo
		if n == 0 {
			n = len(s.trials.readings) + 1
		}
		return fmt.Sprintf("Trial %d. Vessel empty? Enter runs %s s (or type a time):", n, num(s.trialSeconds()))
	case atMeasured:
		if s.trials.scale {
			return "What does the scale show? (g; x: does not count)"
		}
		return "What does the cylinder show? (mL; x: does not count)"
	case atTrials:
		if len(s.trials.readings) < trialsLeast {
			return "Enter: next trial. r 1: redo trial 1."
		}
		return "Enter: use these. m: one more. r 1: redo trial 1."
	case atTest:
		return fmt.Sprintf("Vessel empty? Enter gives %s mL:", three(s.workingML()))
	case atTestRead:
		return "What does the cylinder show? (mL; Enter: cannot be read)"
	case atTestOff:
		return "Enter: once more. c: calibrate again. k: keep it."
	case atAgree:
		return "Do you agree to this schedule and these limits? Type yes:"
	case atConfirm:
		return "Is it right as it stands? [yes/n]"
	}
	return ""
}

func (s Session) pushPrompt() string {
	switch {
	case s.pushed >= primings*s.u.PrimeML:
		return "Found the cause? Type again:"
	case s.pushes > 0:
		return fmt.Sprintf("Enter pushes %s mL more (or type how many mL):", num(s.u.shortPush()))
	}
	return fmt.Sprintf("Enter pumps %s mL at most (or type how many mL):", three(min(s.u.PrimeML, s.u.AttendedML)))
}

// help explains the question that stands.
func (s Session) help() string {
	switch s.place {
	case atItem, atTop, atHeights:
		return "These are what most floods and siphons come from. A no to a needed point waits until it is mended; the others are noted."
	case atFill:
		return "The service counts down from what you say, and stops before the pump draws air. Measure or read it, do not guess high."
	case atTurn, atStill, atWay:
		return "A node that is told to run and loses its network must still stop. This shows it once, with nothing at risk but a vessel of solution."
	case atPush, atLiquid:
		return "A first run moves air only. Until liquid has been seen at the outlet the service doses nothing."
	case atVessel, atWeighed, atTrial, atMeasured, atTrials:
		return "A nominal 10 mL that gives 9.8 mL is an ordinary result: enter 9.8. A scale of 0.1 g or better beats a cylinder; weigh the solution itself with its density, or water instead of it."
	case atTest, atTestRead, atTestOff:
		return "A dose is much smaller than a trial: what a run gives at its beginning and end counts for more."
	case atAgree:
		return "The caps hold whatever goes wrong. If the largest effect in a day would frighten you, lower per_day in the configuration."
	}
	return "Answer the question, or type q to leave. Nothing is lost."
}
