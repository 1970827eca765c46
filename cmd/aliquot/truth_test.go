package main

import (
	"context"
	"io"
	"sync"
	"time"

	"aliquot/bridge"
	"aliquot/bridge/machine"
	"aliquot/bridge/simnode"
)

// truth is what really left the outputs of a site: its pump nodes run in the test's own process and are asked for nothing
// but that.
type truth struct {
	mu      sync.Mutex
	ml      map[channelAt]float64
	longest map[channelAt]time.Duration // of one delivery without a break
}

// truly starts the nodes of a site inside the test and integrates what they deliver.
func (r *rig) truly() *truth {
	r.t.Helper()
	l, err := load(r.configOf("nodes"))
	if err != nil {
		r.t.Fatal(err)
	}
	w := &truth{ml: map[channelAt]float64{}, longest: map[channelAt]time.Duration{}}
	ctx, cancel := context.WithCancel(context.Background())
	clock := bridge.NewSystemClock(bridge.KernelSynced)
	var nodes []*pumpNode
	for _, cfg := range l.Nodes {
		p, err := newPumpNode(l, cfg, clock, 0)
		if err != nil {
			r.t.Fatal(err)
		}
		p.moved = w.add
		nodes = append(nodes, p)
	}
	mark, ended := r.spy.mark(), make(chan error, 1)
	go func() { ended <- runNodes(ctx, stream{out: io.Discard, err: io.Discard}, l, nodes) }()
	r.t.Cleanup(func() { cancel(); <-ended })
	r.spy.await(mark, "the board", on(r.quay.Site+"/board/online", "1"))
	for _, relay := range []string{"timed", "fixed"} {
		r.spy.await(mark, relay, on(r.quay.Site+"/"+relay+"/online", "true"))
	}
	return w
}

func (w *truth) add(at channelAt, d simnode.Delivery) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.ml[at] += d.Microlitres / 1000
	w.longest[at] = max(w.longest[at], d.To.Sub(d.From))
}

func (w *truth) of(at channelAt) float64 {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.ml[at]
}

// longestOf is how long an output ran at most without a break.
func (w *truth) longestOf(at channelAt) time.Duration {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.longest[at]
}

// alkAt and traceAt are where the channels of these tests are.
var alkAt, traceAt = channelAt{"board", 1}, channelAt{"timed", 0}

// booked is the most that the runs of a channel can have moved, by the ledger, mL: what the caps count. A run without an
// outcome counts in full.
func (r *rig) booked(channel string) float64 {
	r.t.Helper()
	reserved, ended := r.runs()
	var sum float64
	for _, run := range reserved {
		if run.Channel != channel {
			continue
		}
		hi := run.Worst.Millilitres() * (1 + float64(run.Tolerance)/1000)
		if e, ok := ended[run.Run]; ok {
			hi = e.Hi.Millilitres()
		}
		sum += hi
	}
	return sum
}

// checkTruth holds INV-1 by what really left the outputs, against the caps and against the books.
func (r *rig) checkTruth(w *truth, caps map[string]float64) {
	r.t.Helper()
	for channel, at := range map[string]channelAt{"alk": alkAt, "trace": traceAt} {
		given := w.of(at) // before the books are read, which may only grow
		if booked := r.booked(channel); given > booked+0.001 {
			r.t.Errorf("%s truly gave %.3f mL, the ledger books at most %.3f mL", channel, given, booked)
		}
		if given > caps[channel]+0.001 {
			r.t.Errorf("%s truly gave %.3f mL within the test, its cap of a day is %.3f mL", channel, given, caps[channel])
		}
	}
}

// lift ends the lockouts that dying often brings, and lets the channels rest no longer.
func (r *rig) lift() {
	r.t.Helper()
	for _, fields := range []string{`"all":true,"code":"too_many_restarts"`, `"channel":"alk","code":"fault"`, `"channel":"trace","code":"fault"`} {
		r.ask(machine.VerbClear, fields) // there may be none
	}
}
