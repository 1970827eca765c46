package bridge

import (
	"context"
	"log/slog"
	"time"

	"aliquot/bridge/machine"
)

const (
	runWait   = 2 * time.Second        // for a command to leave
	stateWait = 500 * time.Millisecond // for the broker to take a message that only tells
	// stalledWait is what such a message gets while the broker does not answer: it is handed over, and nothing more.
	// Else the loop would stand still for each of them, and a stop would come too late (INV-11).
	stalledWait = 20 * time.Millisecond
)

// perform does what the machine says, in order, and gives the events that follow from it. Behind an append that
// failed only stops and removals are done.
func (b *Bridge) perform(effects []machine.Effect) (next []machine.Event) {
	broken := false
	for _, e := range effects {
		switch e := e.(type) {
		case machine.StopRuns:
			b.stopRuns(e)
		case machine.ClearRetained:
			b.clearRetained(e)
		case machine.Append:
			if err := b.o.Ledger.Append(e.Rows); err != nil {
				broken, b.torn = true, true
				next = append(next, machine.LedgerBroke{Text: err.Error()})
			}
		case machine.SendRun:
			if !broken && !b.sendRun(e) {
				next = append(next, machine.SendFailed{Run: e.Run})
			}
		default:
			if !broken {
				b.tell(e)
			}
		}
	}
	return next
}

// sendRun hands a run to the connection, if it is open and the run still fresh. It is false only if the command
// was certainly not handed over.
func (b *Bridge) sendRun(r machine.SendRun) bool {
	c := b.codec(r.Node)
	if c == nil || !b.o.Link.Open() || b.o.Clock.Now().Mono > r.NotAfter {
		return false
	}
	topic, payload := c.Run(r)
	handed, err := b.o.Link.Publish(Message{Topic: topic, Payload: payload}, runWait)
	if err != nil {
		b.o.Logger.Warn("a run command may not have left", "run", r.Run, "error", err)
	}
	return handed
}

func (b *Bridge) stopRuns(s machine.StopRuns) {
	c := b.codec(s.Node)
	if c == nil || !b.o.Link.Open() {
		b.unsaid++
		return
	}
	topic, payload := c.Stop(s)
	if _, err := b.o.Link.Publish(Message{Topic: topic, Payload: payload}, runWait); err != nil {
		b.unsaid++
		b.o.Logger.Warn("a stop command may not have left", "node", s.Node, "output", s.Output, "error", err)
	}
}

func (b *Bridge) clearRetained(e machine.ClearRetained) {
	if c := b.codec(e.Node); c != nil {
		b.publish(Message{Topic: c.Clear(e), QoS: 1, Retained: true})
	}
}

// stopPumps is for the moment when nothing else can be trusted.
func (b *Bridge) stopPumps() {
	for _, c := range b.o.Site.Channels {
		b.stopRuns(machine.StopRuns{Node: c.Node, Output: c.Output, Run: "*", Serial: 1})
	}
}

// tell performs the effects that only speak.
func (b *Bridge) tell(e machine.Effect) {
	switch e := e.(type) {
	case machine.Count:
		b.o.Metrics.Count(e)
	case machine.Log:
		b.o.Logger.Log(context.Background(), slog.Level(e.Level), e.Text, e.Args...)
	case machine.Announce:
		b.announce()
	default:
		b.publishEffect(e)
	}
}
