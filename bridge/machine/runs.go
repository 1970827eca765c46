package machine

import (
	"fmt"
	"hash/fnv"
	"time"

	"aliquot/safety"
)

// wanted is a run that somebody or the plan wants.
type wanted struct {
	purpose   Purpose
	into      Into
	slot      string
	volume    safety.Microlitres
	duration  safety.Milliseconds
	rate      safety.Rate // the rate to book with: the calibrated one, or a cautious guess
	worst     safety.Microlitres
	longest   safety.Milliseconds
	carryNL   int64
	dayVolume safety.Microlitres
	by        string
}

// want completes a run with the worst that its node can make of it.
func (t *turn) want(c *channelState, w wanted) wanted {
	w.longest, w.worst = t.worstCase(c, w.duration, w.volume, w.rate)
	w.worst = max(w.worst, w.commanded(c).WorstIn(w.longest))
	return w
}

func (t *turn) verdict(c *channelState, w wanted) safety.Verdict {
	return safety.Permit(w.ask(c), t.facts(c))
}

func (w wanted) ask(c *channelState) safety.Ask {
	return safety.Ask{Attended: w.purpose.attended(), Vessel: w.into == IntoVessel, Proving: w.purpose == Prove,
		Duration: w.duration, Longest: w.longest, Commanded: w.commanded(c)}
}

func (w wanted) commanded(c *channelState) safety.Commanded {
	return safety.Commanded{Volume: w.volume, Worst: w.worst, Rate: w.rate, Tolerance: c.tolerance, Offset: c.offset, RunsOn: c.runsOn}
}

// start asks the gate, and if it allows reserves the run and sends it.
func (t *turn) start(c *channelState, w wanted) (RunReserved, safety.Verdict) {
	v := t.verdict(c, w)
	if !v.Allowed {
		return RunReserved{}, v
	}
	row := t.reserve(c, w)
	t.daysStale = t.daysStale || c.cfg.Course.Total > 0 // what shares its volume ends with it
	t.do(SendRun{RunReserved: row, Expires: t.wall().Add(safety.RunTTL), NotAfter: t.now.Mono + safety.RunTTL})
	t.do(Happened{Kind: "run_started", At: t.wall(), Data: runEvent(row)})
	return row, v
}

func (t *turn) reserve(c *channelState, w wanted) RunReserved {
	serial := t.serial + 1
	row := RunReserved{Run: t.runID(serial), Channel: c.cfg.ID, Container: c.cfg.Container, Node: c.cfg.Node, Output: c.cfg.Output,
		Serial: serial, Purpose: w.purpose, Into: w.into, Slot: w.slot, Volume: w.volume, Duration: w.duration,
		Longest: w.longest, Worst: w.worst, Tolerance: c.tolerance, Rate: w.rate, Offset: c.offset, RunsOn: c.runsOn, CarryNL: w.carryNL, DayVolume: w.dayVolume}
	t.record(row, w.by)
	return row
}

// runID makes an id in the form of a ULID: 48 bits of milliseconds, then 80 bits that depend on this process and
// the serial number, so that no two runs of any process share one.
func (t *turn) runID(serial int64) string {
	const alphabet = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
	h := fnv.New128a()
	fmt.Fprintf(h, "%s %s %d %d", t.instance, t.nonce, t.epoch, serial)
	sum := h.Sum(nil)
	id := make([]byte, 0, 26)
	ms := uint64(t.wall().UnixMilli())
	for shift := 45; shift >= 0; shift -= 5 {
		id = append(id, alphabet[ms>>uint(shift)&31])
	}
	for i := range 16 {
		id = append(id, alphabet[sum[i]&31])
	}
	return string(id)
}

// end gives an open run its outcome.
func (t *turn) end(r *openRun, o Outcome, ran *safety.Milliseconds, reason string) {
	c := t.channel(r.Channel)
	row := RunEnded{Run: r.Run, Outcome: o, Reason: reason}
	row.Hi, row.Lo = safety.Account(r.commanded(), o, ran)
	if c != nil && c.rate == 0 || r.unfed {
		row.Lo = 0 // booked at a rate that is a cautious guess, or the pump may have had no power: nothing is sure
	}
	if ran != nil {
		row.Duration = *ran
	}
	t.record(row, "")
	ended := runEvent(r.RunReserved)
	ended.Outcome, ended.Reason = o, reason
	ended.HiML, ended.LoML = row.Hi.Millilitres(), row.Lo.Millilitres()
	t.do(Count{Metric: MetricRuns, Labels: [2]string{r.Channel, string(o)}}, Happened{Kind: "run_ended", At: t.wall(), Data: ended})
	level := Info
	if o != Finished {
		level = Warn
	}
	t.log(level, "run ended", "channel", r.Channel, "run", r.Run, "outcome", o, "volume", r.Volume.String(), "reason", reason)
	if c != nil && (c.unknownRow >= 2 || len(c.unknowns) >= 3) {
		t.lockOut(Scope{Channel: r.Channel}, safety.Fault, fmt.Sprintf("%d runs in a row, %d in 24 h, ended without a report from node %s; look at the pump and the container, then clear this", c.unknownRow, len(c.unknowns), r.Node))
	}
}

const (
	echoWait   = 10 * time.Second
	stuckAfter = 2 * time.Second
	stuckOffs  = 30 * time.Second
)

// watchRuns loses patience with runs that say nothing, ends those of relays, and repeats stops to stuck outputs.
func (t *turn) watchRuns() {
	for i := range t.channels {
		c := &t.channels[i]
		if r := c.open; r != nil {
			if t.node(r.Node).cfg.Style == Switch {
				t.watchSwitch(c, r)
			} else {
				t.watchBounded(c, r)
			}
		}
		now := t.clock.Now()
		if every := t.offEvery(c); every > 0 && now-c.offLast >= every {
			c.offLast = now
			t.stopOutput(c.cfg, "*")
		}
	}
}

func (t *turn) watchBounded(c *channelState, r *openRun) {
	now := t.clock.Now()
	switch {
	case !r.started && now-r.elapsed >= elapsed(safety.AckWait):
		t.stopOutput(c.cfg, r.Run)
		t.end(r, Unknown, nil, fmt.Sprintf("node %s reported no start within %s", r.Node, safety.AckWait))
	case r.started && now-r.startedAt >= safety.Elapsed(r.Duration)+elapsed(safety.StopWait):
		t.stopOutput(c.cfg, r.Run)
		t.end(r, Unknown, nil, fmt.Sprintf("node %s reported no end within %s of it", r.Node, safety.StopWait))
	}
}

// watchSwitch ends a relay's run: the relay's own timer is the safeguard, the off at the end the rule. A run that
// proves the timer gets no off.
func (t *turn) watchSwitch(c *channelState, r *openRun) {
	now := t.clock.Now()
	if !r.started {
		if now-r.elapsed >= elapsed(safety.AckWait) && !r.foreign {
			t.stopOutput(c.cfg, r.Run)
			t.end(r, Unknown, nil, fmt.Sprintf("node %s did not say that its output went on within %s", r.Node, safety.AckWait))
		}
		return
	}
	expected := t.expectedEnd(r)
	if now >= expected && !r.offSent && r.Purpose != Prove {
		r.offSent = true
		t.stopOutput(c.cfg, r.Run)
	}
	if t.staysOn(c) {
		if c.offUntil == 0 {
			t.stuck(c, r)
		}
		t.cutSupply(c, fmt.Sprintf("output %d of node %s is still on after its time", r.Output, r.Node))
	}
}

// offEvery is how often an output that should be off is told so: once a second at first, then once a minute for as long as
// it is seen on, since what it was told, and its word that it went off, may have been lost. 0: it need not be told.
func (t *turn) offEvery(c *channelState) safety.Elapsed {
	switch {
	case c.offUntil > t.clock.Now():
		return elapsed(time.Second)
	case t.staysOn(c):
		return elapsed(time.Minute)
	}
	return 0
}

// expectedEnd is when a relay's run that has started should be over.
func (t *turn) expectedEnd(r *openRun) safety.Elapsed {
	if r.Purpose == Prove {
		return r.startedAt + safety.Elapsed(r.Longest)
	}
	return r.startedAt + safety.Elapsed(r.Duration)
}

// stuck is the worst case: an output that does not go off (H-01).
func (t *turn) stuck(c *channelState, r *openRun) {
	c.offUntil = t.clock.Now() + elapsed(stuckOffs)
	text := fmt.Sprintf("output %d of node %s is still on after its time; cut its power, look at the tank, then clear this", r.Output, r.Node)
	t.lockOut(Scope{Channel: c.cfg.ID}, safety.Fault, text)
	for _, n := range t.neighbours(c) {
		t.lockOut(Scope{Channel: n.Channel}, safety.Fault, fmt.Sprintf("channel %s, from which it is kept apart, does not stop", c.cfg.ID))
	}
}

func (t *turn) sendFailed(run string) {
	if _, r := t.openByID(run); r != nil {
		t.end(r, NotSent, nil, "the connection was not open")
	}
}

// RunEvent is the payload of the events run_started and run_ended.
type RunEvent struct {
	Run      string  `json:"run"`
	Channel  string  `json:"channel"`
	Purpose  Purpose `json:"purpose"`
	Into     Into    `json:"into"`
	VolumeML float64 `json:"volume_ml"` // commanded
	Seconds  float64 `json:"seconds"`   // commanded
	Outcome  Outcome `json:"outcome,omitempty"`
	HiML     float64 `json:"hi_ml,omitempty"` // the most that may have left the outlet
	LoML     float64 `json:"lo_ml,omitempty"` // the least that surely did
	Reason   string  `json:"reason,omitempty"`
}

func runEvent(r RunReserved) RunEvent {
	return RunEvent{Run: r.Run, Channel: r.Channel, Purpose: r.Purpose, Into: r.Into, VolumeML: r.Volume.Millilitres(), Seconds: r.Duration.Seconds()}
}
