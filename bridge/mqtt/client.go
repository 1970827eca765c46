package mqtt

import (
	"context"
	"errors"
	"math/rand/v2"
	"sync/atomic"
	"time"
)

// Client keeps a connection while Run runs. Its other methods may be called from any goroutine at any time.
type Client struct {
	o       Options
	addr    address
	running atomic.Bool
	current atomic.Pointer[session] // the connection that is up, else nil
	count   counters
}

type counters struct {
	attempts, ups, losses, refused         atomic.Uint64
	oversized, malformed, badTopic, noRoom atomic.Uint64
	pingsMissed                            atomic.Uint64
}

// Stats are counts since New.
type Stats struct {
	Attempts    uint64 // connections tried
	Ups         uint64 // connections that became usable
	Losses      uint64 // of those, how many ended other than by the context
	Refused     uint64 // attempts that did not become usable
	Oversized   uint64 // connections ended for a packet above MaxPacket
	Malformed   uint64 // connections ended for a packet that MQTT does not allow
	BadTopics   uint64 // messages dropped for an invalid topic
	NoRoom      uint64 // messages dropped while a connection was being made ready
	PingsMissed uint64 // own messages that did not come back in time
}

// New checks the options. It opens nothing: files are read and the broker is dialled in Run.
func New(o Options) (*Client, error) {
	o, err := o.checked()
	if err != nil {
		return nil, err
	}
	addr, err := parseAddress(o.Broker)
	if err != nil {
		return nil, err
	}
	return &Client{o: o, addr: addr}, nil
}

// Run connects, serves and reconnects until ctx ends; then it disconnects in good order and returns nil. The
// will is not triggered then, and nothing is published: whoever wants an "offline" there publishes it before.
// A second Run at the same time is an error.
func (c *Client) Run(ctx context.Context) error {
	if !c.running.CompareAndSwap(false, true) {
		return errors.New("mqtt: the client runs already")
	}
	defer c.running.Store(false)
	t := c.o.Timing
	wait := pauses{least: t.BackoffMin, most: t.BackoffMax, window: t.LossWindow}
	last := ""
	for ctx.Err() == nil {
		c.count.attempts.Add(1)
		wasUp, err := newSession(c).live(ctx)
		if ctx.Err() != nil {
			if wasUp {
				c.o.OnDown(nil)
			}
			break
		}
		c.countCause(wasUp, err)
		err = explain(&c.o, c.addr, err)
		pause := wait.next(time.Now(), wasUp, rand.Float64())
		c.report(wasUp, err, pause, &last)
		if wasUp {
			c.o.OnDown(err)
		} else {
			c.o.OnRefused(err)
		}
		sleep(ctx, pause)
	}
	return nil
}

func (c *Client) countCause(wasUp bool, err error) {
	if wasUp {
		c.count.losses.Add(1)
	} else {
		c.count.refused.Add(1)
	}
	switch {
	case errors.Is(err, errTooLarge):
		c.count.oversized.Add(1)
	case errors.Is(err, errMalformed):
		c.count.malformed.Add(1)
	}
}

// report writes one line per transition: the same refusal again is not news.
func (c *Client) report(wasUp bool, err error, pause time.Duration, last *string) {
	text := err.Error()
	switch {
	case wasUp:
		c.o.Logger.Warn("connection lost", "reason", text, "next_attempt_in", pause)
		text = ""
	case text != *last:
		c.o.Logger.Warn("no connection", "reason", text, "next_attempt_in", pause)
	default:
		c.o.Logger.Debug("no connection", "reason", text, "next_attempt_in", pause)
	}
	*last = text
}

func sleep(ctx context.Context, d time.Duration) {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
	case <-timer.C:
	}
}

// Open says whether a message can be published now: the connection is up and not known to be lost.
func (c *Client) Open() bool {
	s := c.current.Load()
	return s != nil && s.client.IsConnectionOpen()
}

// Publish hands a message to the present connection and waits at most wait for its fate. Messages leave in
// the order of the calls if one goroutine calls. Nothing is ever sent on a later connection. The error
// explains a Delivery other than Done. NotHanded is returned only if the message certainly never left; every
// doubt is Unknown.
//
// After Unknown the message can still leave within a few write limits: the first write that exceeds its limit
// ends the connection, and with it everything that waits behind.
func (c *Client) Publish(m Message, wait time.Duration) (Delivery, error) {
	s, m, err := c.outgoing(m)
	if err != nil {
		return NotHanded, err
	}
	return s.out.publish(m, wait)
}

// Post hands a message over like Publish and waits, at most wait, for that alone. The channel is closed when the broker
// has acknowledged the message (QoS 1) or it was written (QoS 0), and likewise when the connection has ended before. It
// is nil if there is an error; then the Delivery says whether the message may leave all the same.
func (c *Client) Post(m Message, wait time.Duration) (<-chan struct{}, Delivery, error) {
	s, m, err := c.outgoing(m)
	if err != nil {
		return nil, NotHanded, err
	}
	return s.out.post(m, wait)
}

// outgoing is what can be sent of a message, and the connection for it.
func (c *Client) outgoing(m Message) (*session, Message, error) {
	if err := checkOutgoing(m, c.o.MaxPacket); err != nil {
		return nil, m, err
	}
	s := c.current.Load()
	if s == nil || !s.client.IsConnectionOpen() {
		return nil, m, ErrNotOpen
	}
	m.Payload = append([]byte(nil), m.Payload...) // the caller may reuse its buffer
	return s, m, nil
}

// Stats gives the counts.
func (c *Client) Stats() Stats {
	n := &c.count
	return Stats{
		Attempts:    n.attempts.Load(),
		Ups:         n.ups.Load(),
		Losses:      n.losses.Load(),
		Refused:     n.refused.Load(),
		Oversized:   n.oversized.Load(),
		Malformed:   n.malformed.Load(),
		BadTopics:   n.badTopic.Load(),
		NoRoom:      n.noRoom.Load(),
		PingsMissed: n.pingsMissed.Load(),
	}
}
