package simnode

import "time"

// The methods below are the part of Node that does not depend on the kind. Node documents them.

// Advance lets time pass until now.
func (c *core) Advance(now time.Time) []Out {
	c.advance(now)
	return c.take()
}

// NextWake gives the next instant at which the node does something by itself.
func (c *core) NextWake() (time.Time, bool) {
	w := c.wakeAt()
	if w == never {
		return time.Time{}, false
	}
	return instant(w), true
}

// Reboot cuts the node's power and gives it back.
func (c *core) Reboot(now time.Time) []Out {
	c.advance(now)
	c.reboot()
	return c.take()
}

// Connect gives what the node publishes when its connection is made.
func (c *core) Connect(now time.Time) []Out {
	c.advance(now)
	if !c.booting() {
		c.voice.connected()
	}
	return c.take()
}

// Will is what the broker publishes for the node when the connection is lost. It lets no time pass.
func (c *core) Will(now time.Time) Out {
	will := c.online(c.down)
	will.At = now.UTC()
	return will
}

// SetFaults replaces the faults. Contacts that were stuck and no longer are open now, overdue runs end now.
func (c *core) SetFaults(now time.Time, f Faults) []Out {
	c.advance(now)
	f.LateOff, f.LateStart = min(max(f.LateOff, 0), maxLate), min(max(f.LateStart, 0), maxLate)
	c.faults, c.rebootAt = f, never
	if !f.RebootAt.IsZero() {
		c.rebootAt = f.RebootAt.UnixNano()
	}
	for i := range c.outs {
		if o := &c.outs[i]; o.flowing && o.phase != running {
			if c.open(i); !o.flowing {
				c.voice.contact(i)
			}
		}
	}
	c.advance(now) // what a fault held back happens at once
	return c.take()
}

// Feed cuts the supply of the pumps, or gives it back. The node itself goes on.
func (c *core) Feed(now time.Time, on bool) {
	c.advance(now)
	c.unfed = !on
}

// SetRate gives an output another true rate. What the node says meanwhile is kept for the next call.
func (c *core) SetRate(now time.Time, output int, mlPerMin float64) bool {
	if !c.has(output) || !(mlPerMin > 0 && mlPerMin <= 1e6) {
		return false
	}
	c.advance(now)
	c.outs[output-1].rate = mlPerMin * 1000 / float64(time.Minute)
	return true
}

// Delivered gives the true volume in µL that has left an output.
func (c *core) Delivered(output int) float64 {
	if !c.has(output) {
		return 0
	}
	o := &c.outs[output-1]
	return o.closed + o.open
}

// Drain appends the deliveries since the last call to dst.
func (c *core) Drain(dst []Delivery) []Delivery {
	for i := range c.outs {
		if c.outs[i].flowing {
			c.cut(i)
		}
	}
	dst = append(dst, c.deliveries...)
	c.deliveries = c.deliveries[:0]
	return dst
}

// Running says whether the node believes that the output is on or about to go on.
func (c *core) Running(output int) bool { return c.has(output) && c.outs[output-1].phase != idle }

// Flowing says whether the output's contact is closed in truth.
func (c *core) Flowing(output int) bool { return c.has(output) && c.outs[output-1].flowing }

// Counts says how the node fared.
func (c *core) Counts() Counts { return c.counts }
