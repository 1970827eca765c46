package rehearse

import (
	"errors"
	"sort"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/node"
	"aliquot/bridge/simnode"
	"aliquot/safety"
)

// broker carries messages between the machine and the nodes, both ways and back: the machine reads its own command
// topics, as it does live.
type broker struct {
	up       bool
	online   []bool // of each node
	retained []message
	owner    *machine.OwnerSeen
}

type message struct {
	topic    string
	payload  []byte
	retained bool
}

// latency is how long a message takes; our own choice, an ordinary network in a house.
const latency = 40 * time.Millisecond

func (w *world) codec(id string) *node.Codec {
	for i := range w.o.Nodes {
		if c := w.o.Nodes[i].Codec; c.ID() == id {
			return c
		}
	}
	return nil
}

// sendRun is false if the command never left.
func (w *world) sendRun(r machine.SendRun) bool {
	c := w.codec(r.Node)
	if c == nil || !w.broker.up || w.mono > r.NotAfter {
		return false
	}
	topic, payload := c.Run(r)
	w.publish(message{topic: topic, payload: payload})
	return true
}

// publish hands a message to the broker, if it can be reached.
func (w *world) publish(m message) {
	if !w.broker.up {
		return
	}
	if m.retained {
		w.broker.keep(m)
	}
	w.after(latency, func() {
		w.deliver(message{topic: m.topic, payload: m.payload})
		w.hand(m)
	})
}

// own keeps the owner record, which is retained, and lets the machine see it. It is the only message that is not
// written as text: its text would be read twice a minute, and nothing in it could change on the way.
func (w *world) own(record machine.OwnerSeen) {
	if !w.broker.up {
		return
	}
	w.broker.owner = &record
	if record.Gone {
		w.broker.owner = nil
	}
	w.after(latency, func() {
		if w.broker.up {
			w.step(record)
		}
	})
}

func (b *broker) keep(m message) {
	for i := range b.retained {
		if b.retained[i].topic == m.topic {
			b.retained[i] = m
			return
		}
	}
	b.retained = append(b.retained, m)
}

// deliver gives the machine a message on one of the topics that it has subscribed to.
func (w *world) deliver(m message) {
	if !w.broker.up {
		return
	}
	for i := range w.o.Nodes {
		heard, handled, err := w.o.Nodes[i].Codec.Parse(m.topic, m.payload, m.retained)
		if !handled {
			continue
		}
		if err != nil {
			code := safety.BadPayload
			if e := (*node.Error)(nil); errors.As(err, &e) {
				code = e.Code
			}
			w.step(machine.Misread{Topic: m.topic, Code: code, Text: err.Error()})
			continue
		}
		for _, e := range heard.Events {
			w.step(e)
		}
	}
}

// hand gives a command to the node that listens to its topic.
func (w *world) hand(m message) {
	for i := range w.o.Nodes {
		n := &w.o.Nodes[i]
		if !w.broker.online[i] || !w.broker.up {
			continue
		}
		for _, t := range n.Codec.CommandTopics() {
			if t.Topic != m.topic {
				continue
			}
			kind := simnode.Run
			if t.Stop {
				kind = simnode.Stop
			}
			out := n.Sim.Receive(w.wall(), simnode.Command{Kind: kind, Output: sort.SearchInts(n.Outputs, t.Output) + 1, Payload: m.payload})
			w.moved(i)
			w.say(i, out)
			w.feed()
			break
		}
	}
}

// feed gives the pumps behind each supply relay what its contact lets through.
func (w *world) feed() {
	for i := range w.o.Nodes {
		if s, ok := w.o.Nodes[i].Sim.(*simnode.Supply); ok {
			for _, c := range w.o.Site.Channels {
				if c.Supply == w.o.Nodes[i].Codec.ID() {
					w.node(c.Node).Sim.Feed(w.wall(), s.Flowing(1))
				}
			}
		}
	}
}

func (w *world) node(id string) *Node {
	for i := range w.o.Nodes {
		if n := &w.o.Nodes[i]; n.Codec.ID() == id {
			return n
		}
	}
	return nil
}

// switchOn is the keeper at a supply relay.
func (w *world) switchOn(id string) {
	for i := range w.o.Nodes {
		if s, ok := w.o.Nodes[i].Sim.(*simnode.Supply); ok && w.o.Nodes[i].Codec.ID() == id {
			w.say(i, s.Close(w.wall()))
			w.feed()
		}
	}
}

func (w *world) nodeWakes(i int) {
	out := w.o.Nodes[i].Sim.Advance(w.wall())
	w.moved(i)
	w.say(i, out)
}

// say publishes what a node says, if it can.
func (w *world) say(i int, out []simnode.Out) {
	if !w.broker.online[i] {
		return
	}
	n := &w.o.Nodes[i]
	for _, o := range out {
		topic := n.Codec.OnlineTopic()
		if o.Role != simnode.Online {
			for _, t := range n.Codec.ReportTopics() {
				if t.Output == n.Outputs[max(0, o.Output-1)] {
					topic = t.Topic
				}
			}
		}
		w.publish(message{topic, o.Payload, o.Retained})
	}
}

// beatOf lets a node say that it is there as often as it does.
func (w *world) beatOf(i int) {
	for _, cfg := range w.o.Site.Nodes {
		if cfg.ID != w.o.Nodes[i].Codec.ID() || cfg.OnlineEvery <= 0 {
			continue
		}
		w.after(cfg.OnlineEvery, func() {
			w.say(i, w.o.Nodes[i].Sim.Connect(w.wall()))
			w.beatOf(i)
		})
	}
}

func outageText(name string) string {
	if name == Broker {
		return "the outage of the broker"
	}
	return "the outage of node " + name
}

// fails cuts a node's power, or the broker off. A pump stands still from then on.
func (w *world) fails(name string) {
	w.rec.note(w.wall(), outageText(name)+" begins")
	if name == Broker {
		w.broker.up = false
		w.step(machine.LinkChanged{Up: false})
		return
	}
	for i := range w.o.Nodes {
		if n := &w.o.Nodes[i]; n.Codec.ID() == name {
			n.Sim.Reboot(w.wall()) // what it says nobody hears
			w.moved(i)
			w.broker.online[i] = false
			will := n.Sim.Will(w.wall())
			w.publish(message{n.Codec.OnlineTopic(), will.Payload, will.Retained})
		}
	}
}

// returns brings back what failed. A broker first has its nodes back, then the service.
func (w *world) returns(name string) {
	w.rec.note(w.wall(), outageText(name)+" ends")
	if name == Broker {
		w.broker.up = true
	}
	for i := range w.o.Nodes {
		n := &w.o.Nodes[i]
		if n.Codec.ID() == name {
			w.broker.online[i] = true
		}
		if n.Codec.ID() == name || name == Broker {
			w.say(i, n.Sim.Connect(w.wall()))
		}
	}
	if name == Broker {
		w.step(machine.LinkChanged{Up: true})
		if w.broker.owner != nil {
			w.step(*w.broker.owner)
		}
		for _, m := range w.broker.retained {
			if len(m.payload) > 0 {
				w.deliver(m)
			}
		}
	}
}
