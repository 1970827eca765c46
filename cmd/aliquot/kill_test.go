package main

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
	"aliquot/safety"
)

// onWire says whether a run's command can have been seen on the wire.
type onWire string

const (
	never   onWire = "never"
	always  onWire = "always"
	perhaps onWire = "perhaps"
)

// murder is one way in which the service dies around a run, and what must be true afterwards.
type murder struct {
	name  string
	point string // of the murderer in the first life
	// until is what the parent waits for before it kills the service itself, or tells it to stop.
	until     func(*rig, int)
	terminate bool   // until then tells it to stop
	second    string // the point in a second life; the service of the third is left alone

	committed bool
	wire      onWire
	outcome   machine.Outcome
}

var murders = []murder{
	{name: "before-record", point: "before run_reserved", wire: never},
	{name: "after-record", point: "after run_reserved", committed: true, wire: never, outcome: machine.Unknown},
	{name: "before-publish", point: "before run", committed: true, wire: never, outcome: machine.Unknown},
	{name: "amid-publish", point: "amid run", committed: true, wire: perhaps, outcome: machine.Unknown},
	{name: "after-publish", point: "after run", committed: true, wire: perhaps, outcome: machine.Unknown},
	{name: "before-event", point: "before event", committed: true, wire: perhaps, outcome: machine.Unknown},
	{name: "before-answer", point: "before answer", committed: true, wire: always, outcome: machine.Unknown},
	{name: "after-answer", point: "after answer", committed: true, wire: always, outcome: machine.Unknown},
	{name: "before-report", point: "hang after run", until: nodeStarted, committed: true, wire: always, outcome: machine.Unknown},
	{name: "after-started", point: "count started", committed: true, wire: always, outcome: machine.Unknown},
	{name: "running-shown", until: runningShown, committed: true, wire: always, outcome: machine.Unknown},
	{name: "before-end-record", point: "before run_ended", committed: true, wire: always, outcome: machine.Unknown},
	{name: "after-end-record", point: "after run_ended", committed: true, wire: always, outcome: machine.Finished},
	{name: "before-boot-record", point: "count started", second: "before daemon_started", committed: true, wire: always, outcome: machine.Unknown},
	{name: "after-boot-record", point: "count started", second: "after daemon_started", committed: true, wire: always, outcome: machine.Unknown},
	{name: "before-first-stop", point: "count started", second: "before stop", committed: true, wire: always, outcome: machine.Unknown},
	{name: "after-first-stop", point: "count started", second: "after stop", committed: true, wire: always, outcome: machine.Unknown},
	{name: "before-owner", point: "after run_reserved", second: "before owner", committed: true, wire: never, outcome: machine.Unknown},
	{name: "after-owner", point: "before run_reserved", second: "after owner", wire: never},
	{name: "before-stop-record", point: "before daemon_stopped", until: nodeStarted, terminate: true, committed: true, wire: always, outcome: machine.Unknown},
	{name: "after-stop-record", point: "after daemon_stopped", until: nodeStarted, terminate: true, committed: true, wire: always, outcome: machine.Unknown},
}

func nodeStarted(r *rig, mark int) {
	r.t.Helper()
	r.spy.await(mark, "the board's start", on(r.quay.Site+"/board/1/report", `"started"`))
}

func runningShown(r *rig, mark int) {
	r.t.Helper()
	r.awaitState(mark, "channel/alk", `"running":true`)
}

// TestKillMatrix kills the service at every step of a run (H-05, H-06): whatever the step, no run is sent twice
// (INV-3), none is sent that is not on disk (INV-4), and what nobody knows counts in full (INV-1).
func TestKillMatrix(t *testing.T) {
	t.Parallel()
	b := mosquittotest.Start(t, mosquittotest.Options{})
	for _, m := range murders {
		t.Run(m.name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t, b, "kill-"+m.name, func(q *quay) { q.AlkPerDay = "5 mL" })
			r.commission()
			r.nodes()
			m.commit(r)
			m.dieAgain(r)
			p := r.daemon("")
			r.owns(p)
			m.checkAfter(r)
			m.checkCaps(r)
			r.checkWire()
		})
	}
}

const killRef = "the-run-of-the-murder"

// commit asks for a run and has the service die around it. The node goes on until it has done what it was told.
func (m murder) commit(r *rig) {
	r.t.Helper()
	p := r.daemon(m.point)
	r.owns(p)
	mark := r.spy.mark()
	r.send(killRef, machine.VerbRun, `"channel":"alk","volume_ml":2`)
	if m.until != nil {
		m.until(r, mark)
		if m.terminate {
			p.terminate()
		} else {
			p.kill()
		}
	}
	p.died()
	r.awaitOffline(mark)
	r.takeOver()
	if m.wire == always {
		r.spy.await(mark, "the end of the run at the board", func(h heard) bool {
			return h.Topic == r.quay.Site+"/board/1/report" && (contains(string(h.Payload), `"finished"`) || contains(string(h.Payload), `"stopped"`))
		})
	}
}

// dieAgain starts a service that dies while it starts.
func (m murder) dieAgain(r *rig) {
	r.t.Helper()
	if m.second == "" {
		return
	}
	r.daemon(m.second).died()
	if !contains(m.second, "daemon_started") { // it may not have been connected yet
		r.awaitOffline(r.from)
	}
	r.takeOver()
}

// awaitOffline waits for the will of a dead service: the broker speaks it behind everything else that it had from
// the service.
func (r *rig) awaitOffline(mark int) {
	r.t.Helper()
	r.spy.await(mark, "the will of the service", on(r.topic("availability"), "offline"))
}

// checkAfter looks at the wire and at the books of the service that was started last.
func (m murder) checkAfter(r *rig) {
	r.t.Helper()
	if sent := r.sentRuns(r.from); len(sent) > 0 {
		r.t.Errorf("after the restart a run was sent: %s", sent[0].Payload)
	}
	r.checkStopsFirst(r.from)
	switch sent := len(r.sentRuns(0)); {
	case m.wire == never && sent != 0, m.wire == always && sent != 1, sent > 1:
		r.t.Errorf("%d runs were on the wire, expected %s", sent, m.wire)
	}
	reserved, ended := r.runs()
	if !m.committed {
		if len(reserved) != 0 {
			r.t.Fatalf("%d runs are in the ledger, none was to be", len(reserved))
		}
		return
	}
	if len(reserved) != 1 {
		r.t.Fatalf("%d runs are in the ledger, one was to be", len(reserved))
	}
	if got := ended[reserved[0].Run].Outcome; got != m.outcome {
		r.t.Errorf("the run is %q, must be %q", got, m.outcome)
	}
	if sent := r.sentRuns(0); len(sent) == 1 && sent[0].ID != reserved[0].Run {
		r.t.Errorf("the run %s was on the wire, %s is in the ledger", sent[0].ID, reserved[0].Run)
	}
	v := r.channel(r.from, "alk", func(v machine.ChannelView) bool { return !v.Running })
	if want := 2 * 1.05; !(v.Window24hHiML >= want-1e-6 && v.Window24hHiML < want+0.1) || v.LastOutcome != string(m.outcome) {
		r.t.Errorf("window_24h_hi_ml is %v after an outcome %q, must be %v after %q", v.Window24hHiML, v.LastOutcome, want, m.outcome)
	}
}

// checkCaps asks on: the request of the murder is done once, and the day's cap of 5 mL has room for one more run
// of at most 2.1 mL, not for two.
func (m murder) checkCaps(r *rig) {
	r.t.Helper()
	mark := r.spy.mark()
	again := r.askAs(killRef, machine.VerbRun, `"channel":"alk","volume_ml":2`)
	if again.Code != string(safety.Started) {
		r.t.Fatalf("the first request, repeated: %s (%s)", again.Text, again.Code)
	}
	var result machine.RunResult
	if err := json.Unmarshal(again.Result, &result); err != nil {
		r.t.Fatal(err)
	}
	reserved, _ := r.runs()
	if len(reserved) != 1 || reserved[0].Run != result.Run {
		r.t.Errorf("the repeated request was answered with run %s; in the ledger are %d runs", result.Run, len(reserved))
	}
	if m.committed {
		if sent := r.sentRuns(mark); len(sent) > 0 {
			r.t.Errorf("the repeated request sent a run: %s", sent[0].Payload)
		}
	} else {
		r.awaitEnd(mark, result.Run, machine.Finished)
	}
	if a := r.ask(machine.VerbRun, `"channel":"alk","volume_ml":2`); a.Code != string(safety.RestTime) {
		r.t.Errorf("a run right after another one: %s (%s)", a.Text, a.Code)
	}
	// A test run, with a person present, need not rest.
	mark = r.spy.mark()
	second := r.ask(machine.VerbRun, `"channel":"alk","volume_ml":2,"kind":"test"`)
	if second.Code != string(safety.Started) || json.Unmarshal(second.Result, &result) != nil {
		r.t.Fatalf("a second run within the cap: %s (%s)", second.Text, second.Code)
	}
	r.awaitEnd(mark, result.Run, machine.Finished)
	if a := r.ask(machine.VerbRun, `"channel":"alk","volume_ml":2,"kind":"test"`); a.Code != string(safety.DayCap) {
		r.t.Errorf("a third run, beyond per_day: %s (%s)", a.Text, a.Code)
	}
}

// awaitEnd waits for the end of a run.
func (r *rig) awaitEnd(mark int, run string, outcome machine.Outcome) machine.RunEvent {
	r.t.Helper()
	var e machine.RunEvent
	r.spy.await(mark, "the end of run "+run, func(h heard) bool { return r.endOf(h, run, &e) })
	if e.Outcome != outcome {
		r.t.Fatalf("run %s ended %s (%s), must end %s", run, e.Outcome, e.Reason, outcome)
	}
	return e
}

// endOf reads a message as the end of a run.
func (r *rig) endOf(h heard, run string, e *machine.RunEvent) bool {
	var event struct {
		Data machine.RunEvent `json:"data"`
	}
	if h.Topic != r.topic("event/run_ended") || json.Unmarshal(h.Payload, &event) != nil || event.Data.Run != run {
		return false
	}
	*e = event.Data
	return true
}

// TestKillTwice has two runs end unknown: together they use the cap up, and the channel asks for a look at it.
func TestKillTwice(t *testing.T) {
	t.Parallel()
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), "kill-twice", func(q *quay) { q.AlkPerDay = "5 mL" })
	r.commission()
	r.nodes()
	for _, ref := range []string{"first", "second"} {
		p := r.daemon("count started")
		r.owns(p)
		mark := r.spy.mark()
		r.send(ref, machine.VerbRun, `"channel":"alk","volume_ml":2,"kind":"test"`)
		p.died()
		r.awaitOffline(mark)
		r.spy.await(mark, "the end of the run at the board", on(r.quay.Site+"/board/1/report", `"finished"`))
		r.takeOver()
	}
	r.owns(r.daemon(""))
	v := r.channel(r.from, "alk", func(machine.ChannelView) bool { return true })
	if want := 2 * 2 * 1.05; math.Abs(v.Window24hHiML-want) > 1e-6 {
		t.Errorf("window_24h_hi_ml is %v after two unknown runs, must be %v", v.Window24hHiML, want)
	}
	const again = `"channel":"alk","volume_ml":1,"kind":"test"`
	if a := r.ask(machine.VerbRun, again); a.Code != string(safety.Fault) {
		t.Errorf("after two unknown runs in a row: %s (%s)", a.Text, a.Code)
	}
	if a := r.ask(machine.VerbClear, `"channel":"alk","code":"fault"`); !a.OK {
		t.Errorf("clearing the fault: %s (%s)", a.Text, a.Code)
	}
	if a := r.ask(machine.VerbRun, again); a.Code != string(safety.DayCap) {
		t.Errorf("two unknown runs must use per_day up: %s (%s)", a.Text, a.Code)
	}
	if n := len(r.sentRuns(r.from)); n != 0 {
		t.Errorf("%d runs were sent after the second death", n)
	}
	r.checkWire()
}

// TestKillBesideRelay dies while a relay is on, and is back before the relay's time is over: the relay is told to
// go off, and the run is unknown.
func TestKillBesideRelay(t *testing.T) {
	t.Parallel()
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), "kill-relay")
	r.commission()
	r.nodes()
	p := r.daemon("count on")
	r.owns(p)
	mark := r.spy.mark()
	r.send("relay", machine.VerbRun, `"channel":"trace","volume_ml":8`)
	p.died()
	r.awaitOffline(mark)
	went := r.spy.await(mark, "the relay", on(r.quay.Site+"/timed/state", "true"))
	r.daemon("")
	off := r.spy.await(r.from, "the relay going off", on(r.quay.Site+"/timed/state", "false"))
	if lasted := off.at.Sub(went.at); lasted > 7*time.Second {
		t.Errorf("the relay was on for %s, as long as it was told: it was not stopped", lasted)
	}
	// The relay may answer before the stop of the last output has left.
	r.spy.await(r.from, "the stop of the last output", on(r.quay.Site+"/fixed/set", ""))
	r.checkStopsFirst(r.from)
	reserved, ended := r.runs()
	if len(reserved) == 0 || ended[reserved[0].Run].Outcome != machine.Unknown {
		t.Errorf("the run of the relay is %v, must be unknown", ended)
	}
	v := r.channel(r.from, "trace", func(machine.ChannelView) bool { return true })
	if want := 8 * 1.05; !(v.Window24hHiML >= want-1e-6) {
		t.Errorf("window_24h_hi_ml is %v, must be at least %v", v.Window24hHiML, want)
	}
	if n := len(r.sentRuns(r.from)); n != 0 {
		t.Errorf("%d runs were sent after the restart", n)
	}
	r.checkWire()
}

// TestKillAtSlot dies with a scheduled run on disk: its slot is served, and never again.
func TestKillAtSlot(t *testing.T) {
	t.Parallel()
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), "kill-slot", func(q *quay) {
		q.TraceSlots, q.TracePerDay = "* * * * *", "1500"
	})
	r.commission()
	r.nodes()
	p := r.daemon("after run_reserved")
	r.up(p)
	r.send("clock", machine.VerbClock, "") // a slot may be due at once: then there is no answer
	// Else the next slot is at the next full minute: wait for it longer than for anything else.
	select {
	case <-p.ended:
	case <-time.After(61*time.Second + patience):
		t.Fatal("no scheduled run was reserved")
	}
	p.died()
	r.takeOver()
	r.owns(r.daemon(""))
	reserved, ended := r.runs()
	if len(reserved) != 1 || reserved[0].Slot == "" || ended[reserved[0].Run].Outcome != machine.Unknown {
		t.Fatalf("in the ledger are %v with outcomes %v, must be one unknown run of a slot", reserved, ended)
	}
	// The clock is confirmed, so the service has looked at its slots: that of the unknown run is served for good,
	// and the next ones rest.
	if a := r.ask(machine.VerbRun, `"channel":"trace","volume_ml":1`); a.Code != string(safety.RestTime) {
		t.Errorf("a run beside an unknown one: %s (%s)", a.Text, a.Code)
	}
	if n := len(r.sentRuns(0)); n != 0 {
		t.Errorf("%d runs were on the wire; the only one died in the ledger", n)
	}
}
