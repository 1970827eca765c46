//go:build !race

package main

import (
	"flag"
	"os"
	"slices"
	"testing"
	"time"

	"aliquot/bridge/mqtt/mosquittotest"
)

// How often TestThroughput compares. From five comparisons on it wants the median to be as README says.
var throughputRounds = flag.Int("throughput-rounds", 2, "rounds of the comparison with a bare subscriber")

const (
	offered    = 100_000 // messages a second, more than anybody can take here
	offeredFor = 3 * time.Second
	goodShare  = 0.7 // of what a bare subscriber takes; the median of five rounds or more
	worstShare = 0.4 // the best of a few, beside other tests
)

// TestThroughput floods the service with readings of 5000 probes, and a subscriber with nothing behind it with as many of the
// same kind: in turns, from the same publisher, through the same broker. Both have the same client library and subscriptions.
// What counts is what reaches the machine and its metrics, and the bare handler, from the first half second of the pouring to its
// end. No topic has more messages than the service reads of one.
func TestThroughput(t *testing.T) {
	broker := mosquittotest.Start(t, mosquittotest.Options{})
	b := barn{systems: 50, probes: 100}
	count := b.systems * b.probes
	r := b.rig(t, broker)
	p := launch(t, []string{os.Args[0], "run", "-c", r.config}, "the service", childEnv+"=1", headcountEnv+"=1")
	p.await("this instance owns the site")
	plain := r.startBare(count)
	out := flood(t, broker, "flooder")
	var shares []float64
	for round := range *throughputRounds {
		theirs, theirCost := plain.pace(out, count, other)
		_, before := p.taken()
		ours, ourCost := p.pace(out, count, own)
		_, after := p.taken()
		shares = append(shares, ours/theirs)
		t.Logf("round %d: a bare subscriber took %.0f messages a second, the service %.0f, %.2f of it; one took %.1f and %.1f µs of processor; the service dropped %d",
			round+1, theirs, ours, ours/theirs, theirCost, ourCost, after-before)
	}
	slices.Sort(shares)
	switch n := len(shares); {
	case n >= 5 && shares[n/2] < goodShare:
		t.Errorf("in the median the service took %.2f of what a bare subscriber took, must be at least %.1f", shares[n/2], goodShare)
	case shares[n-1] < worstShare:
		t.Errorf("at best the service took %.2f of what a bare subscriber took, must be at least %.1f", shares[n-1], worstShare)
	}
}

// pace pours readings of so many probes, and gives how many messages a second the process takes meanwhile, and what each takes of
// the processor, µs. Then it waits until the rest has been taken.
func (p *process) pace(out *flooder, count int, topic func(int) string) (perSecond, cost float64) {
	p.t.Helper()
	began, spent := p.headcountAt(time.Now()), p.processor()
	from := time.Now().Add(time.Second / 2)
	<-out.pour(int(offered*offeredFor.Seconds()), offered, func(i int) (string, []byte) { return topic(i % count), reading(i%count, i/count) })
	to := time.Now()
	perSecond = (p.headcountAt(to) - p.headcountAt(from)) / to.Sub(from).Seconds()
	for last := -1.0; ; <-time.After(500 * time.Millisecond) {
		now := p.headcountAt(time.Now())
		if now == last {
			return perSecond, float64((p.processor() - spent).Microseconds()) / (now - began)
		}
		last = now
	}
}
