//go:build !race

package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt"
	"aliquot/bridge/mqtt/mosquittotest"
)

var crowdFor = flag.Duration("crowd-for", 6*time.Second, "how long TestH38_INV11_Crowd lasts")

const (
	crowdProbes = 1000
	crowdRate   = 10_000 // readings a second, ten of each probe
	crowdLooks  = 12     // at the process, while they come
)

// glance is what a service holds at a moment of the crowd.
type glance struct {
	footprint
	at                  time.Time
	files               int
	cpu                 float64 // seconds so far
	sent, read, dropped int
	behind              int // readings on their way: in sockets, at the broker, before the loop
}

// TestH38_INV11_Crowd has a thousand probes say ten thousand readings a second: all of them are read, nothing grows, and
// in the middle a stop goes out at once to every pump.
func TestH38_INV11_Crowd(t *testing.T) {
	broker := mosquittotest.Start(t, mosquittotest.Options{})
	b := barn{systems: 50, probes: crowdProbes / 50}
	r := b.rig(t, broker)
	p := b.serve(r)
	standing := r.states()
	var sent atomic.Int64
	message := func(i int) (string, []byte) {
		sent.Store(int64(i + 1))
		return own(i % crowdProbes), reading(i%crowdProbes, i/crowdProbes)
	}
	total := int(crowdRate * crowdFor.Seconds())
	began := time.Now()
	poured := flood(t, broker, "flooder").pour(total, crowdRate, message)
	var all []glance
	tick := time.NewTicker(*crowdFor / crowdLooks)
	defer tick.Stop()
	for pouring := true; pouring; {
		select {
		case <-poured:
			pouring = false
		case <-tick.C:
			all = append(all, r.lookAt(p, &sent))
			if t.Log(all[len(all)-1]); len(all) == crowdLooks/2 {
				r.stopsAll(b.systems)
			}
		}
	}
	took := time.Since(began)
	end := r.lookAt(p, &sent)
	for before := -1; end.read != before && end.behind > 0; end = r.lookAt(p, &sent) {
		before = end.read
		<-time.After(500 * time.Millisecond)
	}
	t.Logf("at the end: %s; %.0f readings a second took %.2f of a core", end, float64(total)/took.Seconds(), (all[len(all)-1].cpu-all[0].cpu)/all[len(all)-1].at.Sub(all[0].at).Seconds())
	if now := r.states(); now != standing || now < crowdProbes {
		t.Errorf("%d retained states, before the crowd %d; must be as many, and more than there are probes", now, standing)
	}
	if share := float64(end.read) / float64(total); share < 0.95 {
		t.Errorf("%d of %d readings reached the machine, %.3f of them; must be at least 0.95 beside other tests", end.read, total, share)
	}
	checkGrowth(t, all)
}

func (l glance) String() string {
	return fmt.Sprintf("%s, %d files, %.2f s of processor; %d sent, %d read, %d dropped, %d on their way", l.footprint, l.files, l.cpu, l.sent, l.read, l.dropped, l.behind)
}

func (r *rig) lookAt(p *process, sent *atomic.Int64) glance {
	r.t.Helper()
	l := glance{footprint: r.measure(p), at: time.Now(), cpu: value(r.t, p.metrics(), "process_cpu_seconds_total")}
	l.read, l.dropped = p.taken()
	l.sent = int(sent.Load())
	l.behind = l.sent - l.read - l.dropped
	files, err := os.ReadDir(fmt.Sprintf("/proc/%d/fd", p.cmd.Process.Pid))
	if err != nil {
		r.t.Fatal(err)
	}
	l.files = len(files)
	return l
}

// states is how many states stand at the broker, once none is added any more.
func (r *rig) states() int {
	r.t.Helper()
	var mu sync.Mutex
	seen := map[string]bool{}
	count := func() int {
		mu.Lock()
		defer mu.Unlock()
		return len(seen)
	}
	c, err := mqtt.New(mqtt.Options{Broker: r.broker.URL, ClientID: "counter", Subscriptions: []mqtt.Subscription{{Filter: r.topic("state/#")}}, OnMessage: func(m mqtt.Message) {
		mu.Lock()
		defer mu.Unlock()
		seen[m.Topic] = m.Retained || seen[m.Topic]
	}})
	if err != nil {
		r.t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		_ = c.Run(ctx)
	}()
	for last := -1; count() != last || last == 0; <-time.After(2 * time.Second) {
		last = count()
	}
	cancel()
	<-ended
	return count()
}

// stopsAll asks for a stop, and wants it on the wire for every board within the limit.
func (r *rig) stopsAll(boards int) {
	r.t.Helper()
	var latency time.Duration
	for range 3 { // the machine may be busy with other tests: a service that is at fault is late each time
		mark, asked := r.spy.mark(), time.Now()
		r.send(fmt.Sprintf("ref-%d", refs.Add(1)), machine.VerbStop, `"all":true`)
		left := map[string]bool{}
		_, ok := r.spy.find(mark, patience/3, func(h heard) bool {
			if strings.HasSuffix(h.Topic, "/stop") {
				left[h.Topic] = true
			}
			latency = h.at.Sub(asked)
			return len(left) == boards
		})
		if !ok {
			r.t.Fatalf("of %d pumps %d were told to stop within %s", boards, len(left), patience/3)
		}
		r.t.Logf("the last of %d pumps was told to stop %s after that was asked for", boards, latency.Round(time.Millisecond))
		if latency <= stopLimit {
			return
		}
	}
	r.t.Errorf("three times the last pump was told to stop later than %s after that was asked for", stopLimit)
}

// checkGrowth compares the medians of the second and the last quarter.
func checkGrowth(t *testing.T, all []glance) {
	t.Helper()
	if len(all) < 8 {
		t.Fatalf("%d looks are too few to judge growth", len(all))
	}
	for _, c := range []struct {
		name string
		of   func(glance) int
		room int
	}{
		{"kB resident", func(l glance) int { return l.rss }, 16 << 10},
		{"goroutines", func(l glance) int { return l.goroutines }, 5},
		{"open files", func(l glance) int { return l.files }, 3},
		{"readings on their way", func(l glance) int { return l.behind }, crowdRate},
	} {
		median := func(part []glance) int {
			values := make([]int, len(part))
			for i, l := range part {
				values[i] = c.of(l)
			}
			slices.Sort(values)
			return values[len(values)/2]
		}
		q := len(all) / 4
		early, late := median(all[q:2*q]), median(all[len(all)-q:])
		t.Logf("%s: %d, then %d", c.name, early, late)
		if late > early+early/20+c.room {
			t.Errorf("%s grew from %d to %d", c.name, early, late)
		}
	}
}
