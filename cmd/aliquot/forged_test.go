package main

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
)

// forgeries are what somebody may say on the topics of a node while it runs; %s is the id of its run.
var forgeries = []struct{ name, channel, topic, payload string }{
	{"an end at once", "alk", "board/1/report", `{"v":1,"id":%q,"state":"finished","seconds":0,"boot":1,"seq":9001}`},
	{"a stop after nothing", "alk", "board/1/report", `{"v":1,"id":%q,"state":"stopped","seconds":0.001,"boot":1,"seq":9002}`},
	{"a refusal", "alk", "board/1/report", `{"v":1,"id":%q,"state":"refused","reason":"expired","boot":1,"seq":9003}`},
	{"a second start", "alk", "board/1/report", `{"v":1,"id":%q,"state":"started","boot":1,"seq":9004}`},
	{"a restart of the board", "alk", "board/1/report", `{"v":1,"id":%q,"state":"started","boot":9999,"seq":1}`},
	{"an end on another output", "alk", "board/2/report", `{"v":1,"id":%q,"state":"finished","seconds":0,"boot":1,"seq":9005}`},
	{"the board's absence", "alk", "board/online", `0`},
	{"a relay that is off", "trace", "timed/state", `{"on": false}`},
	{"a relay that is absent", "trace", "timed/online", `false`},
	// It uses the cap of the day up, which is the careful reading.
	{"an end after an hour", "alk", "board/1/report", `{"v":1,"id":%q,"state":"finished","seconds":3600,"boot":1,"seq":9006}`},
}

// TestH37_H03_ForgedReports has somebody else report on runs in every way: however it reads, a run counts for no less than it
// truly gave, nor for less than what was commanded.
func TestH37_H03_ForgedReports(t *testing.T) {
	t.Parallel()
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), "forgeries", func(q *quay) { q.AlkPerDay = "100 mL" })
	r.commission()
	w := r.truly()
	r.owns(r.daemon(""))
	var asked float64
	for _, f := range forgeries {
		r.clears("alk", "ca", "trace")
		mark := r.spy.mark()
		run := runOf(t, r.ask(machine.VerbRun, fmt.Sprintf(`"channel":%q,"volume_ml":1,"kind":"test"`, f.channel)))
		at, text := "board/1/report", `"started"`
		if f.channel == "trace" {
			at, text = "timed/state", "true"
		}
		r.spy.await(mark, "the start of the run", on(r.quay.Site+"/"+at, text))
		payload := f.payload
		if strings.Contains(payload, "%q") {
			payload = fmt.Sprintf(payload, run)
		}
		r.spy.say(r.quay.Site+"/"+f.topic, payload, false)
		e := r.endedInLedger(run)
		asked += 1.05
		if e.Hi.Millilitres() < 1.05-1e-6 {
			t.Errorf("%s: the run of 1 mL ended %s and counts as at most %s", f.name, e.Outcome, e.Hi)
		}
		if f.topic == "board/online" || f.topic == "timed/online" {
			r.spy.say(r.quay.Site+"/"+f.topic, map[string]string{"board/online": "1", "timed/online": "true"}[f.topic], true)
		}
		// The true end: what the node itself says later.
		end := `"finished"`
		if f.channel == "trace" {
			end = "false"
		}
		r.spy.await(mark, "the true end", func(h heard) bool {
			return h.Topic == r.quay.Site+"/"+at && string(h.Payload) != payload && (contains(string(h.Payload), end) || contains(string(h.Payload), `"stopped"`))
		})
	}
	r.checkTruth(w, map[string]float64{"alk": 100, "trace": 1800})
	if booked := r.booked("alk") + r.booked("trace"); booked < asked-1e-6 {
		t.Errorf("runs of %.3f mL count as %.3f mL", asked, booked)
	}
	r.checkWire()
}

// endedInLedger waits for the outcome of a run.
func (r *rig) endedInLedger(run string) machine.RunEnded {
	r.t.Helper()
	for began := time.Now(); time.Since(began) < patience; <-time.After(50 * time.Millisecond) {
		if _, ended := r.runs(); ended[run].Outcome != "" {
			return ended[run]
		}
	}
	r.t.Fatalf("the run %s has no outcome after %s", run, patience)
	return machine.RunEnded{}
}

// TestH04_RetainedCommandsAtEachNode plants retained commands for every kind of node, before the service starts: all are
// removed and told, and none is obeyed when the nodes come.
func TestH04_RetainedCommandsAtEachNode(t *testing.T) {
	t.Parallel()
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), "plants")
	r.commission()
	plants := map[string]string{"board/1/run": foreignRun("PLANTED", 5), "board/2/run": "nonsense", "board/1/stop": `{"v":1,"id":"*"}`,
		"timed/set": `{"on":true,"for_seconds":9.000,"n":77}`, "fixed/set": "on"}
	for topic, payload := range plants {
		r.spy.say(r.quay.Site+"/"+topic, payload, true)
	}
	p := r.daemon("")
	w := r.truly()
	r.owns(p)
	for _, node := range []string{"board", "timed", "fixed"} {
		r.spy.await(r.from, "the alert of "+node, on(r.topic("alert/retained-command-"+node), `"critical"`))
		r.spy.await(r.from, "its end", func(h heard) bool { return h.Topic == r.topic("alert/retained-command-"+node) && len(h.Payload) == 0 })
	}
	newcomer := join(t, r.broker, "", "newcomer-plants", r.quay.Site+"/#", r.topic("availability"))
	newcomer.await(0, "the availability", on(r.topic("availability"), "online"))
	for _, h := range newcomer.since(0) {
		if _, planted := plants[strings.TrimPrefix(h.Topic, r.quay.Site+"/")]; planted {
			t.Errorf("a newcomer finds on %s: %s", h.Topic, h.Payload)
		}
	}
	for _, at := range []channelAt{alkAt, traceAt, {"board", 2}, {"fixed", 0}} {
		if given := w.of(at); given > 0 {
			t.Errorf("%v gave %.3f mL", at, given)
		}
	}
	if reserved, _ := r.runs(); len(reserved) > 0 {
		t.Errorf("%d runs are in the ledger", len(reserved))
	}
	for _, h := range r.spy.since(r.from) {
		if contains(h.Topic, "/report") && contains(string(h.Payload), `"started"`) || contains(h.Topic, "/state") && string(h.Payload) == "on" {
			t.Errorf("a planted command was obeyed: %s %s", h.Topic, h.Payload)
		}
	}
}
