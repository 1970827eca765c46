package bridge

import (
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/node"
	"aliquot/bridge/topics"
	"aliquot/planner/units"
	"aliquot/safety"
)

// ProbeInput is a topic that streams a measurement.
type ProbeInput struct {
	ID       string
	Topic    string
	Reading  topics.ReadingSpec
	Quantity units.Quantity
	Unit     string // of the readings; empty for a switch
}

// inbox turns messages into events. It is called by the connection, one message at a time, and must not block for
// long: what floods is dropped here, before it is parsed.
type inbox struct {
	layout topics.Layout
	probes map[string]ProbeInput
	bridge *Bridge
	began  time.Time

	mu        sync.Mutex // the connection's goroutine and the loop both use the limiters
	limit     topics.Limiter
	complains topics.Limiter
}

func newInbox(o Options, b *Bridge) *inbox {
	in := &inbox{layout: o.Layout, probes: map[string]ProbeInput{}, bridge: b, began: time.Now()}
	for _, p := range o.Probes {
		in.probes[p.Topic] = p
	}
	return in
}

// Subscriptions lists every topic that the bridge has to hear.
func (b *Bridge) Subscriptions() []topics.Filter {
	out := b.o.Layout.Filters()
	for _, c := range b.o.Nodes {
		for _, t := range c.Subscriptions() {
			out = append(out, topics.Filter{Topic: t, QoS: 1})
		}
	}
	for _, p := range b.o.Probes {
		out = append(out, topics.Filter{Topic: p.Topic, QoS: 0})
	}
	return out
}

// Deliver takes a message from the connection.
func (b *Bridge) Deliver(m Message) { b.in.deliver(m) }

func (in *inbox) deliver(m Message) {
	if !in.allow(m.Topic) {
		in.misread(m.Topic, safety.TooMany, "more messages on this topic than are read; the rest of this second is dropped", "")
		return
	}
	_, isProbe := in.probes[m.Topic]
	own := strings.HasPrefix(m.Topic, in.layout.Root()+"/")
	switch {
	case !own && !isProbe:
		// A command of a stranger counts whatever its size: the codec judges.
		in.bridge.queue(item{node: &m})
	case len(m.Payload) > safety.MaxPayload:
		in.misread(m.Topic, safety.TooLarge, fmt.Sprintf("%d bytes; at most %d are read", len(m.Payload), safety.MaxPayload), "")
	case isProbe:
		in.probe(m)
	case m.Topic == in.layout.Owner():
		in.owner(m)
	default:
		in.request(m)
	}
}

func (in *inbox) allow(topic string) bool {
	in.mu.Lock()
	defer in.mu.Unlock()
	return in.limit.Allow(topic, time.Since(in.began))
}

// mayComplain limits how often one topic is complained about: a flood of nonsense must not become a flood of
// problems.
func (in *inbox) mayComplain(topic string) bool {
	in.mu.Lock()
	defer in.mu.Unlock()
	return in.complains.Allow(topic, time.Since(in.began))
}

func (in *inbox) misread(topic string, code safety.Code, text, ref string) {
	in.bridge.offer(machine.Misread{Topic: topic, Code: code, Text: text, Ref: ref})
}

func (in *inbox) owner(m Message) {
	seen, err := topics.ParseOwner(m.Payload)
	if err != nil {
		in.misread(m.Topic, safety.BadPayload, err.Error(), "")
		return
	}
	in.bridge.offer(seen)
}

func (in *inbox) request(m Message) {
	verb, ok := in.layout.Verb(m.Topic)
	if !ok {
		in.misread(m.Topic, safety.UnknownVerb, "there is no such request topic", "")
		return
	}
	if m.Retained {
		in.misread(m.Topic, safety.Retained, "a request must not be retained: it would be made again at every connection; remove it with an empty retained message", "")
		return
	}
	q, refusal := topics.ParseRequest(verb, m.Payload)
	if refusal != nil {
		if machine.Verb(verb) == machine.VerbStop {
			// Somebody wants the pumps to stop, whatever is wrong with the message.
			in.bridge.offer(machine.Asked{Request: machine.Request{Verb: machine.VerbStop, All: true}})
			refusal.Text += "; every pump was told to stop all the same"
		}
		in.misread(m.Topic, refusal.Code, refusal.Text, refusal.Ref)
		return
	}
	in.bridge.offer(machine.Asked{Request: q})
}

// probe reads a measurement, in the probe's own unit, as its canonical one.
func (in *inbox) probe(m Message) {
	p := in.probes[m.Topic]
	e := machine.ProbeRead{Probe: p.ID, Retained: m.Retained}
	r, err := topics.ParseReading(m.Payload, p.Reading)
	if err == nil && p.Quantity != units.Switch {
		r.Value, err = units.ToCanonical(p.Quantity, r.Value, p.Unit)
	}
	if err != nil {
		e.Bad = err.Error()
	}
	e.Value = r.Value
	in.bridge.offer(e)
}

// heard reads a message on a node's topic. Nodes may share the topic on which they say that they are there.
func (b *Bridge) heard(m Message) []machine.Event {
	var events []machine.Event
	for _, c := range b.o.Nodes {
		heard, handled, err := c.Parse(m.Topic, m.Payload, m.Retained)
		if !handled {
			continue
		}
		if err != nil {
			code := safety.BadPayload
			var e *node.Error
			if errors.As(err, &e) {
				code = e.Code
			}
			events = append(events, machine.Misread{Topic: m.Topic, Code: code, Text: err.Error()})
			continue
		}
		if heard.Note != "" {
			b.o.Logger.Warn(heard.Note, "topic", m.Topic)
		}
		events = append(events, heard.Events...)
		if len(heard.Unknown) > 0 {
			events = append(events, machine.Misread{Topic: m.Topic, Code: safety.BadPayload,
				Text: "the report was taken, but these fields are not known: " + strings.Join(heard.Unknown, ", ")})
		}
	}
	return events
}
