package simnode

import (
	"fmt"
	"time"
)

// SupplyOptions describes a relay in the feed of other nodes' pumps.
type SupplyOptions struct {
	// Off reads a command: whether it is the one that switches off. Anything else from there is ignored and counted.
	Off func(payload []byte) bool
	// BootTime is how long a restart takes; OffAtBoot says that it is off afterwards, until a person switches it on.
	BootTime  time.Duration
	OffAtBoot bool
	// StateOn and StateOff are the state payloads, Up and Down the online payloads; nil stands for "ON", "OFF", "1" and
	// "0".
	StateOn, StateOff, Up, Down []byte
}

// Supply is a node of the supply kind: a relay with one output, 1, which is on until it is told to go off. Its contact
// is the output: Flowing(1) says whether the pumps behind it are fed, and nobody but the caller's Feed tells those.
// Nothing leaves it, so that it delivers nothing. With Faults.StuckOn its contact is welded while it says that it is off.
type Supply struct {
	core
	o SupplyOptions
}

// NewSupply makes a supply relay that is up and on. It says nothing until asked: see Connect.
func NewSupply(o SupplyOptions) (*Supply, error) {
	s := &Supply{o: o}
	if o.Off == nil {
		return nil, fmt.Errorf("simnode: a supply relay without Off cannot read its commands")
	}
	if err := s.core.setUp(s, []float64{1}, o.BootTime, o.Up, o.Down); err != nil {
		return nil, err
	}
	s.outs[0].rate = 0
	s.o.StateOn, s.o.StateOff = or(o.StateOn, "ON"), or(o.StateOff, "OFF")
	s.outs[0].phase, s.outs[0].wanted, s.outs[0].flowing = running, never, true
	return s, nil
}

// Receive hands a command to the relay.
func (s *Supply) Receive(now time.Time, c Command) []Out {
	s.advance(now)
	switch {
	case !s.hears(c):
	case !s.o.Off(c.Payload):
		s.counts.Malformed++
	case s.outs[0].phase != idle:
		s.end(0, false)
	default:
		s.state()
	}
	return s.take()
}

// Close is a person who switches it on at the device. One that is on says so again.
func (s *Supply) Close(now time.Time) []Out {
	s.advance(now)
	switch {
	case s.booting():
	case s.outs[0].phase == idle:
		s.accept(0, "", never)
	default:
		s.state()
	}
	return s.take()
}

func (s *Supply) began(int)       { s.state() }
func (s *Supply) ended(int, bool) { s.state() }
func (s *Supply) contact(int)     {}

func (s *Supply) connected() {
	s.said = append(s.said, s.online(s.up))
	s.state()
}

// forget keeps what a relay keeps over a power cut, if it is set to.
func (s *Supply) forget() { s.outs[0].resume = !s.o.OffAtBoot }

func (s *Supply) state() {
	out := Out{Role: State, Output: 1, Payload: s.o.StateOff, QoS: 1, Retained: true}
	if s.outs[0].phase == running {
		out.Payload = s.o.StateOn
	}
	s.say(out)
}
