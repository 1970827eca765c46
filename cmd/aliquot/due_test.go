package main

import (
	"flag"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
)

var dueMinutes = flag.Int("due-minutes", 1, "minutes of slots in each part of TestDueToTheWire; one: the second part alone")

const (
	dueChannels = 100              // due in the same second, and as many in the minute after
	dueCrowd    = 1000             // readings a second in the second part
	dueWindow   = 10 * time.Second // after a slot, in which its commands are listened for
	dueLimit    = 2 * time.Second  // beside other tests; the gate of a slot is minutes wide
)

// TestDueToTheWire measures how long after its slot the command of a run is on the wire, while a hundred channels are due in the
// same second and each is in the ledger before it goes out: a real process, file and broker, quiet at first, and then while
// readings come.
func TestDueToTheWire(t *testing.T) {
	t.Parallel()
	broker := mosquittotest.Start(t, mosquittotest.Options{})
	b := barn{systems: 2 * dueChannels, probes: 1, perDay: "720", slots: func(system int) string { return fmt.Sprintf("%d-59/2 * * * *", system%2) }}
	r := b.rig(t, broker)
	b.commission(r)
	start(t, "the nodes of the barn", "", "simnode", "-c", r.config, "--rate-error", "0")
	r.spy.await(0, "the last board", on(fmt.Sprintf("barn/board%d/online", b.systems-1), "1"))
	p := b.serve(r)
	if a := r.ask(machine.VerbClock, ""); !a.OK {
		t.Fatalf("confirming the clock: %s (%s)", a.Text, a.Code)
	}
	if *dueMinutes > 1 {
		r.dueFor(*dueMinutes, "quiet", func(time.Duration) {})
	}
	out := flood(t, broker, "flooder")
	var poured <-chan struct{}
	r.dueFor(*dueMinutes, fmt.Sprintf("with %d readings a second", dueCrowd), func(span time.Duration) {
		poured = out.pour(int(dueCrowd*span.Seconds()), dueCrowd, func(i int) (string, []byte) { return own(i % b.systems), reading(i%b.systems, i/b.systems) })
	})
	<-poured
	if read, dropped := p.taken(); read < dueCrowd*60*(*dueMinutes-1)+dueCrowd*int(dueWindow.Seconds())/2 {
		t.Errorf("%d readings were read and %d dropped meanwhile: there was no crowd", read, dropped)
	}
}

// dueFor listens for so many minutes of slots, from the next minute on. What else shall happen is told how long that takes.
func (r *rig) dueFor(minutes int, when string, beside func(span time.Duration)) {
	r.t.Helper()
	from := time.Now().Truncate(time.Minute).Add(time.Minute)
	until := from.Add(time.Duration(minutes-1)*time.Minute + dueWindow)
	mark := r.spy.mark()
	beside(time.Until(until))
	<-time.After(time.Until(until))
	var delays []float64
	for _, h := range r.spy.since(mark) {
		if strings.HasSuffix(h.Topic, "/run") && !h.at.Before(from) {
			delays = append(delays, h.at.Sub(h.at.Truncate(time.Minute)).Seconds()*1000)
		}
	}
	if len(delays) != minutes*dueChannels {
		r.t.Fatalf("%s: %d commands in %d minutes, must be %d", when, len(delays), minutes, minutes*dueChannels)
	}
	p50, p99, most := quantile(delays, 0.5), quantile(delays, 0.99), quantile(delays, 1)
	r.t.Logf("%s: %d commands, %.1f ms after their slot in the median, %.1f ms p99, %.1f ms at most, the first %.1f ms", when, len(delays), p50, p99, most, delays[0])
	if limit := dueLimit.Seconds() * 1000; p99 > limit {
		r.t.Errorf("%s: p99 is %.0f ms, must be at most %.0f", when, p99, limit)
	}
}

func quantile(list []float64, q float64) float64 {
	if len(list) == 0 {
		return math.NaN()
	}
	slices.Sort(list)
	return list[min(len(list)-1, int(q*float64(len(list))))]
}
