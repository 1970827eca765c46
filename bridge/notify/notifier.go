package notify

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"aliquot/bridge/machine"
)

// Way carries a message to somebody. Deliver returns within its own time limit, or when the context ends.
type Way interface {
	Name() string // webhook or command
	Deliver(ctx context.Context, payload []byte) error
}

// Route is a way and the least level that it carries.
type Route struct {
	Way
	Level string
}

// Count is what happened on a way.
type Count int

// What is counted.
const (
	Attempted Count = iota
	Failed
	Dropped // news that found no room, or was never taken while it was news
)

// Pauses between attempts: each twice the last one. Our own choice.
const (
	firstPause   = 5 * time.Second
	longestPause = 5 * time.Minute
	// closedAfter is how long a way must fail before that is said to the machine, which makes an alert of it.
	closedAfter = 10 * time.Minute
)

// Options of a notifier. Count and Closed may be called from any goroutine, and must not wait.
type Options struct {
	Site   string
	Routes []Route
	Logger *slog.Logger
	Count  func(way string, c Count)
	// Closed says why a way has failed for a while, or that it carries again: empty.
	Closed func(way, why string)
}

// Notifier tells alerts on every way, each by a goroutine of its own.
type Notifier struct {
	o        Options
	couriers []*courier
	stop     context.CancelFunc
	gone     sync.WaitGroup
}

// Start starts one goroutine for each way. Close ends them.
func Start(o Options) *Notifier {
	ctx, stop := context.WithCancel(context.Background())
	n := &Notifier{o: o, stop: stop}
	for _, r := range o.Routes {
		name := r.Name()
		c := &courier{o: o, way: r.Way, desk: newDesk(o.Site, r.Level, func() { o.Count(name, Dropped) })}
		n.couriers = append(n.couriers, c)
		n.gone.Go(func() { c.run(ctx) })
	}
	return n
}

// Tell puts an alert down for every way to which it is news. It never waits.
func (n *Notifier) Tell(a machine.AlertView) {
	for _, c := range n.couriers {
		c.desk.tell(a, time.Now())
	}
}

// Try puts a test message down for every way. It never waits.
func (n *Notifier) Try(text string) {
	for _, c := range n.couriers {
		c.desk.try(TestMessage(n.o.Site, text, time.Now()))
	}
}

// Close ends every attempt under way and says what was not told. It may be called again.
func (n *Notifier) Close() error {
	n.stop()
	n.gone.Wait()
	for _, c := range n.couriers {
		if left := c.desk.left(); left > 0 {
			n.o.Logger.Warn("alerts were not told before the end", "way", c.way.Name(), "messages", left)
		}
	}
	return nil
}

// courier takes messages from a desk and carries them on one way, one after the other.
type courier struct {
	o    Options
	way  Way
	desk *desk

	failures int
	since    time.Time // of the first failure in a row
	closed   bool      // as was said
}

func (c *courier) run(ctx context.Context) {
	for ctx.Err() == nil {
		w, ok := c.desk.first(time.Now())
		if !ok {
			select {
			case <-c.desk.bell:
			case <-ctx.Done():
			}
			continue
		}
		if err := c.deliver(ctx, w); err != nil {
			if ctx.Err() == nil {
				c.failed(err)
				rest(ctx, pause(c.failures))
			}
			continue
		}
		c.desk.done(w.number)
		c.worked()
	}
}

func (c *courier) deliver(ctx context.Context, w waiting) error {
	payload, err := json.Marshal(w.Message)
	if err != nil {
		return fmt.Errorf("the message cannot be written: %w", err)
	}
	c.o.Count(c.way.Name(), Attempted)
	return c.way.Deliver(ctx, payload)
}

func (c *courier) failed(err error) {
	c.o.Count(c.way.Name(), Failed)
	if c.failures++; c.failures == 1 {
		c.since = time.Now()
		c.o.Logger.Warn("an alert could not be told; it is tried again", "way", c.way.Name(), "error", err)
	}
	if !c.closed && time.Since(c.since) >= closedAfter {
		c.closed = true
		c.o.Logger.Error("alerts are not told on this way", "way", c.way.Name(), "error", err)
		c.o.Closed(c.way.Name(), err.Error())
	}
}

func (c *courier) worked() {
	if c.failures > 0 {
		c.o.Logger.Info("alerts are told again", "way", c.way.Name())
	}
	if c.closed {
		c.o.Closed(c.way.Name(), "")
	}
	c.failures, c.closed = 0, false
}

// pause is how long to wait after so many failures in a row.
func pause(failures int) time.Duration {
	p := firstPause
	for range failures - 1 {
		if p *= 2; p >= longestPause {
			return longestPause
		}
	}
	return p
}

func rest(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
	case <-ctx.Done():
	}
}
