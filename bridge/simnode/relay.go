package simnode

import (
	"fmt"
	"time"
)

// RelayOptions describes a relay device with one or more outputs.
type RelayOptions struct {
	// RatesMLPerMin are the true rates of the pumps behind the outputs 1, 2, … in mL/min, above 0.
	RatesMLPerMin []float64
	// OnOff reads a command: on or off, for an "on" the seconds after which the relay goes off by itself (0: the
	// payload says nothing of it), and whether it is a command at all.
	OnOff func(payload []byte) (on bool, seconds float64, ok bool)
	// AutoOff is a fixed time after which the relay goes off by itself, 0 for none. With seconds in the payload
	// the shorter of the two holds. With neither the relay stays on.
	AutoOff time.Duration
	// Feedback says that the published state is the contact's true one (a power reading), not the coil's.
	Feedback bool
	// BootTime is how long a restart takes. The relay gets no command meanwhile.
	BootTime time.Duration
	// StateOn and StateOff are the state payloads, Up and Down the online payloads; nil stands for "ON", "OFF",
	// "1" and "0".
	StateOn, StateOff, Up, Down []byte
	// StateQoS is the quality of service of the state, 0 or 1.
	StateQoS byte
}

// Relay is a node of the switch kind.
type Relay struct {
	core
	o RelayOptions
}

// NewRelay makes a relay that is up, with every output off. It says nothing until asked: see Connect.
func NewRelay(o RelayOptions) (*Relay, error) {
	r := &Relay{o: o}
	if err := r.core.setUp(r, o.RatesMLPerMin, o.BootTime, o.Up, o.Down); err != nil {
		return nil, err
	}
	if o.OnOff == nil {
		return nil, fmt.Errorf("simnode: a relay without OnOff cannot read its commands")
	}
	if o.AutoOff < 0 || o.StateQoS > 1 {
		return nil, fmt.Errorf("simnode: a relay has auto-off %v and state QoS %d, allowed are 0 or more, and 0 or 1", o.AutoOff, o.StateQoS)
	}
	r.o.StateOn, r.o.StateOff = or(o.StateOn, "ON"), or(o.StateOff, "OFF")
	if o.AutoOff > 0 {
		r.armed = int64(o.AutoOff)
	}
	return r, nil
}

// Receive hands a command to the relay. What OnOff does not know is ignored and counted.
func (r *Relay) Receive(now time.Time, c Command) []Out {
	r.advance(now)
	if r.hears(c) && !r.obey(c) {
		r.counts.Malformed++
	}
	return r.take()
}

// maxTimer bounds what a payload can ask of a relay, s.
const maxTimer = 7 * 24 * 3600

func (r *Relay) obey(c Command) bool {
	on, seconds, ok := r.o.OnOff(c.Payload)
	if !ok || !r.has(c.Output) || on && !(seconds >= 0 && seconds <= maxTimer) {
		return false
	}
	i := c.Output - 1
	switch o := &r.outs[i]; {
	case on && o.phase == idle:
		r.accept(i, "", r.timer(seconds))
	case on:
		o.armedAt, o.wanted = r.at, r.timer(seconds)
		r.state(i)
	case o.phase != idle:
		r.end(i, false)
	default:
		r.state(i)
	}
	return true
}

// timer gives what the off-timer is set to, ns.
func (r *Relay) timer(seconds float64) int64 {
	if seconds <= 0 {
		return r.armed
	}
	return min(r.armed, int64(seconds*float64(time.Second)))
}

func (r *Relay) began(i int)         { r.state(i) }
func (r *Relay) ended(i int, _ bool) { r.state(i) }

func (r *Relay) contact(i int) {
	if r.o.Feedback {
		r.state(i)
	}
}

func (r *Relay) connected() {
	r.said = append(r.said, r.online(r.up))
	for i := range r.outs {
		r.state(i)
	}
}

func (r *Relay) forget() {}

func (r *Relay) state(i int) {
	on := r.outs[i].phase == running
	if r.o.Feedback {
		on = r.outs[i].flowing
	}
	out := Out{Role: State, Output: i + 1, Payload: r.o.StateOff, QoS: r.o.StateQoS, Retained: true}
	if on {
		out.Payload = r.o.StateOn
	}
	r.say(out)
}
