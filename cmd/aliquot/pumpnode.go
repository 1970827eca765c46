package main

import (
	"context"
	"fmt"
	"log/slog"
	"regexp"
	"sort"
	"strconv"
	"strings"
	"time"

	"aliquot/bridge"
	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt"
	"aliquot/bridge/node"
	"aliquot/bridge/simnode"
	"aliquot/config"
	"aliquot/safety"
)

// pumpNode is a simulated node of a configuration with an MQTT client of its own. It knows the daemon only by
// the messages that a real device would see.
type pumpNode struct {
	cfg     config.Node
	codec   *node.Codec
	outputs []int // of the configuration, in the order of the simulated node's outputs
	sim     simnode.Node
	clock   bridge.Clock
	client  *mqtt.Client
	inbox   chan mqtt.Message
	up      chan struct{}
	// behind are the nodes whose pumps a supply relay feeds; fed is told when this node's supply changes.
	behind []*pumpNode
	fed    chan bool
	// moved is told what left an output; nil where nobody asks.
	moved func(channelAt, simnode.Delivery)
	// speaks is called before a report leaves that the device makes of its own accord; nil where nobody asks.
	speaks func()
}

// channelAt names an output as the configuration does.
type channelAt struct {
	node   string
	output int
}

// newPumpNode simulates the node of a site; rateError is how far its pumps are off their nominal rates.
func newPumpNode(l loaded, cfg config.Node, clock bridge.Clock, rateError float64) (*pumpNode, error) {
	p := &pumpNode{cfg: cfg, clock: clock, inbox: make(chan mqtt.Message, 256), up: make(chan struct{}, 1), fed: make(chan bool, 16)}
	for _, c := range l.codecs {
		if c.ID() == cfg.ID {
			p.codec = c
		}
	}
	var rates []float64
	for _, o := range nodeOutputs(l, cfg.ID) {
		p.outputs = append(p.outputs, o.number)
		rates = append(rates, o.rate*(1+rateError))
	}
	if cfg.Style == config.Supply {
		p.outputs = []int{machine.SupplyOutput}
	}
	var err error
	p.sim, err = simulate(cfg, rates)
	return p, err
}

// feedEachOther tells the supply relays among simulated nodes whose pumps they feed.
func feedEachOther(nodes []*pumpNode) {
	for _, s := range nodes {
		for _, p := range nodes {
			if p.cfg.Supply == s.cfg.ID {
				s.behind = append(s.behind, p)
			}
		}
	}
}

// simulate makes a node that behaves as the configuration says, with pumps of these true rates, mL/min.
func simulate(cfg config.Node, rates []float64) (simnode.Node, error) {
	if cfg.Style == config.Switch {
		return simnode.NewRelay(simnode.RelayOptions{RatesMLPerMin: rates, OnOff: onOff(cfg), AutoOff: cfg.AutoOff,
			StateOn: stateText(cfg.State, cfg.State.On), StateOff: stateText(cfg.State, cfg.State.Off),
			Up: []byte(cfg.Online.Up), Down: []byte(cfg.Online.Down), StateQoS: 1})
	}
	if cfg.Style == config.Supply {
		return simnode.NewSupply(simnode.SupplyOptions{Off: pattern(cfg.Off).Match, StateOn: stateText(cfg.State, cfg.State.On), StateOff: stateText(cfg.State, cfg.State.Off),
			Up: []byte(cfg.Online.Up), Down: []byte(cfg.Online.Down)})
	}
	return simnode.NewBoard(simnode.BoardOptions{RatesMLPerMin: rates, MaxRun: safety.RunMax.Duration(), Boot: 1, IDAware: true, HasClock: true,
		Up: []byte(cfg.Online.Up), Down: []byte(cfg.Online.Down)})
}

// nodeOutput is an output that a channel uses, with the rate that its pump should have, mL/min.
type nodeOutput struct {
	number int
	rate   float64
}

// nodeOutputs gives the outputs of a node in the order of their numbers.
func nodeOutputs(l loaded, node string) []nodeOutput {
	const unknown = 10 // mL/min, an ordinary small pump (common practice)
	var out []nodeOutput
	for _, ch := range l.Channels {
		if ch.Node != node {
			continue
		}
		rate := ch.NominalRate.MillilitresPerMinute()
		if rate == 0 {
			rate = unknown
		}
		out = append(out, nodeOutput{ch.Output, rate})
	}
	sort.Slice(out, func(i, j int) bool { return out[i].number < out[j].number })
	return out
}

// stateText wraps a relay's state word into JSON where the configuration reads it at a path.
func stateText(s config.State, word string) []byte {
	if s.Path == "" {
		return []byte(word)
	}
	value := strconv.Quote(word)
	if word == "true" || word == "false" {
		value = word
	}
	keys := strings.Split(s.Path, ".")
	for i := len(keys) - 1; i >= 0; i-- {
		value = fmt.Sprintf("{%q:%s}", keys[i], value)
	}
	return []byte(value)
}

// onOff reads a relay's commands by the configuration's own templates.
func onOff(cfg config.Node) func([]byte) (bool, float64, bool) {
	on, off := pattern(cfg.On), pattern(cfg.Off)
	return func(payload []byte) (bool, float64, bool) {
		text := string(payload)
		if off.MatchString(text) {
			return false, 0, true
		}
		m := on.FindStringSubmatch(text)
		if m == nil {
			return false, 0, false
		}
		for i, name := range on.SubexpNames() {
			v, err := strconv.ParseFloat(m[i], 64)
			switch {
			case err != nil:
			case name == "Seconds":
				return true, v, true
			case name == "Millis":
				return true, v / 1000, true
			}
		}
		return true, 0, true
	}
}

var field = regexp.MustCompile(`\{\{-?\s*\.(\w+)\s*-?\}\}`)

// pattern makes a regular expression of a payload template: its text stands for itself, its fields for any word.
func pattern(template string) *regexp.Regexp {
	var b strings.Builder
	seen := map[string]bool{}
	rest := template
	for {
		at := field.FindStringSubmatchIndex(rest)
		if at == nil {
			break
		}
		b.WriteString(regexp.QuoteMeta(rest[:at[0]]))
		name := rest[at[2]:at[3]]
		if seen[name] {
			b.WriteString(`[^"{},]*`)
		} else {
			fmt.Fprintf(&b, `(?P<%s>[^"{},]*)`, name)
		}
		seen[name] = true
		rest = rest[at[1]:]
	}
	b.WriteString(regexp.QuoteMeta(rest))
	return regexp.MustCompile("^" + b.String() + "$")
}

// run connects and imitates the node until the context ends.
func (p *pumpNode) run(ctx context.Context, l loaded) error {
	o := brokerOptions(l, "node-"+p.cfg.ID+"-"+randomName())
	o.Logger = slog.New(slog.DiscardHandler)
	will := p.sim.Will(p.clock.Now().Wall)
	o.Will = mqtt.Message{Topic: p.codec.OnlineTopic(), Payload: will.Payload, QoS: 1, Retained: true}
	seen := map[string]bool{}
	for _, t := range p.codec.CommandTopics() {
		if !seen[t.Topic] {
			seen[t.Topic] = true
			o.Subscriptions = append(o.Subscriptions, mqtt.Subscription{Filter: t.Topic, QoS: 0})
		}
	}
	o.OnMessage = func(m mqtt.Message) {
		select {
		case p.inbox <- m:
		default: // a flooded device loses messages too
		}
	}
	o.OnUp = func() { notify(p.up, struct{}{}) }
	var err error
	if p.client, err = mqtt.New(o); err != nil {
		return err
	}
	ended := make(chan error, 1)
	connection, cut := context.WithCancel(context.WithoutCancel(ctx))
	go func() { ended <- p.client.Run(connection) }()
	p.live(ctx)
	cut()
	return <-ended
}

// live is the device's own loop.
func (p *pumpNode) live(ctx context.Context) {
	for {
		now := p.clock.Now()
		wake := now.Mono + time.Hour
		if at, ok := p.sim.NextWake(); ok {
			wake = now.Mono + at.Sub(now.Wall)
		}
		if p.cfg.Online.Every > 0 {
			wake = min(wake, now.Mono+p.cfg.Online.Every)
		}
		ring, drop := p.clock.WakeAt(wake)
		select {
		case <-ctx.Done():
			drop()
			p.say([]simnode.Out{p.sim.Will(p.clock.Now().Wall)})
			return
		case <-p.up:
			p.say(p.sim.Connect(p.clock.Now().Wall))
		case m := <-p.inbox:
			p.receive(m)
		case on := <-p.fed:
			p.sim.Feed(p.clock.Now().Wall, on)
		case <-ring:
			out := p.sim.Advance(p.clock.Now().Wall)
			if len(out) > 0 && p.speaks != nil {
				p.speaks()
			}
			p.say(out)
			if p.cfg.Online.Every > 0 {
				p.say(p.sim.Connect(p.clock.Now().Wall))
			}
		}
		drop()
		p.tellMoved()
	}
}

func (p *pumpNode) receive(m mqtt.Message) {
	if s, ok := p.sim.(*simnode.Supply); ok {
		p.receiveSupply(s, m)
		return
	}
	for _, t := range p.codec.CommandTopics() {
		if t.Topic != m.Topic {
			continue
		}
		kind := simnode.Run
		if t.Stop {
			kind = simnode.Stop
		}
		p.say(p.sim.Receive(p.clock.Now().Wall, simnode.Command{Kind: kind, Output: p.simOutput(t.Output), Payload: m.Payload, Retained: m.Retained}))
		return
	}
}

// receiveSupply obeys the service's off, and a person's on: the word that its state has for that.
func (p *pumpNode) receiveSupply(s *simnode.Supply, m mqtt.Message) {
	now, was := p.clock.Now().Wall, s.Flowing(1)
	if string(m.Payload) == p.cfg.State.On {
		p.say(s.Close(now))
	} else {
		p.say(s.Receive(now, simnode.Command{Output: 1, Payload: m.Payload, Retained: m.Retained}))
	}
	if is := s.Flowing(1); is != was {
		for _, b := range p.behind {
			b.fed <- is
		}
	}
}

func (p *pumpNode) simOutput(output int) int {
	return sort.SearchInts(p.outputs, output) + 1
}

// say publishes what the device says.
func (p *pumpNode) say(out []simnode.Out) {
	for _, o := range out {
		topic := p.codec.OnlineTopic()
		if o.Role != simnode.Online {
			for _, t := range p.codec.ReportTopics() {
				if t.Output == p.outputs[max(0, o.Output-1)] {
					topic = t.Topic
				}
			}
		}
		// A device that cannot reach its broker says nothing; the daemon has to live with that.
		_, _ = p.client.Publish(mqtt.Message{Topic: topic, Payload: o.Payload, QoS: o.QoS, Retained: o.Retained}, connectWait)
	}
}

func (p *pumpNode) tellMoved() {
	if p.moved == nil {
		return
	}
	for _, d := range p.sim.Drain(nil) {
		p.moved(channelAt{p.cfg.ID, p.outputs[d.Output-1]}, d)
	}
}
