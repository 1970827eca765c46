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
// long: behind it stand the broker's acknowledgements of what the loop publishes, and a stop. What floods is dropped
// here, before it is parsed and without the loop.
type inbox struct {
	layout  topics.Layout
	root    string             // what the site's own topics begin with
	sources map[string]*source // of readings, by topic
	nodes   map[string]bool    // topics of nodes, which may hold a reading besides
	verbs   map[string]bool    // of requests that there are
	bridge  *Bridge
	began   time.Time

	mu        sync.Mutex // the connection's goroutine and the loop both use the limiters
	limit     topics.Limiter
	complains topics.Limiter
	told      map[string]time.Duration // when messages of an account were last said to be dropped
}

// source is a topic that streams measurements: a payload may hold several.
type source struct {
	probes []ProbeInput
	levels []LevelInput
}

const (
	// backlog is how many messages may wait for the loop before further requests are dropped. A slow disk stores a
	// dozen answers a second.
	backlog = 128
	// overtakes is how many messages a stop leaves in front of itself.
	overtakes = 16
	// tellEvery is how often it is told that messages of one topic are dropped.
	tellEvery = time.Second
)

func newInbox(o Options, b *Bridge) *inbox {
	in := &inbox{layout: o.Layout, root: o.Layout.Root() + "/", sources: map[string]*source{}, nodes: map[string]bool{}, verbs: map[string]bool{}, bridge: b, began: time.Now(), told: map[string]time.Duration{}}
	for _, v := range machine.Verbs() {
		in.verbs[string(v)] = true
	}
	for _, p := range o.Probes {
		from := in.source(p.Topic)
		from.probes = append(from.probes, p)
	}
	for _, c := range o.Nodes {
		for _, t := range c.Subscriptions() {
			in.nodes[t] = true
		}
	}
	for _, l := range o.Levels {
		from := in.source(l.Topic)
		from.levels = append(from.levels, l)
	}
	in.keepApart()
	return in
}

func (in *inbox) source(topic string) *source {
	if in.sources[topic] == nil {
		in.sources[topic] = &source{}
	}
	return in.sources[topic]
}

// keepApart gives every topic that the configuration names an allowance of its own: on a large site none may go unread
// because of the others.
func (in *inbox) keepApart() {
	for verb := range in.verbs {
		in.limit.Keep(in.layout.Ask(machine.Verb(verb)))
	}
	for topic := range in.nodes {
		in.limit.Keep(topic)
	}
	for topic := range in.sources {
		in.limit.Keep(topic)
	}
	in.limit.Keep(in.layout.Owner())
}

// Subscriptions lists every topic that the bridge has to hear.
func (b *Bridge) Subscriptions() []topics.Filter {
	out := b.o.Layout.Filters()
	for _, c := range b.o.Nodes {
		for _, t := range c.Subscriptions() {
			out = append(out, topics.Filter{Topic: t, QoS: 1})
		}
	}
	if a := b.o.Announcer; a != nil {
		out = append(out, topics.Filter{Topic: a.Birth(), QoS: 0})
	}
	told := map[string]bool{}
	reading := func(topic string) {
		if !told[topic] {
			told[topic] = true
			out = append(out, topics.Filter{Topic: topic, QoS: 0})
		}
	}
	for _, p := range b.o.Probes {
		reading(p.Topic)
	}
	for _, l := range b.o.Levels {
		reading(l.Topic)
	}
	return out
}

// Deliver takes a message from the connection.
func (b *Bridge) Deliver(m Message) { b.in.deliver(m) }

func (in *inbox) deliver(m Message) {
	own := strings.HasPrefix(m.Topic, in.root)
	verb, isRequest := "", false
	if own {
		verb, isRequest = in.layout.Verb(m.Topic)
	}
	account := m.Topic
	if isRequest && !in.verbs[verb] {
		// Topics without end would each have an allowance, and leave none for a stop or a node.
		account = in.layout.Ask("")
	}
	if !in.allow(account) {
		in.shed(account, "more messages on this topic than are read; the rest of this second is dropped")
		return
	}
	if isRequest && machine.Verb(verb) != machine.VerbStop && len(in.bridge.vital) >= backlog {
		in.shed(account, "more requests than can be answered in time; this one was dropped: ask again later")
		return
	}
	readings := in.sources[m.Topic]
	if a := in.bridge.o.Announcer; a != nil && m.Topic == a.Birth() {
		if a.IsBirth(m.Payload) {
			in.bridge.queue(item{birth: true})
		}
		return
	}
	switch {
	case !own && readings == nil:
		// A command of a stranger counts whatever its size: the codec judges.
		in.node(m)
	case len(m.Payload) > safety.MaxPayload:
		in.misread(m.Topic, safety.TooLarge, fmt.Sprintf("%d bytes; at most %d are read", len(m.Payload), safety.MaxPayload), "")
	case readings != nil:
		if in.nodes[m.Topic] {
			in.node(m)
		}
		in.readings(m, readings)
	case m.Topic == in.layout.Owner():
		in.owner(m)
	default:
		in.request(m)
	}
}

func (in *inbox) allow(account string) bool {
	in.mu.Lock()
	defer in.mu.Unlock()
	return in.limit.Allow(account, time.Since(in.began))
}

// node hands a message of a node to the loop. It never waits: a run whose report finds no room counts in full.
func (in *inbox) node(m Message) {
	select {
	case in.bridge.vital <- item{node: &m}:
	default:
		in.shed(m.Topic, "more messages than can be handled in time; this one was dropped")
	}
}

// shed lets a message go unread. Each is counted; that it happens is told once in a while.
func (in *inbox) shed(account, text string) {
	now := time.Since(in.began)
	in.mu.Lock()
	last, before := in.told[account]
	tell := !before || now-last >= tellEvery
	if tell {
		in.told[account] = now
	}
	in.mu.Unlock()
	if tell {
		select {
		case in.bridge.vital <- item{event: machine.Misread{Topic: account, Code: safety.TooMany, Text: text}}:
			return
		default:
		}
	}
	in.bridge.o.Metrics.Count(machine.Count{Metric: machine.MetricProblems, Labels: [2]string{string(safety.TooMany)}})
}

// mayComplain limits how often one topic is complained about: a flood of nonsense must not become a flood of
// problems.
func (in *inbox) mayComplain(topic string) bool {
	in.mu.Lock()
	defer in.mu.Unlock()
	return in.complains.Allow(topic, time.Since(in.began))
}

// notify leaves a word, unless one is there already.
func notify(c chan<- struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
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
	isStop := machine.Verb(verb) == machine.VerbStop
	if isStop && len(in.bridge.vital) >= overtakes {
		notify(in.bridge.halt)
	}
	q, refusal := topics.ParseRequest(verb, m.Payload)
	if refusal != nil {
		if isStop {
			// Somebody wants the pumps to stop, whatever is wrong with the message.
			in.bridge.offer(machine.Asked{Request: machine.Request{Verb: machine.VerbStop, All: true}})
			refusal.Text += "; every pump was told to stop all the same"
		}
		in.misread(m.Topic, refusal.Code, refusal.Text, refusal.Ref)
		return
	}
	in.bridge.offer(machine.Asked{Request: q})
}

func (in *inbox) readings(m Message, from *source) {
	for i := range from.probes {
		in.probe(m, &from.probes[i])
	}
	for i := range from.levels {
		in.level(m, &from.levels[i])
	}
}

// probe reads a measurement, in the probe's own unit, as its canonical one.
func (in *inbox) probe(m Message, p *ProbeInput) {
	e := machine.ProbeRead{Probe: p.ID, Retained: m.Retained}
	v, err := topics.ParseReading(m.Payload, p.Reading)
	if err == nil && p.Quantity != units.Switch {
		v, err = units.ToCanonical(p.Quantity, v, p.Unit)
	}
	if err != nil {
		e.Bad = err.Error()
	}
	e.Value = v
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
