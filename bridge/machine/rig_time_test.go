package machine_test

import (
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/simnode"
)

// advance lets true time pass.
func (r *rig) advance(d time.Duration) {
	to := r.now + d
	for {
		r.now = max(r.now, min(to, r.nextEvent()))
		done := r.now >= to
		r.deliver()
		if done && r.nextEvent() > to {
			return
		}
	}
}

// nextEvent is when anything happens next.
func (r *rig) nextEvent() time.Duration {
	at := time.Duration(1 << 62)
	for _, p := range r.outbox {
		at = min(at, p.at)
	}
	for _, n := range []simnode.Node{r.board, r.relay} {
		if w, ok := n.NextWake(); ok {
			at = min(at, w.Sub(r.start))
		}
	}
	if !r.alive {
		return at
	}
	if len(r.inbox) > 0 {
		at = min(at, r.inbox[0].at)
	}
	if len(r.readings) > 0 {
		at = min(at, r.readAt)
	}
	return min(at, r.wakeAt())
}

// wakeAt is when the machine must be woken.
func (r *rig) wakeAt() time.Duration {
	wake := machine.NextWake(&r.state) + r.born
	if wake-r.stepped >= 15*time.Second {
		wake = r.stepped + r.coarse
	}
	return max(wake, r.stepped+1)
}

// deliver does what is due now.
func (r *rig) deliver() {
	kept := r.outbox[:0]
	var due []toNode
	for _, p := range r.outbox {
		if p.at <= r.now {
			due = append(due, p.v)
		} else {
			kept = append(kept, p)
		}
	}
	r.outbox = kept
	for _, n := range []string{"board", "plug"} {
		r.fromNode(n, r.node(n).Advance(r.trueTime()))
	}
	for _, m := range due {
		r.toNode(m)
	}
	for len(r.inbox) > 0 && r.inbox[0].at <= r.now && r.alive {
		e := r.inbox[0].v
		r.inbox = r.inbox[1:]
		r.step(e)
	}
	if r.alive && r.now >= r.readAt {
		r.readProbes()
	}
	if r.alive && r.now >= r.wakeAt() {
		r.wakes++
		r.step(machine.Woke{})
	}
}

// readProbes says what the probes say, with the small daily swing of a living tank.
func (r *rig) readProbes() {
	r.readAt = r.now + 5*time.Minute
	swing := .03 * float64(int(r.now.Hours())%4)
	for _, p := range r.site.Probes {
		if v, ok := r.readings[p.ID]; ok {
			if p.ID == "ph" {
				v -= swing
			}
			r.step(machine.ProbeRead{Probe: p.ID, Value: v})
		}
	}
}
