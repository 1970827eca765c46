package main

import (
	"strings"
	"testing"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
	"aliquot/safety"
)

// TestFarm_H07 has two services share one broker, each with systems, nodes and a ledger of its own: neither answers, runs or
// stops for the other, one goes on while the other is down, and a site stays one service's until an operator gives it away.
func TestFarm_H07(t *testing.T) {
	t.Parallel()
	b := mosquittotest.Start(t, mosquittotest.Options{})
	east, west := newRig(t, b, "farm-east"), newRig(t, b, "farm-west")
	services := map[*rig]*process{}
	for _, r := range []*rig{east, west} {
		r.commission()
		r.nodes()
		services[r] = r.daemon("")
	}
	for r, p := range services {
		r.owns(p)
		r.runsAgain(p)
	}

	mark := west.spy.mark()
	a := east.ask(machine.VerbRun, `"channel":"alk","volume_ml":4,"kind":"test"`)
	if a.Code != string(safety.Started) {
		t.Fatalf("the run in the east: %s (%s)", a.Text, a.Code)
	}
	must(t, "stop-all", "-c", west.config)
	east.awaitEnd(0, runOf(t, a), machine.Finished)
	for _, h := range west.spy.since(mark) {
		if strings.HasSuffix(h.Topic, "/run") || strings.Contains(string(h.Payload), runOf(t, a)) {
			t.Errorf("in the west was heard %s: %s", h.Topic, h.Payload)
		}
	}

	services[east].kill()
	services[east].wait()
	west.runsAgain(services[west])
	successor := east.daemon("")
	successor.await("connected to the broker")
	if a := east.ask(machine.VerbRun, `"channel":"alk","volume_ml":1,"kind":"test"`); a.Code != string(safety.SecondOwner) {
		t.Errorf("a run before the predecessor's record is old: %s (%s)", a.Text, a.Code)
	}
	east.takeOver()
	east.owns(successor)
	east.runsAgain(successor)
	west.runsAgain(services[west])
	for r := range services {
		r.checkWire()
	}
}
