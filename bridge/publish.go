package bridge

import (
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/node"
	"aliquot/bridge/topics"
)

func (b *Bridge) codec(id string) *node.Codec { return b.codecs[id] }

// publish hands a message over that tells or removes something, and waits for the broker only where too many are on their
// way. If it does not get through, the next connection brings the retained ones again.
func (b *Bridge) publish(m Message) {
	if !b.o.Link.Open() {
		return
	}
	b.makeRoom()
	b.post(m)
}

// assure publishes a message and waits until the broker has it. False: nobody knows.
func (b *Bridge) assure(m Message) bool {
	if !b.o.Link.Open() {
		return false
	}
	if _, err := b.o.Link.Publish(m, b.patience()); err != nil {
		b.stall(m.Topic, err)
		return false
	}
	b.stalled = false
	return true
}

// patience is how long a message that only tells is waited for.
func (b *Bridge) patience() time.Duration {
	if b.stalled {
		return stalledWait
	}
	return stateWait
}

func (b *Bridge) stall(topic string, err error) {
	if !b.stalled {
		b.o.Logger.Warn("a message may not have left; until the broker answers again nothing is waited for", "topic", topic, "error", err)
	}
	b.stalled = true
}

// publishEffect renders and sends the effects that are messages.
func (b *Bridge) publishEffect(e machine.Effect) {
	l := b.o.Layout
	switch e := e.(type) {
	case machine.Answer:
		b.send(l.RenderAnswer(e.Answered))
	case machine.Problem:
		if b.in.mayComplain(e.Topic) {
			b.send(l.RenderProblem(e))
		}
	case machine.Happened:
		m, err := l.RenderEvent(e)
		if err != nil {
			b.o.Logger.Error("an event cannot be rendered", "error", err)
			return
		}
		b.send(m)
	case machine.ShowAlert:
		b.retain(l.RenderAlert(e.AlertView))
		if b.o.Notifier != nil {
			b.o.Notifier.Tell(e.AlertView)
		}
	case machine.TryAlerts:
		if b.o.Notifier != nil {
			b.o.Notifier.Try(e.Text)
		}
	case machine.WriteOwner:
		b.send(l.RenderOwner(e))
	case machine.ClearOwner:
		b.send(l.RenderNoOwner())
	case machine.Beat:
		b.send(l.RenderBeat(e.BeatView))
	default:
		b.o.Logger.Error("an effect is not known here; it is not done", "effect", e)
	}
}

func (b *Bridge) send(m topics.Message) { b.publish(Message(m)) }

// retain publishes a retained message at once if it differs from what was published last over this connection. An empty
// one removes the topic, which may stand there from an earlier connection.
func (b *Bridge) retain(m topics.Message) {
	delete(b.states.waiting, m.Topic) // it is older
	last, known := b.published[m.Topic]
	if !b.o.Link.Open() || (known && last == string(m.Payload)) {
		return
	}
	b.makeRoom()
	b.keep(m)
}

// remove takes a retained message away. It says whether the broker has it.
func (b *Bridge) remove(topic string) bool {
	delete(b.states.waiting, topic)
	b.published[topic] = ""
	return b.assure(Message{Topic: topic, QoS: 1, Retained: true})
}

// announce publishes everything retained anew: a broker may have forgotten it.
func (b *Bridge) announce() {
	clear(b.published)
	b.forgetStates()
	v := machine.Snapshot(&b.state)
	current, _ := b.o.Layout.Render(v) // show says what cannot be rendered
	b.shelve(v, current)
	b.send(b.o.Layout.Birth())
	b.dirty = true
	b.send(b.o.Layout.RenderAbout(v))
	b.show()
}

// show takes a snapshot for metrics and pages, and lines up what changed in it.
func (b *Bridge) show() {
	if !b.dirty {
		return
	}
	b.dirty, b.shown = false, time.Now()
	v := machine.Snapshot(&b.state)
	b.view.Store(&v)
	b.o.Metrics.Observe(v)
	messages, err := b.o.Layout.Render(v)
	if err != nil {
		b.o.Logger.Error("a state cannot be rendered", "error", err)
	}
	if b.o.Link.Open() {
		for _, m := range messages {
			b.lineUp(m)
		}
	}
}
