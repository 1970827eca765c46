package node

import (
	"fmt"
	"slices"

	"aliquot/bridge/machine"
)

// Codec speaks for one node. It belongs to one goroutine.
type Codec struct {
	spec    Spec
	on, off template // switch
	outputs []output // in the order of the spec
	byTopic map[string]entry
	sent    memory
}

// output holds the rendered topics of one output.
type output struct {
	number                           int
	run, stop, report, state, onPath string // run is the command topic of a switch, which has no stop topic
}

// role is what a topic is for.
type role int

const (
	roleCommand role = iota // run of a bounded-run node, or command of a switch
	roleStop
	roleReport
	roleState
	roleOnline
)

func (r role) String() string {
	return [...]string{"run or command", "stop", "report", "state", "online"}[r]
}

// entry is one topic with the outputs that share it.
type entry struct {
	role    role
	outputs []int // indexes into Codec.outputs
}

// Topic is one topic of an output.
type Topic struct {
	Topic  string
	Output int
	Stop   bool // the stop topic of a bounded-run node
}

// ID gives the node's name.
func (c *Codec) ID() string { return c.spec.ID }

// Style gives the node's style.
func (c *Codec) Style() machine.Style { return c.spec.Style }

// CommandTopics gives the topics on which the node hears: per output its run or command topic and, for a bounded-run
// node, its stop topic. Outputs that share a topic are listed each. Nobody but us may publish there, but for a supply
// relay: a person closes that.
func (c *Codec) CommandTopics() []Topic {
	var all []Topic
	for _, o := range c.outputs {
		all = append(all, Topic{Topic: o.run, Output: o.number})
		if o.stop != "" {
			all = append(all, Topic{Topic: o.stop, Output: o.number, Stop: true})
		}
	}
	return all
}

// ReportTopics gives the topics on which the outputs' reports or states come. Outputs that share a topic are
// listed each.
func (c *Codec) ReportTopics() []Topic {
	var all []Topic
	for _, o := range c.outputs {
		topic := o.report
		if c.spec.Style != machine.BoundedRun {
			topic = o.state
		}
		all = append(all, Topic{Topic: topic, Output: o.number})
	}
	return all
}

// OnlineTopic gives the topic of the node's will and birth.
func (c *Codec) OnlineTopic() string { return c.spec.Online.Topic }

// Subscriptions gives every topic that must be subscribed to, each once: what the node says, and our own
// command topics, on which nobody else may write and nothing may be retained (H-04, H-37). What a supply relay is told
// by others is theirs; its state says what came of it.
func (c *Codec) Subscriptions() []string {
	all := []string{c.spec.Online.Topic}
	topics := c.ReportTopics()
	if c.spec.Style != machine.Supply {
		topics = append(topics, c.CommandTopics()...)
	}
	for _, t := range topics {
		if !slices.Contains(all, t.Topic) {
			all = append(all, t.Topic)
		}
	}
	return all
}

// at gives an output by its number. An unknown one is a bug of the caller: the machine commands outputs of the
// configuration only.
func (c *Codec) at(number int) (int, output) {
	for i, o := range c.outputs {
		if o.number == number {
			return i, o
		}
	}
	panic(fmt.Sprintf("node: %s has no output %d", c.spec.ID, number))
}

// Distinct tells whether several nodes keep their topics apart: a topic may belong to one node only, but for the
// online topic, which several nodes inside one device may share.
func Distinct(codecs ...*Codec) error {
	type owner struct {
		node string
		role role
	}
	seen := map[string]owner{}
	for _, c := range codecs {
		for _, topic := range c.Subscriptions() {
			mine := owner{c.spec.ID, c.byTopic[topic].role}
			other, taken := seen[topic]
			if taken && !(mine.role == roleOnline && other.role == roleOnline) {
				return fmt.Errorf("nodes.%s: the topic %q is its %s topic and the %s topic of node %s: each node needs its own", mine.node, topic, mine.role, other.role, other.node)
			}
			seen[topic] = mine
		}
	}
	return nil
}
