package commission

import (
	"fmt"
	"strings"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/metering"
	"aliquot/safety"
)

// Wants is what a session waits for.
type Wants int

// What it can wait for. The zero value is the end.
const (
	Nothing Wants = iota
	Line          // that the keeper types a line
	Answer        // the service's answer to Send
	RunEnd        // the end of the run that Run names
)

// Send is a request to the service.
type Send struct {
	Verb   machine.Verb
	Fields map[string]any
}

// Out is what a session wants done next: first to say something, then one thing to wait for.
type Out struct {
	Say    []string
	Wants  Wants
	Prompt string            // with Line
	Send   Send              // with Answer
	Run    machine.RunResult // with RunEnd
}

// Reply is the service's answer to a request.
type Reply struct {
	OK     bool
	Code   safety.Code
	Text   string
	Run    machine.RunResult         // with the code started
	Result machine.CalibrationResult // with an accepted calibration
}

// place is where a conversation stands.
type place int

const (
	atName place = iota
	atItem
	atHeights
	atTop
	atFill
	atTurn
	atStill
	atWay
	atPush
	atLiquid
	atVessel
	atWeighed
	atTrial
	atMeasured
	atTrials
	atTest
	atTestRead
	atTestOff
	atAgree
	atConfirm
	atEnd
)

// Session is one conversation. It is a value: what a method is given is not changed.
type Session struct {
	u     Setup
	f     Facts
	by    string
	place place
	own   [Finished]verdict // what this session itself brought about, stronger than what the state says

	item    int
	answers []string // to the placement
	top     *float64 // height that was asked for, mm
	drained bool     // the container was at its stop when its contents were typed

	pushes  int
	pushed  float64   // mL since liquid was looked for
	begun   time.Time // of the run that is on, or was last
	ran     machine.RunEvent
	trials  trialSheet
	redo    int // trial that is measured again, from 1; 0: a new one
	test    string
	pending Send // what waits for an answer, or for a second word
	refused place
}

type verdict int8

const (
	byState verdict = iota
	doneHere
	openHere
)

// New begins a session; by is who holds it, and asked for where it is empty. Steps in again are done once more, as
// are those that rest on them. Trials that an earlier session left behind are taken over, with the
// liquid that was weighed.
func New(u Setup, f Facts, by string, trials []metering.Reading, weighed metering.Liquid, again ...Step) (Session, Out) {
	s := Session{u: u, f: f, by: by, trials: trialSheet{readings: trials, liquid: weighed}}
	s.trials.scale = s.trials.weighed()
	for _, one := range again {
		s.own[one] = openHere
		if one == Calibration {
			s.own[TestRun] = openHere
		}
	}
	out := Out{Say: s.welcome()}
	if by == "" {
		s.place = atName
		return s, s.line(out.Say)
	}
	return s.next(out.Say)
}

func (s Session) welcome() []string {
	lines := []string{fmt.Sprintf("Commissioning of channel %s: %s from container %s into %s", s.u.Channel, s.u.Supplement, s.u.Container, s.u.System), ""}
	lines = append(lines, say("Type ? for help, q to leave. What is done stays done: the same command goes on where you left. While the pump runs, Enter or Ctrl-C stops it.")...)
	for _, c := range s.u.Cautions {
		lines = append(lines, say("Caution: "+c+".")...)
	}
	var done []string
	for _, one := range Steps() {
		if s.isDone(one) {
			done = append(done, one.String())
		}
	}
	if len(done) > 0 {
		lines = append(lines, say("Done already: "+strings.Join(done, ", ")+".")...)
	}
	return lines
}

func (s Session) isDone(one Step) bool {
	switch s.own[one] {
	case doneHere:
		return true
	case openHere:
		return false
	}
	ok, _ := s.f.done(one, s.u)
	return ok
}

// Step is the first one that is not done.
func (s Session) Step() Step {
	for _, one := range Steps() {
		if !s.isDone(one) {
			return one
		}
	}
	return Finished
}

// next goes on with the first step that is not done.
func (s Session) next(said []string) (Session, Out) {
	step := s.Step()
	if step == Finished {
		s.place = atEnd
		return s, Out{Say: append(said, s.farewell()...)}
	}
	s.place = [...]place{atItem, atFill, atTurn, atPush, atVessel, atTest, atAgree}[step]
	lines := append(append(said, headline(step)...), s.opening(step)...)
	switch step {
	case Placement:
		s.item, s.answers = 0, nil
	case Priming:
		s.pushes, s.pushed = 0, 0
	case Calibration:
		if len(s.trials.readings) > 0 {
			s.place = atTrials
			lines = append(lines, s.sheet()...)
		}
	}
	return s, s.line(lines)
}

// opening is what is said at the beginning of a step.
func (s Session) opening(step Step) []string {
	var texts []string
	switch step {
	case Placement:
		texts = placementOpening
	case Contents:
		texts = s.contentsOpening()
	case Turning:
		texts = s.turningOpening()
	case Priming:
		texts = s.primingOpening()
	case Calibration:
		texts = s.calibrationOpening()
	case TestRun:
		texts = s.testOpening()
	case Handover:
		return append(s.day(), byHand(s.u, step, s.f)...)
	}
	switch step {
	case Turning, Priming, Calibration:
		texts = append(texts, s.inUse()...)
	}
	return append(say(texts...), byHand(s.u, step, s.f)...)
}

// line waits for a line, after saying something.
func (s Session) line(said []string) Out {
	return Out{Say: said, Wants: Line, Prompt: strings.Join(wrap("", s.prompt()), "\n")}
}

// Typed takes a line. A line that does not fit is complained of and changes nothing.
func (s Session) Typed(text string, f Facts) (Session, Out) {
	s.f = f
	text = strings.TrimSpace(text)
	switch strings.ToLower(text) {
	case "q", "quit":
		return s, Out{Say: s.Left()}
	case "?", "help":
		return s, s.line(say(s.help()))
	}
	if after, out, ok := s.read(text); ok {
		return after, out
	} else {
		return s, s.line(out.Say)
	}
}

// complaint is an answer that does not fit.
func (s Session) complaint(format string, args ...any) (Session, Out, bool) {
	return s, Out{Say: say(fmt.Sprintf(format, args...))}, false
}

// took goes on at another place.
func (s Session) took(p place, texts ...string) (Session, Out, bool) {
	s.place = p
	return s, s.line(say(texts...)), true
}

// send asks the service. Where it refuses, the conversation goes back to a place.
func (s Session) send(back place, verb machine.Verb, fields map[string]any) (Session, Out, bool) {
	if s.by != "" {
		fields["by"] = s.by
	}
	s.pending, s.refused = Send{verb, fields}, back
	return s, Out{Wants: Answer, Send: s.pending}, true
}

func (s Session) read(text string) (Session, Out, bool) {
	switch s.place {
	case atName:
		return s.readName(text)
	case atItem, atHeights, atTop:
		return s.readPlacement(text)
	case atFill:
		return s.readFill(text)
	case atTurn, atStill, atWay:
		return s.readTurning(text)
	case atPush, atLiquid:
		return s.readPriming(text)
	case atVessel, atWeighed, atTrial, atMeasured, atTrials:
		return s.readCalibration(text)
	case atTest, atTestRead, atTestOff:
		return s.readTest(text)
	case atAgree:
		return s.readAgree(text)
	case atConfirm:
		return s.readConfirm(text)
	}
	return s.complaint("the session is over")
}

func (s Session) readName(text string) (Session, Out, bool) {
	if text == "" || len(text) > 64 {
		return s.complaint("A name of 1 to 64 characters, so that the record says who looked.")
	}
	s.by = text
	after, out := s.next(nil)
	return after, out, true
}

// readConfirm takes the second word that the service asked for.
func (s Session) readConfirm(text string) (Session, Out, bool) {
	switch strings.ToLower(text) {
	case "yes":
		fields := map[string]any{"confirm": true}
		for k, v := range s.pending.Fields {
			fields[k] = v
		}
		return s.send(s.refused, s.pending.Verb, fields)
	case "n", "no":
		return s.took(s.refused, "Nothing was recorded.")
	}
	return s.complaint("Type yes if it is right as it stands, or n to look again.")
}

// yes reads a plain answer.
func yes(text string) (is, understood bool) {
	switch strings.ToLower(text) {
	case "y", "yes":
		return true, true
	case "n", "no":
		return false, true
	}
	return false, false
}

// Left is what a keeper should know who leaves now: what is done, and how to go on.
func (s Session) Left() []string {
	var done []string
	for _, one := range Steps() {
		if s.isDone(one) {
			done = append(done, one.String())
		}
	}
	text := "Nothing is done yet."
	if len(done) > 0 {
		text = "Done and recorded: " + strings.Join(done, ", ") + "."
	}
	lines := append([]string{""}, say(text)...)
	if step := s.Step(); step != Finished {
		again := "aliquot commission " + s.u.Channel
		if step == Calibration {
			again += s.trials.flags()
		}
		lines = append(lines, wrap("  ", fmt.Sprintf("Next is %s. To go on: %s", step, again))...)
	}
	return lines
}
