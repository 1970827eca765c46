package faultsim

import (
	"time"

	"aliquot/bridge/machine"
)

// strike lets a fault happen, and puts its end on the agenda.
func (w *world) strike(i int, f Fault) {
	w.stats.Faults++
	w.note("%s", f)
	switch f.Kind {
	case Crash, Panic, Restart, Power, NoClock, DiskFails, SlowDisk, OldLedger, SecondHost, ClockStep, ClockSlip, Unsynced:
		w.strikeHost(f)
	case Reboot, Deaf, Mute, DropsSaid, LateStart, LateOff, StuckOn, Blocked, RateDrift, DeafToTime, NodeAway, NodeHangs, SwitchedOff, CutByHand:
		w.strikeNode(f)
	case BadPlan:
		w.during(f, func() { w.sick.how = f.N }, func() { w.sick.how = 0 })
	case RaisedCap:
		w.raise(f)
	case LevelStuck, LevelFalls, LevelDrifts:
		w.sensorFails(f)
	case ForgedReport, ForgedRun, Plant, ForgedOwner:
		w.strange(i, f)
	case Greed, Careless, Hold, OutOf, StopAll, WrongTest, WrongFill, SwapTubes, HighPH, NoProbe, Leak:
		w.slip(f)
	default:
		w.strikeNetwork(f)
	}
}

// raise changes the configuration to a higher cap, and back. Each is a restart, as the service reads it at its start only.
// Nobody accepts it, so that the old cap holds all the time (H-36).
func (w *world) raise(f Fault) {
	again := func() {
		w.hosts[0].stop()
		w.hosts[0].restartIn(5 * time.Second)
	}
	raised := *w.site
	raised.Channels = append([]machine.Channel(nil), w.site.Channels...)
	c := &raised.Channels[w.channel(f.Target)]
	c.Limits.PerDay, c.PerDay = 2*c.Limits.PerDay, 2*c.PerDay
	w.during(f, func() { w.raised = &raised; again() }, func() { w.raised = nil; again() })
}

// during does something now and undoes it when the fault ends.
func (w *world) during(f Fault, do, undo func()) {
	do()
	w.after(max(f.For, time.Second), func() {
		w.note("end of %s", f.Kind)
		undo()
	})
}

func (w *world) strikeHost(f Fault) {
	h := w.hosts[0]
	switch f.Kind {
	case Crash:
		h.dieAt(f.N, func() { h.restartIn(f.For) })
	case Power, NoClock:
		w.power(f)
	case Panic:
		if p := h.p; p != nil {
			for _, c := range w.site.Channels {
				p.sendStop(machine.StopRuns{Node: c.Node, Output: c.Output, Run: "*", Serial: 1})
			}
			h.crash()
			h.restartIn(f.For)
		}
	case Restart:
		h.stop()
		h.restartIn(f.For)
	case OldLedger:
		h.crash()
		h.ledger = h.ledger.without(f.N)
		h.lost = "the ledger is behind its high-water mark"
		w.check.restored(w)
		w.keeper.lost = 0 // he counts anew
		h.restartIn(f.For)
	case DiskFails:
		h.ledger.failNext = 1 + f.N
		w.after(max(f.For, time.Minute), func() { // somebody looks, and restarts the service
			h.crash()
			h.boot("")
		})
	case SlowDisk:
		d := time.Duration(f.N) * time.Millisecond
		w.during(f, func() { h.ledger.slow = d }, func() { h.ledger.slow = 0 })
	case SecondHost:
		w.second(f)
	default:
		w.strikeClock(f)
	}
}

// dieAt has the process die behind so many effects of its next list that sends a run, or within an hour of nothing.
func (h *host) dieAt(n int, then func()) {
	p := h.p
	if p == nil {
		return
	}
	p.dieAt, p.died = n, then
	h.w.after(time.Hour, func() {
		if p.alive() && p.died != nil {
			p.die()
		}
	})
}

// stop ends the process in order.
func (h *host) stop() {
	if p := h.p; p != nil {
		p.offer(machine.Stopping{Reason: "asked to"})
		h.crash()
	}
}

// power takes it from the whole site: the host at a step of its own, the nodes, the broker.
func (w *world) power(f Fault) {
	h := w.hosts[0]
	h.dieAt(f.N, func() {
		w.broker.up = false
		w.broker.retained, w.broker.owner = nil, nil
		for _, n := range w.nodes {
			n.away++
			w.say(n, n.sim.Reboot(w.trueTime()))
		}
		h.restartIn(f.For + 20*time.Second)
		w.after(f.For, func() {
			w.broker.up = true
			for _, n := range w.nodes {
				w.returns(n)
			}
			if f.Kind == NoClock {
				w.coldClock()
			}
			w.reconnect()
		})
	})
}

// coldClock is a host without a battery behind its clock.
func (w *world) coldClock() {
	h := w.hosts[0]
	h.offset, h.synced = time.Unix(0, 0).UTC().Sub(w.trueTime()), false
	w.after(20*time.Minute, func() { h.offset, h.synced = 0, true })
}

func (w *world) strikeClock(f Fault) {
	h := w.hosts[0]
	right := func() { h.offset, h.synced = 0, true }
	switch f.Kind {
	case ClockStep:
		w.during(f, func() { h.offset, h.synced = h.offset+time.Duration(f.N)*time.Second, false }, right)
	case Unsynced:
		w.during(f, func() { h.synced = false }, right)
	case ClockSlip:
		if h.synced {
			h.offset = time.Duration(f.N) * time.Millisecond
		}
	}
}

// second is another daemon with a copy of the ledger, on a host of its own.
func (w *world) second(f Fault) {
	if len(w.hosts) > 1 || w.hosts[0].p == nil {
		return
	}
	w.copies++
	h := &host{w: w, index: 1, copy: w.copies, synced: true, rate: 1, ledger: w.hosts[0].ledger.without(f.N)}
	w.hosts = append(w.hosts, h)
	w.check.copied(&h.ledger)
	h.boot("")
	w.after(max(f.For, time.Minute), func() {
		h.stop()
		w.hosts = w.hosts[:1]
	})
}

func (w *world) strikeNode(f Fault) {
	n := w.pump(f.Target)
	switch f.Kind {
	case Reboot:
		w.say(n, n.sim.Reboot(w.trueTime()))
	case NodeHangs:
		w.during(f, func() { n.hangs++ }, func() { n.hangs-- })
	case SwitchedOff:
		w.during(f, func() { w.off++; w.switchFeed(false) }, func() { w.off--; w.switchFeed(true) })
	case CutByHand:
		w.keeper.ask(machine.VerbCut, machine.Request{What: feed})
	case NodeAway:
		w.during(f, func() { w.leaves(n) }, func() { w.returns(n) })
	default:
		w.during(f, func() {
			n.faults = append(n.faults, f)
			w.refault(n)
		}, func() {
			for i := range n.faults {
				if n.faults[i] == f {
					n.faults = append(n.faults[:i:i], n.faults[i+1:]...)
					break
				}
			}
			w.refault(n)
		})
	}
}

// leaves is a node that loses its connection: the broker speaks its will.
func (w *world) leaves(n *pump) {
	n.away++
	will := n.sim.Will(w.trueTime())
	w.after(w.latency(), func() { w.route(message{topic: n.codec.OnlineTopic(), payload: will.Payload, retained: true}) })
}

func (w *world) returns(n *pump) {
	if n.away--; n.away == 0 && w.broker.up {
		w.say(n, n.sim.Connect(w.trueTime()))
	}
}

// reconnect has the daemons look for their broker, which takes a few seconds.
func (w *world) reconnect() {
	w.after(time.Duration(1000+w.chance.IntN(9000))*time.Millisecond, func() {
		for _, h := range w.hosts {
			if h.p != nil {
				h.p.connect()
			}
		}
	})
}

func (w *world) strikeNetwork(f Fault) {
	n, late := &w.net, time.Duration(f.N)*time.Second
	set := func(v *int) { w.during(f, func() { *v = f.N }, func() { *v = 0 }) }
	slow := func(v *time.Duration) { w.during(f, func() { *v = late }, func() { *v = 0 }) }
	is := func(v *bool) { w.during(f, func() { *v = true }, func() { *v = false }) }
	switch f.Kind {
	case LoseRuns:
		set(&n.loseRuns)
	case LoseStops:
		set(&n.loseStops)
	case LoseReports:
		set(&n.loseReports)
	case DelayRuns:
		slow(&n.delayRuns)
	case DelayReports:
		slow(&n.delayReports)
	case DoubleRuns:
		is(&n.doubleRuns)
	case DoubleSaid:
		is(&n.doubleSaid)
	case NoEcho:
		is(&n.noEcho)
	case LinkCut:
		w.during(f, func() { n.cut++; w.unlink() }, func() { n.cut--; w.reconnect() })
	case HalfOpen:
		w.hang(f)
	case BrokerDown:
		w.during(f, func() { w.breakDown(f) }, w.comeBack)
	}
}

func (w *world) unlink() {
	if p := w.hosts[0].p; p != nil {
		p.disconnect()
	}
}

// hang is a connection that carries nothing one way or both, until somebody notices and it is closed.
func (w *world) hang(f Fault) {
	p := w.hosts[0].p
	if p == nil {
		return
	}
	p.hung = halfOpen{in: f.N&1 != 0, out: f.N&2 != 0}
	session := p.session
	w.after(max(f.For, time.Second), func() {
		if p.session == session {
			p.disconnect()
			w.reconnect()
		}
	})
}

func (w *world) breakDown(f Fault) {
	w.broker.up = false
	if f.N%2 == 1 {
		w.broker.retained, w.broker.owner = nil, nil
	}
	for _, h := range w.hosts {
		if h.p != nil {
			h.p.disconnect()
		}
	}
	for _, n := range w.nodes {
		n.away++
	}
}

func (w *world) comeBack() {
	w.broker.up = true
	for _, n := range w.nodes {
		w.returns(n)
	}
	w.reconnect()
}
