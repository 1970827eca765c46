package main

import (
	"fmt"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
	"aliquot/safety"
)

// TestBrokerRestart loses the broker, and all that it remembered, between a run's command and its end (H-04,
// H-09, H-10): nothing is sent late or again, and everything retained is there again.
func TestBrokerRestart(t *testing.T) {
	t.Parallel()
	b := mosquittotest.Start(t, mosquittotest.Options{})
	r := newRig(t, b, "restart")
	r.commission()
	r.nodes()
	p := r.daemon("")
	r.owns(p)
	mark := r.spy.mark()
	r.send("lost", machine.VerbRun, `"channel":"alk","volume_ml":2`)
	r.spy.await(mark, "the run", on(r.quay.Site+"/board/1/run", `"id"`))
	b.Kill()
	p.await("outcome=unknown")

	back := r.spy.mark()
	b.Restart()
	r.spy.connected(2)
	r.spy.await(back, "the birth", on(r.topic("availability"), "online"))
	p.awaitTimes("this instance owns the site", 2)
	r.awaitState(back, "node/board", `"online":true`)
	if a := r.ask(machine.VerbRun, `"channel":"alk","volume_ml":2`); a.Code != string(safety.RestTime) {
		t.Errorf("a run after the unknown one: %s (%s)", a.Text, a.Code)
	}
	if sent := r.sentRuns(back); len(sent) > 0 {
		t.Errorf("after the broker came back a run was sent: %s", sent[0].Payload)
	}
	r.checkStopsFirst(back)
	r.checkRetained()
	reserved, ended := r.runs()
	if len(reserved) != 1 || ended[reserved[0].Run].Outcome != machine.Unknown {
		t.Errorf("in the ledger are %v with outcomes %v, must be one unknown run", reserved, ended)
	}
	r.runsAgain(p)
	r.checkWire()
}

// checkRetained looks at what a newcomer finds at the broker.
func (r *rig) checkRetained() {
	r.t.Helper()
	newcomer := join(r.t, r.broker, "", "newcomer-"+r.quay.Site, "aliquot/"+r.quay.Site+"/#")
	var instance string
	for _, row := range r.rows() {
		if b, ok := row.Body.(machine.DaemonStarted); ok {
			instance = b.Instance
		}
	}
	for rest, text := range map[string]string{"availability": "online", "about": `"schema":1`, "owner": instance,
		"state/channel/alk": `"last_outcome":"unknown"`, "state/channel/ca": `"primed":false`, "state/container/carbonate-jug": `"remaining_min_ml"`,
		"state/quantity/quay/alkalinity": `"unit":"dKH"`, "state/node/fixed": `"needs_proof":true`, "alert/proof-fixed": `"raised":true`} {
		h := newcomer.await(0, rest+" with "+text, on(r.topic(rest), text))
		if !h.Retained {
			r.t.Errorf("%s is not retained", rest)
		}
	}
}

// runsAgain has the service do one more run, to the end.
func (r *rig) runsAgain(p *process) {
	r.t.Helper()
	mark := r.spy.mark()
	a := r.ask(machine.VerbRun, `"channel":"alk","volume_ml":1,"kind":"test"`)
	if a.Code != string(safety.Started) {
		r.t.Fatalf("%s does not run any more: %s (%s)", p.name, a.Text, a.Code)
	}
	r.awaitEnd(mark, runOf(r.t, a), machine.Finished)
}

// TestBrokerFrozen has a run command lie in a broker that stands still until the run has expired: the service gives
// the run up, and the board refuses it when it comes after all (H-03, H-09).
func TestBrokerFrozen(t *testing.T) {
	t.Parallel()
	b := mosquittotest.Start(t, mosquittotest.Options{})
	r := newRig(t, b, "frozen")
	r.commission()
	r.nodes()
	p := r.daemon("hang before run")
	r.owns(p)
	mark := r.spy.mark()
	r.send("late", machine.VerbRun, `"channel":"alk","volume_ml":2`)
	p.await(hanging)
	b.Freeze()
	p.proceed()
	r.checkTurns(p, "outcome=unknown")
	for _, row := range r.rows() {
		if _, ok := row.Body.(machine.RunReserved); ok {
			<-time.After(time.Until(row.At.Add(safety.RunTTL + time.Second))) // the run expires
		}
	}
	b.Thaw()
	r.spy.await(mark, "the stop of the run that was given up", func(h heard) bool { return h.Topic == r.quay.Site+"/board/1/stop" })
	if sent := r.sentRuns(mark); len(sent) > 0 {
		r.spy.await(mark, "the board's refusal", on(r.quay.Site+"/board/1/report", `"expired"`))
	}
	for _, h := range r.spy.since(mark) {
		if h.Topic == r.quay.Site+"/board/1/report" && contains(string(h.Payload), `"started"`) {
			t.Errorf("the board started an expired run: %s", h.Payload)
		}
	}
	_, ended := r.runs()
	for run, e := range ended {
		if e.Outcome != machine.Unknown || e.Hi.Millilitres() < 2*1.05 {
			t.Errorf("run %s is %s with at most %s, must be unknown with 2.1 mL", run, e.Outcome, e.Hi)
		}
	}
	r.checkWire()
}

// checkTurns watches the service until it says something: it must not stand still meanwhile (INV-11).
func (r *rig) checkTurns(p *process, text string) {
	r.t.Helper()
	const most = 2 // s
	for began := time.Now(); !contains(p.out.text(), text); {
		var age int
		_, body := p.get("/healthz")
		if _, err := fmt.Sscanf(body, "ok: the last turn was %d s ago", &age); err != nil || age > most {
			r.t.Fatalf("with a broker that does not answer /healthz says: %s", body)
		}
		if time.Since(began) > patience {
			r.t.Fatalf("%s did not say %q within %s", p.name, text, patience)
		}
		<-time.After(50 * time.Millisecond)
	}
}
