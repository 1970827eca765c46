package main

import (
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
	"aliquot/config"
	"aliquot/safety"
)

// TestH01_SupplyRelayOnTheWire lets a relay say that it stays on after its time: the real service opens the supply relay
// behind a real broker, keeps it open against whoever switches it on, and lets it go after a look.
func TestH01_SupplyRelayOnTheWire(t *testing.T) {
	t.Parallel()
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), "fedquay", func(q *quay) { q.Fed = true })
	r.commission()
	start(t, "the nodes but one", "", "simnode", "-c", r.configOf("nodes"), "--node", "board,fixed,feed")
	site := r.quay.Site
	say := func(topic, payload string) { r.spy.say(site+"/"+topic, payload, true) }
	say("timed/online", "true") // this relay is the test
	say("timed/state", `{"on":false}`)
	r.owns(r.daemon(""))
	r.awaitState(r.from, "node/feed", `"on":true`)

	mark := r.spy.mark()
	runOf(t, r.ask(machine.VerbRun, `"channel":"trace","volume_ml":1,"kind":"test"`))
	began := time.Now()
	say("timed/state", `{"on":true}`)
	r.spy.await(mark, "the supply's off", on(site+"/feed/set", "OFF"))
	if took := time.Since(began); took > 6*time.Second { // 1 s of run, 2 s of patience
		t.Errorf("the supply was opened %s after an output went on for 1 s", took)
	}
	r.spy.await(mark, "the supply's state", on(site+"/feed/state", "OFF"))
	if a := r.ask(machine.VerbRun, `"channel":"trace","volume_ml":1,"kind":"test"`); a.OK {
		t.Errorf("a run behind an open supply: %+v", a)
	}
	if a := r.ask(machine.VerbRun, `"channel":"alk","volume_ml":1,"kind":"test"`); !a.OK {
		t.Errorf("a channel on another feed does not run: %+v", a)
	}
	if a := r.ask(machine.VerbClear, `"what":"feed"`); a.Code != string(safety.Fault) {
		t.Errorf("cleared under an output that stays on: %+v", a)
	}
	mark = r.spy.mark()
	r.spy.say(site+"/feed/set", "ON", false)
	r.spy.await(mark, "somebody's on", on(site+"/feed/state", "ON"))
	r.spy.await(mark, "the service's off", on(site+"/feed/set", "OFF"))
	r.spy.await(mark, "off again", on(site+"/feed/state", "OFF"))

	say("timed/state", `{"on":false}`)
	r.clears("trace")
	must(t, "clear", "-c", r.config, "supply:feed")
	mark = r.spy.mark()
	r.spy.say(site+"/feed/set", "ON", false)
	r.spy.await(mark, "the supply that stays on", on(site+"/feed/state", "ON"))
	<-time.After(1500 * time.Millisecond)
	if a := r.ask(machine.VerbRun, `"channel":"trace","volume_ml":1,"kind":"test"`); !a.OK {
		t.Errorf("with its supply back a channel does not run: %+v", a)
	}
	for _, h := range r.spy.since(mark) {
		if h.Topic == site+"/feed/set" && string(h.Payload) == "OFF" {
			t.Error("after it was cleared the supply is opened again")
		}
	}
	out := must(t, "cut", "-c", r.config, "feed", "--reason", "monthly trial")
	if !strings.Contains(out, "told to go off") {
		t.Errorf("cut says: %s", out)
	}
	r.spy.await(mark, "the off of cut", on(site+"/feed/set", "OFF"))
}

// Proofs in ledgers hold on to the fingerprint of a node's entry: a new key must not void them. The value was made before
// there were supply relays.
func TestH02_FingerprintsOutliveNewKeys(t *testing.T) {
	n := config.Node{ID: "plug", Style: config.Switch, Command: "plug/set", On: "on", Off: "off", State: config.State{Topic: "plug/state", On: "on", Off: "off"},
		AutoOff: 20 * time.Second, Online: config.Online{Topic: "plug/online", Up: "1", Down: "0"}}
	for _, supply := range []string{"", "feed"} {
		n.Supply = supply
		if got := fingerprint(n); got != "5b1bc32252fe629a" {
			t.Errorf("the fingerprint is %s", got)
		}
	}
	n.AutoOff++
	if fingerprint(n) == "5b1bc32252fe629a" {
		t.Error("another timer has the same fingerprint")
	}
}
