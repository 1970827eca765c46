package main

import (
	"sync"
	"time"

	"aliquot/bridge"
	"aliquot/bridge/machine"
	"aliquot/safety"
)

// warpClock is a virtual clock that runs faster than the world: fast while nothing runs, less fast while a pump
// does, and hardly faster than the world while a command or a report is on its way, so that real sockets and a
// real disk keep up with what the machine expects of them.
type warpClock struct {
	mu        sync.Mutex
	wallStart time.Time
	realBase  time.Time
	base      time.Duration // virtual, at realBase
	factor    float64
	fast      float64
	open      map[string]string // node of each open run
	wire      map[string]bool   // nodes with something on its way
	attention int               // who else wants it slow
	still     bool              // the daemon is at work: time waits for it
	changed   chan struct{}
}

// Speeds against the world's. A node has 5 s to answer: at wireFactor that is a second of the world's.
const (
	runFactor  = 60
	wireFactor = 5
)

func newWarpClock(start time.Time, fast float64) *warpClock {
	return &warpClock{wallStart: start, realBase: time.Now(), factor: runFactor, fast: fast, open: map[string]string{}, wire: map[string]bool{},
		attention: 1, changed: make(chan struct{})}
}

func (c *warpClock) virtual() time.Duration {
	if c.still {
		return c.base
	}
	return c.base + time.Duration(float64(time.Since(c.realBase))*c.factor)
}

// Now gives virtual time; it is declared trusted.
func (c *warpClock) Now() safety.Instant {
	c.mu.Lock()
	defer c.mu.Unlock()
	mono := c.virtual()
	return safety.Instant{Wall: c.wallStart.Add(mono), Mono: mono, Synced: true}
}

// WakeAt wakes when virtual time gets there, whatever its speed meanwhile.
func (c *warpClock) WakeAt(mono time.Duration) (<-chan time.Time, func()) {
	ring, stop := make(chan time.Time, 1), make(chan struct{})
	go func() {
		for {
			c.mu.Lock()
			left, changed := time.Duration(float64(mono-c.virtual())/c.factor), c.changed
			if c.still && left > 0 {
				left = stillLook
			}
			c.mu.Unlock()
			t := time.NewTimer(left)
			select {
			case <-stop:
				t.Stop()
				return
			case <-changed:
				t.Stop()
			case at := <-t.C:
				if !c.reached(mono) {
					continue
				}
				ring <- at
				return
			}
		}
	}()
	return ring, sync.OnceFunc(func() { close(stop) })
}

// stillLook is how often a waiter looks again while time stands still.
const stillLook = 50 * time.Millisecond

func (c *warpClock) reached(mono time.Duration) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.virtual() >= mono
}

// settle sets the speed that is asked for. The caller holds the lock.
func (c *warpClock) settle() {
	factor := c.fast
	switch {
	case len(c.wire) > 0:
		factor = min(factor, wireFactor)
	case len(c.open) > 0 || c.attention > 0:
		factor = min(factor, runFactor)
	}
	if factor == c.factor {
		return
	}
	c.base, c.realBase, c.factor = c.virtual(), time.Now(), factor
	close(c.changed)
	c.changed = make(chan struct{})
}

// hold makes time stand still, or go on.
func (c *warpClock) hold(still bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if still == c.still {
		return
	}
	c.base, c.realBase, c.still = c.virtual(), time.Now(), still
	if !still {
		close(c.changed)
		c.changed = make(chan struct{})
	}
}

// daemonClock is the daemon's view of the clock: time stands still from its first look after an event until it
// waits for the next one, so that neither its own work nor its disk takes simulated time.
type daemonClock struct{ *warpClock }

func (c daemonClock) Now() safety.Instant {
	c.hold(true)
	return c.warpClock.Now()
}

func (c daemonClock) WakeAt(mono time.Duration) (<-chan time.Time, func()) {
	c.hold(false)
	return c.warpClock.WakeAt(mono)
}

// attend slows time down until the returned function is called.
func (c *warpClock) attend() (release func()) {
	c.add(1)
	return sync.OnceFunc(func() { c.add(-1) })
}

func (c *warpClock) add(n int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.attention += n
	c.settle()
}

// warpLedger tells the clock of runs that begin and end, before and after they do.
type warpLedger struct {
	bridge.Ledger
	clock *warpClock
}

func (l warpLedger) Append(rows []machine.Row) error {
	l.clock.follow(rows, true)
	err := l.Ledger.Append(rows)
	l.clock.follow(rows, false)
	return err
}

// follow notes reservations before they are written and outcomes after.
func (c *warpClock) follow(rows []machine.Row, before bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, r := range rows {
		switch b := r.Body.(type) {
		case machine.RunReserved:
			if before {
				c.open[b.Run], c.wire[b.Node] = b.Node, true
			}
		case machine.RunEnded:
			if !before {
				delete(c.wire, c.open[b.Run])
				delete(c.open, b.Run)
			}
		}
	}
	c.settle()
}

// onWire says that a node has something to report, or that a report was taken.
func (c *warpClock) onWire(node string, on bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if on {
		c.wire[node] = true
	} else {
		delete(c.wire, node)
	}
	c.settle()
}

// warpMetrics tells the clock when the machine has taken the report of a start.
type warpMetrics struct {
	bridge.Metrics
	clock *warpClock
}

func (m warpMetrics) Count(n machine.Count) {
	if n.Metric == machine.MetricReports && (n.Labels[1] == string(machine.ReportStarted) || n.Labels[1] == "on") {
		m.clock.onWire(n.Labels[0], false)
	}
	m.Metrics.Count(n)
}
