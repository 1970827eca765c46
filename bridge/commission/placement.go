package commission

import (
	"fmt"
	"strings"

	"aliquot/bridge/machine"
	"aliquot/planner/metering"
	"aliquot/planner/units"
)

var placementOpening = []string{"Go and look at each of these. y is yes, n is no; what you answer is recorded."}

// check is one question of the placement.
type check struct {
	name     string // in the record
	question string
	mend     string // what to do after a no
	needed   bool   // nothing goes on without a yes
}

// checks lists the questions for a channel (common practice; the figures too).
func (u Setup) checks() []check {
	list := []check{
		{"right contents", fmt.Sprintf("Does container %s hold %s, with a label, and does the line of %s draw from it?", u.Container, u.Supplement, u.Channel),
			"Swap the tubes or the container until it does: the wrong solution at this rate is the worst mistake there is.", true},
		{"tubing to the stop", "Is the tubing pushed over both barbs of the pump until it stops?",
			"Push it on, warmed in hot water if it is stiff: a short push draws air or weeps.", true},
		{"check valve", "Is there a check valve at the end of the line, its arrow towards the tank?",
			"It keeps the line full between runs; without one, watch for drips and air. A check valve is no substitute for the height.", false},
	}
	if !u.UnderWater {
		list = append(list, check{"water break", "After the valve, do 50 to 75 mm (2 to 3 in) of tubing end in air, above the water?",
			"Lift the end out of the water and fix it: an outlet under water lets tank water run back.", true})
	}
	return append(list,
		check{"drip loops", "Does every cable hang in a loop below its plug before it goes up to it?",
			"Make the loops: salt water runs down a cable into whatever is at its lower end.", true},
		check{"nothing electrical below", "Is there nothing electrical under the pump, the line and the container?",
			"Move it away: lines come off and containers leak.", true})
}

func (s Session) readPlacement(text string) (Session, Out, bool) {
	switch s.place {
	case atHeights:
		return s.readHeights(text)
	case atTop:
		return s.readTop(text)
	}
	list := s.u.checks()
	one := list[s.item]
	is, understood := yes(text)
	switch {
	case !understood:
		return s.complaint("Type y for yes or n for no.")
	case !is && one.needed:
		return s.complaint("%s Then type y. Or q to leave and come back.", one.mend)
	}
	answer, said := one.name+": yes", []string(nil)
	if !is {
		answer, said = one.name+": no", []string{"Noted. " + one.mend}
	}
	s.answers = append(append([]string(nil), s.answers...), answer)
	s.item++
	if s.item < len(list) {
		return s.took(atItem, said...)
	}
	if s.u.TopToOutletMM == nil {
		return s.took(atTop, said...)
	}
	s.top = s.u.TopToOutletMM
	return s.took(atHeights, append(said, s.heights()...)...)
}

// readTop takes the height that the configuration does not say.
func (s Session) readTop(text string) (Session, Out, bool) {
	mm, err := units.ParseLength(text)
	if err != nil {
		return s.complaint("A height with its unit, such as 20 cm, or -5 cm if the liquid can stand above the outlet: %s.", err)
	}
	if !(abs(mm) <= 10_000) {
		return s.complaint("%s m is no height between a container and an outlet.", num(mm/1000))
	}
	top := -mm
	if top >= 0 && !s.u.SiphonBreak {
		return s.complaint("Then the container empties itself into the tank once the line is full. Put it lower, so that its highest level is below the outlet; or build a siphon break and declare it (line.siphon_break). A check valve is none.")
	}
	s.top = &top
	return s.took(atHeights, s.heights()...)
}

// heights says what the heights mean.
func (s Session) heights() []string {
	where := fmt.Sprintf("%s cm below the outlet", num(-*s.top/10))
	if *s.top > 0 {
		where = fmt.Sprintf("%s cm ABOVE the outlet, with a siphon break", num(*s.top/10))
	}
	lift := s.u.LiftMM / 1000
	texts := []string{fmt.Sprintf("Heights: the highest level in the container is %s; the pump lifts %s m.", where, num(lift))}
	if metering.LiftVerdict(lift) == metering.LiftWarned {
		texts = append(texts, fmt.Sprintf("That is much: above %s m the rate falls, above %s m little comes. Calibrate at this height.", num(metering.LiftWarnM), num(metering.LiftRefuseM)))
	}
	return texts
}

func (s Session) readHeights(text string) (Session, Out, bool) {
	is, understood := yes(text)
	lift := s.u.LiftMM / 1000
	switch {
	case !understood:
		return s.complaint("Type y if the heights are so, n if not.")
	case !is:
		return s.complaint("Then put right whichever is wrong, the container or the configuration (top_to_outlet, lift), and start the service again if it was the file. Then type y, or q to leave.")
	case *s.top > 0 && !s.u.SiphonBreak:
		return s.complaint("The liquid can stand above the outlet and nothing breaks the siphon: lower the container, then start again.")
	case metering.LiftVerdict(lift) == metering.LiftRefused:
		return s.complaint("A pump like this lifts %s m at most. Move the container or the pump up.", num(metering.LiftRefuseM))
	}
	record := append(append([]string(nil), s.answers...), fmt.Sprintf("highest level %s cm from the outlet (minus: below), lift %s m: yes", num(*s.top/10), num(lift)))
	return s.send(atHeights, machine.VerbAccept, map[string]any{"what": machine.Placement, "channel": s.u.Channel, "text": strings.Join(record, "; ")})
}

// Contents.

func (s Session) contentsOpening() []string {
	k := s.f.Container
	return []string{fmt.Sprintf("By the record container %s holds %s mL, and nothing is drawn from it at or below %s mL. Say what it really holds.", s.u.Container, num(k.RemainingMinML), num(k.StopML))}
}

func (s Session) readFill(text string) (Session, Out, bool) {
	s.drained = s.f.Container.RemainingMinML <= s.f.Container.StopML
	if strings.EqualFold(text, "full") {
		return s.send(atFill, machine.VerbRefill, map[string]any{"container": s.u.Container, "full": true})
	}
	ml, err := units.ParseVolume(text)
	switch {
	case err != nil:
		return s.complaint("A volume with its unit, such as 1.8 L or 900 mL, or full: %s.", err)
	case !(ml > s.f.Container.StopML):
		return s.complaint("It must hold more than %s mL for the pump to run: fill it first.", num(s.f.Container.StopML))
	case s.f.Container.CapacityML > 0 && ml > s.f.Container.CapacityML:
		return s.complaint("It cannot hold more than %s mL.", num(s.f.Container.CapacityML))
	}
	return s.send(atFill, machine.VerbRefill, map[string]any{"container": s.u.Container, "remaining_ml": ml})
}
