package machine

import (
	"fmt"
	"slices"
	"time"

	"aliquot/safety"
)

// Step is the daemon: what happens, when, in which state, gives the next state and what must be done about it.
func Step(s State, now safety.Instant, e Event) (State, []Effect) {
	t := &turn{State: s}
	t.lookAtClock(now)
	switch e := e.(type) {
	case Booted:
		t.boot(e)
	case Woke:
	case LinkChanged:
		t.link(e.Up)
	case OwnerSeen:
		t.ownerSeen(e)
	case Asked:
		if t.booted && !t.stopping {
			t.watchRuns() // a run must not be allowed in the very step that finds an output stuck
		}
		t.asked(e.Request)
	case Misread:
		t.misread(e)
	case ProbeRead:
		t.probeRead(e)
	case LevelRead:
		t.levelRead(e)
	case Readings:
		t.readings(e)
	case NodeOnline:
		t.nodeOnline(e)
	case Reported:
		t.reported(e)
	case Switched:
		t.switched(e)
	case CommandSeen:
		t.commandSeen(e)
	case SendFailed:
		t.sendFailed(e.Run)
	case AlertWay:
		t.alertWay(e)
	case LedgerBroke:
		t.ledgerBroke(e.Text)
	case Stopping:
		t.stop(e.Reason)
	}
	t.maybeLook()
	return t.State, t.effects()
}

func (t *turn) maybeLook() {
	if t.booted && !t.stopping {
		t.look()
	}
}

// lookAtClock takes the next look at the clock. When trust returns to a clock after a start, the axis gains the time
// for which no process ran, at once; what this process has begun meanwhile must not end early for it.
func (t *turn) lookAtClock(now safety.Instant) {
	before, mono := t.clock.Now(), t.now.Mono
	t.now = now
	t.clock = t.clock.Advance(now)
	if t.booted {
		t.axisGained(t.clock.Now() - before - elapsed(max(0, now.Mono-mono)))
	}
}

// axisGained renews the holds of this process, so that a restart finds them where they are, and lets interlocks
// count anew.
func (t *turn) axisGained(gain safety.Elapsed) {
	if gain <= safety.Elapsed(time.Second/time.Millisecond) {
		return
	}
	for i := range t.locks {
		t.locks[i] = t.locks[i].Restart()
	}
	for i := range t.systems {
		y := &t.systems[i]
		y.high, y.higher, y.unknown = y.high.Restart(), y.higher.Restart(), false
	}
	t.renewHolds(gain)
}

// renewHolds writes every hold down anew with the time that it has left, if one was begun before the gain.
func (t *turn) renewHolds(gain safety.Elapsed) {
	now, mine := t.clock.Now(), false
	var left []Hold
	for _, h := range t.holds {
		ends := h.ends
		if h.begun >= t.bootAt {
			ends, mine = ends+gain, true
		}
		if ends > now {
			h.Length = safety.Milliseconds(ends - now)
			h.Until = t.wall().Add(h.Length.Duration())
			left = append(left, h.Hold)
		}
	}
	if !mine {
		return
	}
	t.record(Release{}, "")
	for _, h := range left {
		t.record(h, "")
	}
}

// turn collects what one Step does.
type turn struct {
	State
	urgent []Effect // stops: they need no ledger
	rows   []Row
	out    []Effect
}

// effects puts stops first, then the rows of this step in one transaction, then everything that rests on them.
func (t *turn) effects() []Effect {
	all := t.urgent
	if len(t.rows) > 0 {
		all = append(all, Append{Rows: t.rows})
	}
	return append(all, t.out...)
}

// record writes a row and folds it at once.
func (t *turn) record(b Body, by string) {
	r := Row{Seq: t.seq + 1, At: t.wall(), Elapsed: t.clock.Now(), Trusted: t.clock.Trusted(), By: by, Body: b}
	if run, ok := b.(RunReserved); ok {
		r.ID = run.Run
	}
	if t.ledgerBad == "" {
		t.rows = append(t.rows, r)
	}
	t.apply(r)
	t.clock = t.clock.Recorded()
}

func (t *turn) wall() time.Time { return t.now.Wall.UTC() }

func (t *turn) do(e ...Effect)    { t.out = append(t.out, e...) }
func (t *turn) hurry(e ...Effect) { t.urgent = append(t.urgent, e...) }

func (t *turn) log(level LogLevel, text string, args ...any) {
	t.do(Log{Level: level, Text: text, Args: args})
}

// serialGap keeps serial numbers from coming twice over a crash: those of stops are not written down.
const serialGap = 10_000

const (
	restartWindow = 10 * time.Minute
	restartsMost  = 5
)

// boot opens the books of a new process: whatever was running when the last one ended is unknown for ever.
func (t *turn) boot(e Booted) {
	t.startMono, t.bootAt, t.booted = t.now.Mono, t.clock.Now(), true
	ledger := t.instance
	if ledger == "" {
		ledger = e.Instance
	}
	t.nonce = e.Instance
	t.instance = ledger
	var open []*openRun
	for i := range t.channels {
		if r := t.channels[i].open; r != nil {
			open = append(open, r)
		}
	}
	accepted, waiting := t.compareBounds()
	t.record(DaemonStarted{Instance: ledger, Epoch: t.epoch + 1, Version: t.site.Version, Serial: t.serial + serialGap, Bounds: accepted}, "")
	for _, r := range open {
		t.end(r, Unknown, nil, "the service ended while the run was open")
	}
	t.countRestarts()
	t.guardBounds(waiting)
	if e.LedgerLost != "" {
		t.lockOut(Scope{}, safety.LedgerRestored, e.LedgerLost)
	}
	t.slotsLost = true
	t.log(Info, "started", "site", t.site.Name, "epoch", t.epoch, "rows", t.seq)
}

// countRestarts locks a process out that keeps dying (H-15).
func (t *turn) countRestarts() {
	recent := 0
	for _, at := range t.starts {
		if t.clock.Now()-at <= elapsed(restartWindow) {
			recent++
		}
	}
	if recent > restartsMost {
		t.lockOut(Scope{}, safety.TooManyRestarts, fmt.Sprintf("the service started %d times within %s; find out why, then clear this lockout", recent, restartWindow))
	}
}

// lockOut latches a reason until somebody clears it.
func (t *turn) lockOut(scope Scope, code safety.Code, text string) {
	if t.standingFor(scope, code) != nil {
		return
	}
	t.record(Lockout{Scope: scope, Code: code, Text: text}, "")
	t.do(Happened{Kind: "lockout", At: t.wall(), Data: LockoutEvent{Scope: scope, Code: code, Text: text}})
	t.log(Warn, "lockout", "scope", scope.String(), "code", code, "text", text)
}

// stop ends the process in order: pumps first, then the books. Open runs stay open in the ledger; the next
// process counts them as unknown.
func (t *turn) stop(reason string) {
	t.stopEverything()
	if t.booted && !t.stopping && t.ledgerBad == "" {
		if t.clock.Trusted() {
			t.endBatches()
			t.flushMeans()
		}
		t.record(DaemonStopped{Instance: t.instance, Reason: reason}, "")
	}
	t.releaseOwner()
	t.stopping = true
	t.log(Info, "stopping", "reason", reason)
}

// stopEverything tells every output to stop. It needs no ledger, clock or planner (INV-11).
func (t *turn) stopEverything() {
	for i := range t.site.Channels {
		t.stopOutput(&t.site.Channels[i], "*")
	}
}

func (t *turn) stopOutput(c *Channel, run string) {
	t.serial++
	t.hurry(StopRuns{Node: c.Node, Output: c.Output, Run: run, Serial: t.serial})
}

// ledgerBroke closes the gate for good: what was done cannot be recorded any more.
func (t *turn) ledgerBroke(text string) {
	if t.ledgerBad == "" {
		t.log(Err, "the ledger cannot be written; dosing stops", "error", text)
	}
	t.ledgerBad = text
	t.stopEverything()
}

// misread answers a message that could not be used. Nothing else changes.
func (t *turn) misread(e Misread) {
	t.do(Count{Metric: MetricProblems, Labels: [2]string{string(e.Code)}}, Problem(e))
}

func (t *turn) link(up bool) {
	if t.linkUp == up {
		return
	}
	t.linkUp = up
	t.owner = ownership{linkMono: t.now.Mono}
	for i := range t.nodes {
		n := &t.nodes[i]
		n.supply.seen = false
		if !up {
			n.up = false
			continue
		}
		if n.cfg.Style == Supply {
			n.supply.since = max(1, t.now.Mono)
			continue
		}
		n.echoDue = t.now.Mono + echoWait
	}
	if !up {
		t.log(Warn, "the connection to the broker is lost")
		return
	}
	t.stopEverything()
	t.clearRetained()
	t.do(Announce{})
	for i, a := range t.alerts {
		t.do(ShowAlert{a.reminded(t.reminder(i).count)})
	}
	t.log(Info, "connected to the broker")
}

// look does everything that is due: it runs at the end of every step.
func (t *turn) look() {
	t.ownershipTick()
	t.watchRuns()
	t.watchSupplies()
	t.lookAtProbes()
	t.lookAtLevels()
	t.endHolds()
	t.tick()
	t.lookAtChemistry()
	t.serveSlots()
	t.lookAtAlerts()
	t.remind()
	t.tryAlerts()
	t.beat()
	t.writeMeans() // last: with the rows of everything else
}

// endHolds lets go of holds whose time is over.
func (t *turn) endHolds() {
	now := t.clock.Now()
	ended := func(h hold) bool { return h.ends <= now }
	if slices.ContainsFunc(t.holds, ended) {
		t.log(Info, "a hold has ended")
		t.letGo(ended)
	}
}

// String names a scope for people.
func (c Scope) String() string {
	switch {
	case c.Channel != "":
		return "channel " + c.Channel
	case c.System != "":
		return "system " + c.System
	case c.Interlock != "":
		return "interlock " + c.Interlock
	case c.Supply != "":
		return "supply relay " + c.Supply
	}
	return "everything"
}

// LockoutEvent is the payload of the event `lockout`.
type LockoutEvent struct {
	Scope Scope       `json:"scope"`
	Code  safety.Code `json:"code"`
	Text  string      `json:"text"`
}
