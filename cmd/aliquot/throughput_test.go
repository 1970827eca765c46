//go:build !race

package main

import (
	"flag"
	"slices"
	"testing"
	"time"

	"aliquot/bridge/mqtt/mosquittotest"
)

// How often TestThroughput compares. From five comparisons on it wants the median to be as README says.
var throughputRounds = flag.Int("throughput-rounds", 2, "rounds of the comparison with a bare subscriber")

const (
	offered    = 100_000 // messages a second, more than anybody can take here
	offeredFor = 2 * time.Second
	goodShare  = 0.7 // of what a bare subscriber takes; the median of five rounds or more
	worstShare = 0.4 // the best of a few, beside other tests
)

// TestThroughput floods the service with readings of 5000 probes, and a subscriber with nothing behind it with as many of the
// same kind: in turns, from the same publisher, through the same broker. Both have the same client library and subscriptions.
// What counts is what had reached the machine and its metrics, and the bare handler, when the pouring ended. No topic has more
// messages than the service reads of one.
func TestThroughput(t *testing.T) {
	broker := mosquittotest.Start(t, mosquittotest.Options{})
	b := barn{systems: 50, probes: 100}
	count := b.systems * b.probes
	r := b.rig(t, broker)
	p := b.serve(r)
	plain := r.startBare(count)
	out := flood(t, broker, "flooder")
	ours := func() int { n, _ := p.taken(); return n }
	var shares []float64
	for round := range *throughputRounds {
		theirs := r.pace(out, count, other, plain.heardSoFar)
		_, before := p.taken()
		mine := r.pace(out, count, own, ours)
		_, after := p.taken()
		shares = append(shares, mine/theirs)
		t.Logf("round %d: a bare subscriber took %.0f messages a second, the service %.0f, %.2f of it; it dropped %d", round+1, theirs, mine, mine/theirs, after-before)
	}
	slices.Sort(shares)
	switch n := len(shares); {
	case n >= 5 && shares[n/2] < goodShare:
		t.Errorf("in the median the service took %.2f of what a bare subscriber took, must be at least %.1f", shares[n/2], goodShare)
	case shares[n-1] < worstShare:
		t.Errorf("at best the service took %.2f of what a bare subscriber took, must be at least %.1f", shares[n-1], worstShare)
	}
}

// pace pours readings of so many probes, and gives how many messages a second had been taken when that ended. Then it
// waits until the rest has been.
func (r *rig) pace(out *flooder, count int, topic func(int) string, taken func() int) float64 {
	r.t.Helper()
	sent := int(offered * offeredFor.Seconds())
	before, began := taken(), time.Now()
	<-out.pour(sent, offered, func(i int) (string, []byte) { return topic(i % count), reading(i%count, i/count) })
	took := time.Since(began)
	last := taken()
	perSecond := float64(last-before) / took.Seconds()
	for quiet := false; !quiet; {
		<-time.After(500 * time.Millisecond)
		now := taken()
		quiet, last = now == last, now
	}
	return perSecond
}
