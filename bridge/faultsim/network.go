package faultsim

import (
	"errors"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/node"
	"aliquot/bridge/simnode"
	"aliquot/safety"
)

// broker carries messages between daemons and nodes, and keeps what is retained.
type broker struct {
	up       bool
	retained []message
	owner    *machine.OwnerSeen
}

// message is on its way. What the wire knows of a run travels with it, for the checker.
type message struct {
	topic    string
	payload  []byte
	retained bool
	flight   *flight // of a run command
}

// network says what happens to messages, and what the probes see.
type network struct {
	loseRuns, loseStops, loseReports int // percent
	delayRuns, delayReports          time.Duration
	doubleRuns, doubleSaid, noEcho   bool
	cut                              int // reasons for which the daemon has no connection
	ph                               float64
	leak, noProbe                    bool
}

// latency of one way through the broker; our own choice, a house's network.
func (w *world) latency() time.Duration { return time.Duration(5+w.chance.IntN(40)) * time.Millisecond }

// connect opens the process's connection: the event, then everything that the broker retains.
func (p *process) connect() {
	w := p.h.w
	if !p.alive() || p.linkUp || !w.broker.up || p.h.index == 0 && w.net.cut > 0 {
		return
	}
	p.linkUp, p.session, p.hung = true, p.session+1, halfOpen{}
	w.check.connected(p)
	for _, run := range p.unsent {
		p.send(run)
	}
	p.unsent = nil
	p.offer(machine.LinkChanged{Up: true})
	if w.broker.owner != nil {
		w.hear(p, item{event: *w.broker.owner})
	}
	for _, m := range w.broker.retained {
		w.hear(p, item{message: &m})
	}
}

func (p *process) disconnect() {
	if p.alive() && p.linkUp {
		p.linkUp, p.session = false, p.session+1
		p.offer(machine.LinkChanged{})
	}
}

// hear brings something to a process, over the connection that it has now.
func (w *world) hear(p *process, i item) {
	session := p.session
	w.after(w.latency(), func() {
		if p.session == session && p.linkUp && !p.hung.in && w.broker.up {
			p.take(i)
		}
	})
}

func (w *world) own(seen machine.OwnerSeen) {
	if !w.broker.up {
		return
	}
	w.broker.owner = &seen
	if seen.Gone {
		w.broker.owner = nil
	}
	for _, h := range w.hosts {
		if h.p != nil && h.p.linkUp {
			w.hear(h.p, item{event: seen})
		}
	}
}

func (p *process) codec(id string) *node.Codec {
	for _, c := range p.codecs {
		if c.ID() == id {
			return c
		}
	}
	return nil
}

// heard reads a message as the real shell does.
func (p *process) heard(m message) []machine.Event {
	for _, c := range p.codecs {
		heard, handled, err := c.Parse(m.topic, m.payload, m.retained)
		if !handled {
			continue
		}
		if err != nil {
			code := safety.BadPayload
			if e := (*node.Error)(nil); errors.As(err, &e) {
				code = e.Code
			}
			return []machine.Event{machine.Misread{Topic: m.topic, Code: code, Text: err.Error()}}
		}
		return heard.Events
	}
	return nil
}

// sendRun is false if the command never left.
func (p *process) sendRun(r machine.SendRun) bool {
	if !p.linkUp || p.h.instant().Mono > r.NotAfter {
		return false
	}
	p.send(r)
	return true
}

func (p *process) send(r machine.SendRun) {
	w := p.h.w
	w.stats.Runs++
	f := &flight{SendRun: r, host: p.h.index, copy: p.h.copy, channel: w.channelAt(r.Node, r.Output)}
	w.check.sent(w, p, f)
	w.note("host %d: run %s of %s, %d µL in %d ms (%s, %s %s)", p.h.index, short(r.Run), r.Channel, r.Volume, r.Duration, r.Purpose, r.Into, r.Slot)
	topic, payload := p.codec(r.Node).Run(r)
	p.publish(message{topic: topic, payload: payload, flight: f})
}

func short(run string) string { return run[max(0, len(run)-5):] }

func (p *process) sendStop(s machine.StopRuns) {
	w := p.h.w
	if !p.linkUp {
		return
	}
	w.check.stopped(w, p, s)
	topic, payload := p.codec(s.Node).Stop(s)
	p.publish(message{topic: topic, payload: payload})
}

// publish hands a message to the connection. What hangs in it dies with it.
func (p *process) publish(m message) {
	w := p.h.w
	if !p.linkUp || p.hung.out {
		return
	}
	w.after(w.latency(), func() { w.route(m) })
}

// route is the broker passing a message on.
func (w *world) route(m message) {
	if !w.broker.up {
		return
	}
	if m.retained {
		w.broker.keep(m)
	}
	live := m
	live.retained = false
	command, run, toBoard := w.commandOf(m)
	for _, h := range w.hosts {
		if h.p != nil && h.p.linkUp && !(command && w.net.noEcho) && !w.lost(m, command) {
			w.pass(h.p, live, command)
		}
	}
	if !command || w.percent(w.lossOf(run)) {
		return
	}
	delay := w.latency()
	if run && w.net.delayRuns > 0 {
		delay += time.Duration(w.chance.Int64N(int64(w.net.delayRuns)))
	}
	w.after(delay, func() { w.hand(live) })
	if run && toBoard && w.net.doubleRuns { // a node that does not know ids gets nothing twice (A6)
		w.after(delay+time.Duration(w.chance.IntN(3000))*time.Millisecond, func() { w.hand(live) })
	}
}

func (w *world) lossOf(run bool) int {
	if run {
		return w.net.loseRuns
	}
	return w.net.loseStops
}

func (w *world) lost(m message, command bool) bool {
	return !command && w.percent(w.net.loseReports) && !w.isOnline(m.topic)
}

// pass brings a message to a process; reports may dawdle and come twice.
func (w *world) pass(p *process, m message, command bool) {
	if command || w.isOnline(m.topic) || w.net.delayReports == 0 {
		w.hear(p, item{message: &m})
	} else {
		session := p.session
		w.after(time.Duration(w.chance.Int64N(int64(w.net.delayReports))), func() {
			if p.session == session {
				w.hear(p, item{message: &m})
			}
		})
	}
	if !command && w.net.doubleSaid {
		w.hear(p, item{message: &m})
	}
}

func (w *world) isOnline(topic string) bool {
	for _, n := range w.nodes {
		if n.codec.OnlineTopic() == topic {
			return true
		}
	}
	return false
}

// commandOf tells whether a message lies on a command topic, is a run, and goes to a node that knows ids.
func (w *world) commandOf(m message) (command, run, toBoard bool) {
	for _, n := range w.nodes {
		for _, t := range n.codec.CommandTopics() {
			if t.Topic == m.topic {
				return true, m.flight != nil, n.id == board
			}
		}
	}
	return false, false, false
}

func (b *broker) keep(m message) {
	for i := range b.retained {
		if b.retained[i].topic == m.topic {
			b.retained = append(b.retained[:i:i], b.retained[i+1:]...)
			break
		}
	}
	if len(m.payload) > 0 {
		b.retained = append(b.retained, m)
	}
}

// hand gives a command to the node that listens to its topic.
func (w *world) hand(m message) {
	for _, n := range w.nodes {
		for _, t := range n.codec.CommandTopics() {
			if t.Topic != m.topic || n.away > 0 || n.hangs > 0 || !w.broker.up || len(m.payload) == 0 {
				continue
			}
			kind := simnode.Run
			if t.Stop {
				kind = simnode.Stop
			}
			was := n.sim.Running(t.Output)
			out := n.sim.Receive(w.trueTime(), simnode.Command{Kind: kind, Output: t.Output, Payload: m.payload, Retained: m.retained})
			w.drain(n)
			if m.flight != nil {
				n.obeyed(w, t.Output, was, m.flight)
			}
			w.say(n, out)
			return
		}
	}
}
