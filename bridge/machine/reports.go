package machine

import (
	"fmt"
	"math"

	"aliquot/safety"
)

func (t *turn) nodeOnline(e NodeOnline) {
	n := t.node(e.Node)
	if n == nil {
		return
	}
	if n.up != e.Up {
		t.log(Info, "node", "node", e.Node, "online", e.Up)
	}
	n.up, n.seen = e.Up, t.now.Mono
	if n.cfg.Style == Supply && !e.Up {
		t.supplyOffline(n)
	}
}

// reported takes a bounded-run node's word about a run.
func (t *turn) reported(e Reported) {
	n := t.node(e.Node)
	if n == nil || n.cfg.Style != BoundedRun {
		return
	}
	t.do(Count{Metric: MetricReports, Labels: [2]string{e.Node, string(e.State)}})
	if n.redelivered(e) {
		return
	}
	rebooted := n.boot != 0 && e.Boot != n.boot
	n.boot, n.seq = e.Boot, e.Seq
	if rebooted {
		t.nodeRebooted(n, e.Run)
	}
	c, r := t.openByID(e.Run)
	if r == nil || r.Node != e.Node {
		t.reportedLate(n, e)
		return
	}
	switch e.State {
	case ReportStarted:
		if r.started {
			t.twice(c, r.RunReserved)
			return
		}
		r.started, r.startedAt = true, t.clock.Now()
		c.lately = append(c.lately[max(0, len(c.lately)-15):], r.Run)
	case ReportFinished, ReportStopped:
		t.reportedEnd(c, r, e)
	case ReportRefused:
		t.end(r, Refused, nil, "the node refused it: "+e.Reason)
	}
}

// reportedEnd takes the run time from the node. A stop without a run time says nothing about the volume.
func (t *turn) reportedEnd(c *channelState, r *openRun, e Reported) {
	if e.Seconds == nil {
		t.end(r, Unknown, nil, fmt.Sprintf("node %s said %s without a run time", r.Node, e.State))
		return
	}
	ran := safety.Milliseconds(math.Ceil(*e.Seconds * 1000))
	outcome := Finished
	if e.State == ReportStopped {
		outcome = Partial
	}
	t.end(r, outcome, &ran, e.Reason)
	if over := ran - r.Longest; over.Duration() > stuckAfter {
		t.stopOutput(c.cfg, "*")
		t.lockOut(Scope{Channel: r.Channel}, safety.Fault, fmt.Sprintf("a run of %.1f s lasted %.1f s; look at the pump and the tank, then clear this", r.Duration.Seconds(), ran.Seconds()))
		t.cutSupply(c, fmt.Sprintf("a run of channel %s lasted longer than it was told to", r.Channel))
	}
}

// reportedLate is a report about a run that is not open: one that was given up, an older one that happens again,
// or one that nobody here asked for.
func (t *turn) reportedLate(n *nodeState, e Reported) {
	c, booking := t.booking(e.Run)
	switch {
	case c == nil && e.State == ReportStarted:
		t.foreignRun(n, fmt.Sprintf("node %s started a run (%s) that was not asked for here", n.cfg.ID, e.Run))
	case c != nil && e.Seconds != nil && e.State != ReportStarted:
		t.ranOn(c, booking, safety.Milliseconds(math.Ceil(*e.Seconds*1000)))
	case c == nil || e.State != ReportStarted:
		t.log(Warn, "a report about a run that is not open", "node", n.cfg.ID, "run", e.Run, "state", string(e.State))
	case contains(c.lately, e.Run):
		t.twice(c, RunReserved{Run: booking.Run, Channel: c.cfg.ID})
	default:
		c.lately = append(c.lately[max(0, len(c.lately)-15):], e.Run)
		t.stopOutput(c.cfg, e.Run)
		t.log(Warn, "a run started after it was given up; it was told to stop", "node", n.cfg.ID, "run", e.Run)
	}
}

// ranOn counts what a run moved beyond what was booked when it was given up: the node says so late (H-01). Less than
// was booked changes nothing.
func (t *turn) ranOn(c *channelState, booking safety.Booking, ran safety.Milliseconds) {
	rate := c.presentRate()
	hi := c.tolerance.Above(rate.VolumeIn(ran) + c.runsOn)
	if hi <= booking.Hi {
		return
	}
	t.record(RunEnded{Run: booking.Run, Outcome: Extra, Duration: ran, Hi: hi, Lo: booking.Lo, Reason: "the node reported a longer run"}, "")
	if hi <= booking.Hi+c.tolerance.Above(rate.VolumeIn(safety.Milliseconds(stuckAfter.Milliseconds()))) {
		return
	}
	t.stopOutput(c.cfg, "*")
	t.lockOut(Scope{Channel: c.cfg.ID}, safety.Fault, fmt.Sprintf("run %s lasted %.1f s, longer than it was told to; look at the pump and the tank, then clear this", booking.Run, ran.Seconds()))
	t.cutSupply(c, fmt.Sprintf("a run of channel %s lasted longer than it was told to", c.cfg.ID))
}

// twice counts a run that started a second time (H-03): as much again may have gone in.
func (t *turn) twice(c *channelState, r RunReserved) {
	t.stopOutput(c.cfg, "*")
	_, booking := t.booking(r.Run)
	_, worst := t.worstCase(c, booking.Longest, booking.Volume, c.presentRate())
	more, _ := safety.Account(safety.Commanded{Volume: booking.Volume, Worst: worst, Tolerance: c.tolerance}, Unknown, nil)
	t.record(RunEnded{Run: r.Run, Outcome: Extra, Hi: booking.Hi + more, Lo: booking.Lo, Reason: "the node started it twice"}, "")
	t.lockOut(Scope{Channel: c.cfg.ID}, safety.Fault, fmt.Sprintf("node %s started run %s twice; find out what repeats its messages, then clear this", c.cfg.Node, r.Run))
}

// foreignRun stops a whole node and latches its channels: somebody else commands it (H-37).
func (t *turn) foreignRun(n *nodeState, text string) {
	for _, i := range t.index.on[n.cfg.ID] {
		c := &t.channels[i]
		t.stopOutput(c.cfg, "*")
		t.lockOut(Scope{Channel: c.cfg.ID}, safety.Fault, text+"; find out who commands this node, then clear this")
	}
}

// nodeRebooted gives up what was running on a node that started anew: it does not resume (H-08).
func (t *turn) nodeRebooted(n *nodeState, except string) {
	for i := range t.channels {
		if r := t.channels[i].open; r != nil && r.Node == n.cfg.ID && r.Run != except {
			t.end(r, Unknown, nil, fmt.Sprintf("node %s restarted during the run", n.cfg.ID))
		}
	}
}

const reportsKept = 64

// redelivered knows a report that came before: at QoS 1 that may happen.
func (n *nodeState) redelivered(e Reported) bool {
	mark := reportMark{e.Boot, e.Seq}
	for _, m := range n.reports {
		if m == mark {
			return true
		}
	}
	n.reports = append(n.reports[max(0, len(n.reports)-reportsKept+1):], mark)
	return false
}

func (t *turn) openByID(run string) (*channelState, *openRun) {
	if i, ok := t.open[run]; ok {
		c := &t.channels[i]
		return c, c.open
	}
	return nil, nil
}

func (t *turn) channelAt(node string, output int) *channelState {
	if i, ok := t.index.output[nodeOutput{node, output}]; ok {
		return &t.channels[i]
	}
	return nil
}

// switched takes the state of a relay.
func (t *turn) switched(e Switched) {
	if n := t.node(e.Node); n != nil && n.cfg.Style == Supply {
		t.do(Count{Metric: MetricReports, Labels: [2]string{e.Node, map[bool]string{true: "on", false: "off"}[e.On]}})
		t.supplySeen(n, e.On)
		return
	}
	c := t.channelAt(e.Node, e.Output)
	if c == nil {
		return
	}
	t.do(Count{Metric: MetricReports, Labels: [2]string{e.Node, map[bool]string{true: "on", false: "off"}[e.On]}})
	switch r := c.open; {
	case e.On && r == nil:
		t.unasked(c, c.mayStillStart(t.clock.Now()))
	case e.On && !r.started && !e.Retained:
		r.started, r.startedAt = true, t.clock.Now()
	case !e.On && r != nil && r.started:
		t.wentOff(c, r)
	}
	if !e.On {
		c.offUntil = 0
	}
}

// earlyOff is how much sooner than asked a relay may be seen off before its run counts as cut short.
const earlyOff safety.Milliseconds = 1000

// wentOff ends a relay's run. The time it was seen on stands for the time it ran, since a relay reports none.
func (t *turn) wentOff(c *channelState, r *openRun) {
	on := safety.Milliseconds(t.clock.Now() - r.startedAt)
	switch {
	case r.foreign:
		t.end(r, Extra, &on, "it was on without an open run")
	case r.Purpose == Prove:
		t.proofEnded(c, r, on)
	case on < r.Duration-max(earlyOff, r.Duration/10):
		t.end(r, Unknown, nil, fmt.Sprintf("node %s was seen off after %.1f s of %.1f s", r.Node, on.Seconds(), r.Duration.Seconds()))
	case on <= r.Duration+max(earlyOff, r.Duration/20):
		// The messages' own delay is in `on`: within it the relay did what it was told.
		ran := r.Duration
		t.end(r, Finished, &ran, "")
	default:
		t.end(r, Finished, &on, "")
	}
}

// proofEnded judges the run that proves a relay's own timer: it got no off from here.
func (t *turn) proofEnded(c *channelState, r *openRun, on safety.Milliseconds) {
	limit := r.Longest + safety.Milliseconds(stuckAfter.Milliseconds())
	n := t.node(r.Node)
	t.end(r, Finished, &on, "")
	if on > limit {
		return
	}
	t.record(Proof{Channel: c.cfg.ID, Node: r.Node, Output: r.Output, OnFor: on, Fingerprint: n.cfg.Fingerprint}, "")
	t.do(Happened{Kind: "self_stop_proof", At: t.wall(), Data: ProofEvent{Node: r.Node, Channel: c.cfg.ID, OnForSeconds: on.Seconds()}})
	t.log(Info, "the relay went off by itself", "node", r.Node, "seconds", on.Seconds())
}

// ProofEvent is the payload of the event `self_stop_proof`.
type ProofEvent struct {
	Node         string  `json:"node"`
	Channel      string  `json:"channel"`
	OnForSeconds float64 `json:"on_for_seconds"`
}

// mayStillStart says whether a run that was given up can be what is seen on now: a late one, or one that the last
// process left behind. It is believed once.
func (c *channelState) mayStillStart(now safety.Elapsed) bool {
	at, open := c.book.LatestEnd()
	return c.givenUp && !open && now < at
}

// unasked books an output that is on without an open run, and tells it to stop. Until it is seen off it is an open
// run: the time seen on then raises what it may have moved, and an output that does not go off is noticed, whoever
// switched it on (H-01). Unless it can be a run that was given up, it was somebody else.
func (t *turn) unasked(c *channelState, late bool) {
	t.stopOutput(c.cfg, "*")
	if _, open := c.book.LatestEnd(); open {
		return
	}
	rate := max(c.presentRate(), 1)
	d := max(t.node(c.cfg.Node).cfg.AutoOff, safety.Milliseconds(stuckAfter.Milliseconds()))
	w := wanted{purpose: Manual, into: IntoTank, duration: d, volume: rate.VolumeIn(d), rate: rate, carryNL: c.carryNL}
	t.reserve(c, t.want(c, w))
	c.open.foreign, c.open.started, c.open.startedAt = true, true, t.clock.Now()
	if late {
		c.givenUp = false
		t.log(Warn, "an output is on that was given up; it was told to stop", "channel", c.cfg.ID)
		return
	}
	t.lockOut(Scope{Channel: c.cfg.ID}, safety.Fault, fmt.Sprintf("output %d of node %s went on without being asked; find out who switches it, then clear this", c.cfg.Output, c.cfg.Node))
}

// commandSeen looks at what stands on our own command topics: nobody else may write there, and nothing may be
// retained there (H-04, H-37).
func (t *turn) commandSeen(e CommandSeen) {
	n := t.node(e.Node)
	if n == nil {
		return
	}
	at := retainedAt{e.Output, e.Stop}
	switch {
	case e.Empty:
		delete(n.retained, at)
	case e.Retained:
		n.retained[at] = true
		t.log(Err, "a retained command lies on a command topic; it is removed, and the node does not run until it is gone", "node", e.Node, "output", e.Output)
		t.clearRetained()
	case e.Stop:
		n.echoDue, n.deafness = 0, false
	case !t.ours(e):
		if c := t.channelAt(e.Node, e.Output); c != nil {
			t.stopOutput(c.cfg, "*")
			t.lockOut(Scope{Channel: c.cfg.ID}, safety.Fault, fmt.Sprintf("somebody else sent a command to output %d of node %s; only this service may, see the broker's access rules; then clear this", e.Output, e.Node))
		}
	}
}

// ours says whether a command seen on a topic was sent from here.
func (t *turn) ours(e CommandSeen) bool {
	if e.Run != "" {
		c, _ := t.booking(e.Run)
		return c != nil
	}
	return e.Serial > 0 && e.Serial <= t.serial
}

// clearRetained removes retained commands as soon as there is a connection. The nodes' outputs are told apart by
// their channels, so that the order is that of the configuration.
func (t *turn) clearRetained() {
	if !t.linkUp {
		return
	}
	for i := range t.channels {
		c := t.channels[i].cfg
		for _, stop := range []bool{false, true} {
			if t.node(c.Node).retained[retainedAt{c.Output, stop}] {
				t.hurry(ClearRetained{Node: c.Node, Output: c.Output, Stop: stop})
			}
		}
	}
}
