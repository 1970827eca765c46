package simnode

import (
	"fmt"
	"math"
	"time"
)

// never is a time that does not come.
const never = math.MaxInt64

type phase uint8

const (
	idle    phase = iota
	waiting       // accepted, not yet on: Faults.LateStart
	running
)

// output is one switched pump. Times and durations are ns, times since 1970.
type output struct {
	rate    float64 // µL/ns
	phase   phase
	beginAt int64 // waiting: when it goes on; running: when it went on
	armedAt int64 // running: when its off-timer was last set
	wanted  int64 // what the off-timer is set to; never: none
	id      string
	resume  bool // to go on again when the boot is over

	flowing bool
	from    int64   // flowing: when the open delivery began
	open    float64 // µL of the open delivery
	closed  float64 // µL of all earlier ones
}

// voice is what differs between kinds of node: the words.
type voice interface {
	began(i int)
	ended(i int, finished bool)
	contact(i int) // the true position changed without the node's doing
	connected()
	forget() // what a restart loses
}

// core is the part of a node that has no words: outputs, timers, faults, and the truth about volumes.
type core struct {
	voice voice
	at    int64
	outs  []output
	// hardLimit ends every run, ns; never: none. armed is the time for which a resuming node switches on.
	hardLimit, armed int64
	bootTime         int64
	upAt             int64 // when the boot is over; never if the node is up
	rebootAt         int64
	up, down         []byte

	unfed      bool // the pumps have no supply: outputs switch, and nothing flows
	faults     Faults
	said       []Out
	sayings    int // reports and states made, for DropReport
	deliveries []Delivery
	counts     Counts
}

// setUp checks and sets what both kinds of node are made from.
func (c *core) setUp(v voice, rates []float64, bootTime time.Duration, up, down []byte) error {
	if len(rates) == 0 {
		return fmt.Errorf("simnode: no rates, a node needs at least one output")
	}
	if bootTime < 0 {
		return fmt.Errorf("simnode: a boot time of %v is below zero", bootTime)
	}
	*c = core{
		voice: v, at: math.MinInt64, outs: make([]output, len(rates)), hardLimit: never, armed: never,
		bootTime: int64(bootTime), upAt: never, rebootAt: never, up: or(up, "1"), down: or(down, "0"),
	}
	for i, r := range rates {
		if !(r > 0 && r <= 1e6) {
			return fmt.Errorf("simnode: output %d has a rate of %v mL/min, allowed is above 0 up to 1e6", i+1, r)
		}
		c.outs[i].rate = r * 1000 / float64(time.Minute)
	}
	return nil
}

func or(payload []byte, otherwise string) []byte {
	if payload == nil {
		return []byte(otherwise)
	}
	return payload
}

// dueAt is when output i does something by itself.
func (c *core) dueAt(i int) int64 {
	o := &c.outs[i]
	switch o.phase {
	case waiting:
		return o.beginAt
	case running:
		strikes := c.faults.strikes(i)
		if strikes && c.faults.IgnoresTimer {
			return never
		}
		due := int64(never)
		if o.wanted != never {
			due = o.armedAt + o.wanted
			if strikes {
				due += int64(c.faults.LateOff)
			}
		}
		if c.hardLimit != never {
			due = min(due, o.beginAt+c.hardLimit)
		}
		return due
	}
	return never
}

func (c *core) wakeAt() int64 {
	w := min(c.upAt, c.rebootAt)
	for i := range c.outs {
		w = min(w, c.dueAt(i))
	}
	return w
}

// advance lets time pass, one event after the other.
func (c *core) advance(now time.Time) {
	to := max(now.UnixNano(), c.at)
	for {
		w := c.wakeAt()
		if w > to || w == never {
			break
		}
		c.flowUntil(max(w, c.at))
		c.fire()
	}
	c.flowUntil(to)
}

// fire does what is due at c.at. It always does something, so that advance ends.
func (c *core) fire() {
	if c.rebootAt <= c.at {
		c.rebootAt = never
		c.reboot()
		return
	}
	if c.upAt <= c.at {
		c.boot()
		return
	}
	for i := range c.outs {
		if c.dueAt(i) > c.at {
			continue
		}
		if c.outs[i].phase == waiting {
			c.begin(i)
		} else {
			c.end(i, true)
		}
	}
}

func (c *core) flowUntil(to int64) {
	for i := range c.outs {
		if o := &c.outs[i]; o.flowing && !c.unfed {
			o.open += o.rate * c.faults.factor(i) * float64(to-c.at)
		}
	}
	c.at = to
}

// accept starts output i for wanted ns, at once or late.
func (c *core) accept(i int, id string, wanted int64) {
	o := &c.outs[i]
	o.id, o.wanted, o.phase, o.beginAt = id, wanted, waiting, c.at
	if c.faults.strikes(i) && c.faults.LateStart > 0 {
		o.beginAt += int64(c.faults.LateStart)
		return
	}
	c.begin(i)
}

func (c *core) begin(i int) {
	o := &c.outs[i]
	o.phase, o.beginAt, o.armedAt = running, c.at, c.at
	if !o.flowing {
		o.flowing, o.from = true, c.at
	}
	c.counts.Runs++
	c.voice.began(i)
}

// end ends what output i does or is about to do.
func (c *core) end(i int, finished bool) {
	o := &c.outs[i]
	if o.phase == waiting { // nothing ran
		o.beginAt = c.at
	}
	o.phase = idle
	c.open(i)
	c.voice.ended(i, finished)
}

// open interrupts the flow of output i, if its contact can.
func (c *core) open(i int) {
	if o := &c.outs[i]; o.flowing && !(c.faults.StuckOn && c.faults.strikes(i)) {
		c.cut(i)
		o.flowing = false
	}
}

// cut closes the open delivery of output i.
func (c *core) cut(i int) {
	o := &c.outs[i]
	if o.open > 0 {
		c.deliveries = append(c.deliveries, Delivery{Output: i + 1, From: instant(o.from), To: instant(c.at), Microlitres: o.open})
	}
	o.closed += o.open
	o.open, o.from = 0, c.at
}

// reboot is a power cut: outputs go off without a word, what is in memory is lost, the broker speaks the will.
func (c *core) reboot() {
	for i := range c.outs {
		o := &c.outs[i]
		o.resume = o.resume || o.phase == running && c.faults.ResumesAtBoot && c.faults.strikes(i)
		o.phase = idle
		c.open(i)
	}
	c.voice.forget()
	c.said = append(c.said, c.online(c.down))
	c.upAt = c.at + c.bootTime
	if c.bootTime == 0 {
		c.boot()
	}
}

func (c *core) boot() {
	c.upAt = never
	c.voice.connected()
	for i := range c.outs {
		if o := &c.outs[i]; o.resume {
			o.resume = false
			c.accept(i, o.id, c.armed)
		}
	}
}

func (c *core) booting() bool { return c.upAt != never }

func (c *core) online(payload []byte) Out {
	return Out{At: instant(c.at), Role: Online, Payload: payload, QoS: 1, Retained: true}
}

// hears says whether a command reaches the firmware at all, and counts it if not.
func (c *core) hears(m Command) bool {
	switch {
	case c.faults.Deaf || c.booting():
		c.counts.Unheard++
	case m.Retained && !c.faults.ObeysRetained:
		c.counts.Retained++
	default:
		return true
	}
	return false
}

// say publishes a report or a state, unless a fault has it lost.
func (c *core) say(o Out) {
	c.sayings++
	if c.faults.Mute || c.faults.DropReport > 0 && c.sayings%c.faults.DropReport == 0 {
		return
	}
	o.At = instant(c.at)
	c.said = append(c.said, o)
	if c.faults.DoubleReports {
		c.said = append(c.said, o)
	}
}

func (c *core) take() []Out {
	said := c.said
	c.said = nil
	return said
}

func (c *core) has(output int) bool { return output >= 1 && output <= len(c.outs) }

func instant(ns int64) time.Time { return time.Unix(0, ns).UTC() }
