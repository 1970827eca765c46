package machine_test

import (
	"slices"
	"time"

	"aliquot/bridge/machine"
)

// pumpNode ends its runs by itself. A board refuses an id that it knows (A1, A6); a relay knows of none, and a second run
// makes the first one longer.
type pumpNode struct {
	outs      [2]pumpOut
	last      [2]string // the run that an output had
	known     []string
	boot, seq int64
}

type pumpOut struct {
	on        string        // the run, as far as the world knows it; empty: off
	from, end time.Duration // where it is on; where it is off, end is when it last went off
	ran       bool
	given     float64 // µL, in truth
}

// running says whether an output is on.
func (n *pumpNode) running() bool { return n.outs[0].on != "" || n.outs[1].on != "" }

func (l *lane) pumpEnds(i int, state machine.ReportState) {
	o := &l.node.outs[i]
	ran := (min(l.now, o.end) - o.from).Seconds()
	l.goesOff(i)
	if l.w.relay {
		l.tell(machine.Switched{Node: "board", Output: i + 1})
		return
	}
	l.report(machine.Reported{Run: l.node.last[i], State: state, Seconds: &ran})
}

// goesOff counts what an output has given, and remembers when it went off.
func (l *lane) goesOff(i int) {
	o := &l.node.outs[i]
	off := min(l.now, o.end)
	o.given += (off - o.from).Seconds() * laneRate
	l.node.last[i], o.on, o.end, o.ran = o.on, "", off, true
	if o.given > float64(l.w.site.Channels[i].Limits.PerDay)+1 {
		l.fail("INV-1")
	}
}

func (l *lane) report(r machine.Reported) {
	l.node.seq++
	r.Node, r.Boot, r.Seq = "board", l.node.boot, l.node.seq
	l.tell(r)
}

func (l *lane) tell(e machine.Event) {
	if l.up {
		l.toMachine = append(l.toMachine, e)
	}
}

// obey is the pump taking a command.
func (l *lane) obey(m toPump) {
	n := &l.node
	o := &n.outs[m.out]
	switch {
	case m.stop:
		if o.on != "" && (l.w.relay || m.id == "*" || m.id == o.on) {
			l.pumpEnds(m.out, machine.ReportStopped)
		} else if l.w.relay {
			l.tell(machine.Switched{Node: "board", Output: m.out + 1})
		}
	case l.w.relay && o.on != "":
		o.end = l.now + l.lasts(m)
		l.tell(machine.Switched{Node: "board", Output: m.out + 1, On: true})
	case !l.w.relay && slices.Contains(n.known, m.id):
		l.report(machine.Reported{Run: m.id, State: machine.ReportRefused, Reason: "repeated"})
	case o.on != "":
		l.report(machine.Reported{Run: m.id, State: machine.ReportRefused, Reason: "busy"})
	default:
		l.starts(m)
	}
}

func (l *lane) starts(m toPump) {
	n := &l.node
	if other := n.outs[1-m.out]; l.w.gap > 0 && (other.on != "" || other.ran && l.now < other.end+l.w.gap) {
		l.fail("INV-7")
	}
	o := &n.outs[m.out]
	o.on, o.from, o.end, n.known = m.id, l.now, l.now+l.lasts(m), append(n.known, m.id)
	if l.w.relay {
		l.tell(machine.Switched{Node: "board", Output: m.out + 1, On: true})
		return
	}
	l.report(machine.Reported{Run: m.id, State: machine.ReportStarted})
}

// lasts is how long the node lets a run last.
func (l *lane) lasts(m toPump) time.Duration {
	switch {
	case !l.w.relay:
		return m.lasts
	case l.mutation == "the relay has no timer":
		return time.Hour
	}
	return laneAutoOff.Duration()
}

// reboot takes the pump's power and gives it back: what ran is over, and nobody says for how long it did.
func (l *lane) reboot() {
	n := &l.node
	for i := range n.outs {
		if n.outs[i].on != "" {
			l.goesOff(i)
		}
	}
	n.boot, n.seq = n.boot+1, 0
	l.tell(machine.NodeOnline{Node: "board"})
	l.tell(machine.NodeOnline{Node: "board", Up: true})
	if l.w.relay {
		l.tell(machine.Switched{Node: "board", Output: 1})
	}
}
