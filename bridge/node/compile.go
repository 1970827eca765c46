package node

import (
	"encoding/json"
	"strings"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// Compile checks a spec and renders everything that can be rendered. The error is *Problems and names every
// mistake at once.
func Compile(s Spec) (*Codec, error) {
	c := &Codec{spec: s, byTopic: map[string]entry{}, sent: memory{}}
	p := &Problems{Node: s.ID}
	if s.Style == machine.Supply {
		c.spec.Outputs = []int{machine.SupplyOutput}
	}
	c.number(p)
	switch s.Style {
	case machine.BoundedRun:
		c.compileBoard(p)
	case machine.Switch:
		c.compileSwitch(p)
	case machine.Supply:
		c.compileSupply(p)
	default:
		p.add("style", "is %q: it must be %s, %s or %s", s.Style, machine.BoundedRun, machine.Switch, machine.Supply)
	}
	c.compileOnline(p)
	if len(p.All) == 0 {
		c.enter(p)
	}
	if len(p.All) > 0 {
		return nil, p
	}
	return c, nil
}

// number takes the outputs over.
func (c *Codec) number(p *Problems) {
	seen := map[int]bool{}
	for _, n := range c.spec.Outputs {
		if n < 0 || n > 255 {
			p.add("", "output %d: outputs are 0 to 255", n)
		}
		if seen[n] {
			p.add("", "output %d is used by two channels: each needs its own", n)
			continue
		}
		seen[n] = true
		c.outputs = append(c.outputs, output{number: n})
	}
}

func (c *Codec) compileBoard(p *Problems) {
	c.topics(p, "run", c.spec.Run, func(o *output) *string { return &o.run })
	c.topics(p, "stop", c.spec.Stop, func(o *output) *string { return &o.stop })
	c.topics(p, "report", c.spec.Report, func(o *output) *string { return &o.report })
	for i, o := range c.outputs {
		for _, earlier := range c.outputs[:i] {
			if o.run == earlier.run && o.run != "" {
				p.add("run", "is %q for output %d and for output %d: put {{.Output}} into it, a run does not say its output", o.run, earlier.number, o.number)
				return
			}
		}
	}
}

// topics renders a topic template for every output.
func (c *Codec) topics(p *Problems, key, text string, into func(*output) *string) {
	t, err := parseTemplate(text, topicFields)
	if err != nil {
		p.add(key, "%v", err)
		return
	}
	if len(c.outputs) == 0 {
		if why := topicTrouble(t.render(values{output: 1})); why != "" {
			p.add(key, "%q %s", text, why)
		}
	}
	for i := range c.outputs {
		o := &c.outputs[i]
		topic := t.render(values{output: o.number})
		if why := topicTrouble(topic); why != "" {
			p.add(key, "%q %s", topic, why)
			return
		}
		*into(o) = topic
	}
}

func (c *Codec) compileSwitch(p *Problems) {
	c.topics(p, "command", c.spec.Command, func(o *output) *string { return &o.run })
	c.on = c.payload(p, "on", c.spec.On, onFields)
	c.off = c.payload(p, "off", c.spec.Off, offFields)
	if c.spec.AutoOff < 0 || c.spec.AutoOff > safety.RunMax {
		p.add("auto_off", "is %v: a relay's own time is above 0 and at most %v", c.spec.AutoOff.Duration(), safety.RunMax.Duration())
	}
	if len(c.on) > 0 && len(c.off) > 0 {
		c.checkBounded(p)
		c.checkDiffer(p)
		c.checkShared(p)
	}
	c.compileState(p)
}

// compileSupply reads a supply relay, which is told to go off and nothing else.
func (c *Codec) compileSupply(p *Problems) {
	c.topics(p, "command", c.spec.Command, func(o *output) *string { return &o.run })
	c.off = c.payload(p, "off", c.spec.Off, supplyFields)
	c.compileState(p)
}

// samples are commands whose renderings stand for all: templates have neither branches nor functions.
func (c *Codec) samples() []values {
	at := time.Date(2027, time.March, 2, 9, 0, 10, 0, time.UTC)
	short := values{output: 1, serial: 1, run: "01JNX3V9M2K4Q7R8S5T6W0YZAB", time: 1, volume: 1, expires: at}
	long := values{output: 1, serial: 1, run: short.run, time: safety.RunMax, volume: 99999, expires: at}
	all := []values{short, long}
	for _, o := range c.outputs {
		s := short
		s.output, s.serial, s.time, s.volume = o.number, 1<<40, 19600, 3200
		all = append(all, s)
	}
	return all
}

// payload reads a payload template and renders it with samples.
func (c *Codec) payload(p *Problems, key, text string, allowed []string) template {
	t, err := parseTemplate(text, allowed)
	if err != nil {
		p.add(key, "%v", err)
		return nil
	}
	for _, v := range c.samples() {
		s := t.render(v)
		switch bare := strings.TrimSpace(s); {
		case bare == "":
			p.add(key, "is empty: an empty payload commands nothing")
			return nil
		case len(s) > safety.MaxPayload:
			p.add(key, "is %d bytes long, at most %d", len(s), safety.MaxPayload)
			return nil
		case strings.ContainsAny(bare[:1], `{["`) && !json.Valid([]byte(s)):
			p.add(key, "looks like JSON and is not: with sample values it reads %s", s)
			return nil
		}
	}
	return t
}

// checkBounded makes sure that the relay ends each run by itself: the command tells the time, or the relay has
// a fixed one (H-02).
func (c *Codec) checkBounded(p *Problems) {
	short := c.samples()[0]
	long := short
	long.time = safety.RunMax
	carriesTime := c.on.render(short) != c.on.render(long)
	if !carriesTime && c.spec.AutoOff == 0 {
		p.add("on", "reads the same for 1 ms and for 600 s: put {{.Seconds}} or {{.Millis}} where the relay takes its on-time, or set auto_off to the time fixed inside the relay")
	}
	if field, ok := c.on.touching(); ok {
		p.add("on", "has {{.%s}} directly beside a digit, a point or another field, which would change the time: put something between", field)
	}
}

func (c *Codec) checkDiffer(p *Problems) {
	for _, v := range c.samples() {
		if off := c.off.render(v); off == c.on.render(v) {
			p.add("off", "reads the same as on: %s", off)
			return
		}
	}
}

// checkShared makes sure that outputs on one command topic are told apart by the payload.
func (c *Codec) checkShared(p *Problems) {
	if len(c.outputs) < 2 || c.outputs[0].run != c.outputs[1].run {
		return
	}
	if !c.on.uses(fieldOutput) || !c.off.uses(fieldOutput) {
		p.add("command", "is %q for every output: put {{.Output}} into it, or into both on and off", c.outputs[0].run)
	}
}

func (c *Codec) compileState(p *Problems) {
	c.topics(p, "state.topic", c.spec.State.Topic, func(o *output) *string { return &o.state })
	path, err := parseTemplate(c.spec.State.Path, topicFields)
	if err != nil {
		p.add("state.path", "%v", err)
	}
	for i := range c.outputs {
		c.outputs[i].onPath = path.render(values{output: c.outputs[i].number})
	}
	if len(c.outputs) > 1 && c.outputs[0].state == c.outputs[1].state && c.outputs[0].onPath == c.outputs[1].onPath {
		p.add("state.topic", "is %q for every output: put {{.Output}} into it, or into state.path", c.outputs[0].state)
	}
	if c.spec.State.On == "" || c.spec.State.Off == "" || c.spec.State.On == c.spec.State.Off {
		p.add("state", "on is %q and off is %q: both are needed, and they must differ", c.spec.State.On, c.spec.State.Off)
	}
}

func (c *Codec) compileOnline(p *Problems) {
	o := c.spec.Online
	if strings.Contains(o.Topic, "{{") {
		p.add("online.topic", "has a template: a node has one online topic for all outputs")
	} else if why := topicTrouble(o.Topic); why != "" {
		p.add("online.topic", "%q %s", o.Topic, why)
	}
	if o.Up == "" || o.Down == "" || o.Up == o.Down {
		p.add("online", "up is %q and down is %q: both are needed, and they must differ", o.Up, o.Down)
	}
}

// enter fills the index of topics and refuses one topic with two meanings.
func (c *Codec) enter(p *Problems) {
	c.byTopic[c.spec.Online.Topic] = entry{role: roleOnline}
	for i, o := range c.outputs {
		c.enterOne(p, o.run, roleCommand, i)
		c.enterOne(p, o.stop, roleStop, i)
		c.enterOne(p, o.report, roleReport, i)
		c.enterOne(p, o.state, roleState, i)
		if c.spec.Style == machine.Supply {
			delete(c.byTopic, o.run) // it is anybody's: a person closes the relay there
		}
	}
}

func (c *Codec) enterOne(p *Problems, topic string, r role, i int) {
	if topic == "" {
		return
	}
	e, taken := c.byTopic[topic]
	if taken && e.role != r {
		p.add("", "the topic %q is its %s topic and its %s topic: they must differ", topic, e.role, r)
		return
	}
	c.byTopic[topic] = entry{role: r, outputs: append(e.outputs, i)}
}
