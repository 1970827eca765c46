package commission_test

import (
	"strings"
	"testing"
	"time"

	"aliquot/bridge/commission"
	"aliquot/bridge/machine"
	"aliquot/planner/metering"
	"aliquot/safety"
)

var midnight = time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC)

func ref[T any](v T) *T { return &v }

// setup is an invented channel on a board.
func setup() commission.Setup {
	return commission.Setup{Channel: "alk", System: "nursery", Container: "jug", Supplement: "carbonate", Node: "board", Style: machine.BoundedRun,
		BoreMM: 3, LengthMM: 1500, LiftMM: 700, TopToOutletMM: ref(-200.0), NominalMLPerMin: 60, PrimeML: 17.9, AttendedML: 60, PerRunML: 4, PerDayML: 40,
		SmallestML: 1, ToleranceShare: 0.05, From: midnight, Slots: []time.Time{midnight.Add(9 * time.Hour), midnight.Add(21*time.Hour + 30*time.Minute)},
		Effects:  []commission.Effect{{Quantity: "alkalinity", Unit: "dKH", AtCap: 0.317, MaxDose: 2, MaxRise: 0.6}, {Quantity: "pH", Unit: "pH", AtCap: -0.02}},
		Cautions: []string{"wear goggles"}}
}

// plug is one on a relay with a time of its own.
func plug() commission.Setup {
	u := setup()
	u.Style, u.AutoOff, u.Node = machine.Switch, time.Minute, "plug"
	return u
}

// service stands in for the daemon: it keeps what it was told, and refuses what its gate would.
type service struct {
	t interface {
		Helper()
		Fatalf(string, ...any)
	}
	u         commission.Setup
	f         commission.Facts
	lag       bool // the state is said later than the answer
	shown     commission.Facts
	sent      []commission.Send
	turned    bool
	filled    bool
	refuse    safety.Code // the next request
	outcome   machine.Outcome
	delivers  float64 // mL/min
	needsWord bool    // a calibration asks for a second word
}

func newService(t *testing.T, u commission.Setup) *service {
	s := &service{t: t, u: u, delivers: 58.8}
	s.begin()
	return s
}

func (s *service) begin() {
	s.f.At = midnight.Add(10 * time.Hour)
	s.f.Container = machine.ContainerView{ID: s.u.Container, CapacityML: 5000, StopML: 50}
	s.f.Channel = machine.ChannelView{ID: s.u.Channel}
	s.shown = s.f
}

func (s *service) facts() commission.Facts {
	out := s.f
	if s.lag {
		out = s.shown
	}
	s.shown = s.f
	return out
}

// ask answers a request; it fails the test if the order of things is broken.
func (s *service) ask(q commission.Send) (commission.Reply, *machine.RunEvent) {
	s.t.Helper()
	s.sent = append(s.sent, q)
	if c := s.refuse; c != "" {
		s.refuse = ""
		return commission.Reply{Code: c, Text: "no"}, nil
	}
	now, ch := &s.f.At, &s.f.Channel
	done := commission.Reply{OK: true, Code: safety.OK, Text: "so it is"}
	if q.Verb == machine.VerbRefill {
		s.need(ch.PlacementChecked != nil, q, "the placement was looked at")
		if s.f.Container.RemainingMinML <= s.f.Container.StopML {
			ch.Primed = false
		}
		s.f.Container.RemainingMinML, s.filled = 2000, true
		return done, nil
	}
	if q.Verb == machine.VerbAccept {
		if q.Fields["what"] == machine.Placement {
			ch.PlacementChecked = now
			return done, nil
		}
		if q.Fields["what"] == machine.Trials {
			ch.TrialsKept = q.Fields["text"].(string)
			return done, nil
		}
		s.need(ch.Primed && ch.RateMLPerMin != nil && ch.TestRun != nil && ch.PlacementChecked != nil && s.turned, q, "everything before")
		ch.Commissioned = now
		return done, nil
	}
	s.need(ch.PlacementChecked != nil && s.filled, q, "placement and contents")
	switch q.Verb {
	case machine.VerbProve:
		return s.run(machine.Prove, 60, q) // the proof is the look
	case machine.VerbPrime:
		if s.u.AutoOff > 0 {
			s.need(s.f.Node.Proven != nil, q, "a proof")
		}
		if q.Fields["seconds"] == nil {
			s.need(s.turned, q, "a look at the direction")
			return s.run(machine.Prime, 18, q)
		}
		return s.run(machine.Prime, 3, q)
	case machine.VerbPrimed:
		s.need(s.turned, q, "a look at the direction")
		ch.Primed = true
		return done, nil
	case machine.VerbCalibrate:
		s.need(ch.Primed, q, "a primed line")
		list, whole := q.Fields["trials"].([]map[string]any)
		if !whole {
			seconds, _ := q.Fields["seconds"].(float64)
			return s.run(machine.Calibrate, seconds, q)
		}
		s.need(len(list) >= 3, q, "three trials")
		if s.needsWord && q.Fields["confirm"] == nil {
			return commission.Reply{Code: safety.NeedsConfirm, Text: "from 60 to 90"}, nil
		}
		ch.RateMLPerMin, ch.Calibrated, ch.TestRun = ref(58.8), now, nil
		done.Result.ChangePercent = ref(-2.0)
		return done, nil
	case machine.VerbRun:
		s.need(ch.RateMLPerMin != nil && ch.Primed, q, "a calibrated channel")
		s.need(q.Fields["into"] == "vessel" && q.Fields["kind"] == "test", q, "a vessel")
		return s.run(machine.TestRun, 1, q)
	}
	s.t.Fatalf("%s is no request of a session", q.Verb)
	return commission.Reply{}, nil
}

func (s *service) need(ok bool, q commission.Send, what string) {
	s.t.Helper()
	if !ok {
		s.t.Fatalf("%s %v was sent without %s", q.Verb, q.Fields, what)
	}
}

func (s *service) run(p machine.Purpose, seconds float64, q commission.Send) (commission.Reply, *machine.RunEvent) {
	s.need(q.Fields["into"] == "vessel", q, "a vessel")
	if s.f.Container.RemainingMinML <= s.f.Container.StopML { // as the gate has it
		return commission.Reply{Code: safety.ContainerEmpty, Text: "empty"}, nil
	}
	r := commission.Reply{OK: true, Code: safety.Started, Text: "it runs", Run: machine.RunResult{Run: "r", Seconds: seconds, VolumeML: seconds}}
	e := &machine.RunEvent{Run: "r", Channel: "alk", Purpose: p, Seconds: seconds, VolumeML: seconds, Outcome: machine.Finished}
	if s.outcome != "" {
		e.Outcome, s.outcome = s.outcome, ""
	}
	if e.Outcome == machine.Finished {
		s.turned = s.turned || p == machine.Prove || q.Fields["seconds"] != nil && p == machine.Prime
		switch p {
		case machine.Prove:
			s.f.Node.Proven = &s.f.At
		case machine.TestRun:
			s.f.Channel.TestRun = &s.f.At
		}
	}
	return r, e
}

// talk is a session with its service.
type talk struct {
	s    *service
	now  commission.Session
	out  commission.Out
	said []string
}

func begin(s *service, by string, trials []metering.Reading, again ...commission.Step) *talk {
	c := &talk{s: s}
	c.now, c.out = commission.New(s.u, s.facts(), by, trials, metering.Liquid{}, again...)
	c.said = append(c.said, c.out.Say...)
	return c
}

// types answers the question that stands, and lets the service do its part until the next one.
func (c *talk) types(line string) *talk {
	c.now, c.out = c.now.Typed(line, c.s.facts())
	c.hear()
	for c.out.Wants == commission.Answer || c.out.Wants == commission.RunEnd {
		r, e := c.s.ask(c.out.Send)
		c.now, c.out = c.now.Answered(r, c.s.facts())
		c.hear()
		if c.out.Wants == commission.RunEnd {
			c.now, c.out = c.now.Ended(*e, c.s.facts())
			c.hear()
		}
	}
	return c
}

func (c *talk) hear() { c.said = append(c.said, c.out.Say...) }

// all answers one question after the other.
func (c *talk) all(lines ...string) *talk {
	for _, l := range lines {
		c.types(l)
	}
	return c
}

// shows says whether something was said, however the lines are broken.
func (c *talk) shows(text string) bool {
	return strings.Contains(strings.Join(strings.Fields(strings.Join(c.said, " ")), " "), text)
}

func (c *talk) asks(text string) bool {
	return c.out.Wants == commission.Line && strings.Contains(strings.Join(strings.Fields(c.out.Prompt), " "), text)
}
