package machine_test

import (
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/simnode"
	"aliquot/planner/units"
	"aliquot/safety"
)

// A relay that does not go off counts with every minute (H-01), also against the cap of the quantity that another
// channel brings, and at most what its container can have held.
func TestH01INV1AStuckOutputCountsWhileItIsOn(t *testing.T) {
	site := lagoon(time.UTC)
	perML := site.Channels[2].Strength[units.Magnesium]
	site.Systems[0].Targets[2].MaxDose = 400 * perML / 340 // the relay may move 400 mL
	site.Channels[3].Strength = map[units.Quantity]float64{units.Magnesium: perML}
	r := newRig(t, site, noon)
	r.boot()
	r.commission()
	r.must(machine.VerbRun, machine.Request{Channel: "trace", VolumeML: ref(1.0)})
	r.advance(10 * time.Minute)
	r.faults("plug", stuck)
	before := r.channel("mg").Window24hHiML
	r.must(machine.VerbRun, machine.Request{Channel: "mg", VolumeML: ref(1.0)})
	var counted []float64
	for range 6 {
		r.advance(20 * time.Minute)
		counted = append(counted, r.channel("mg").Window24hHiML-before)
	}
	rate := float64(relayRate)
	for i, got := range counted {
		least := rate * 20 * float64(i+1)
		if got < least-rate || got > 1.5*(least+rate) {
			t.Errorf("after %d min %.1f mL count, must be a little more than the %.1f mL that ran", 20*(i+1), got, least)
		}
	}
	if a := r.ask(machine.VerbRun, machine.Request{Channel: "trace", VolumeML: ref(1.0)}); a.Code != safety.QuantityCap {
		t.Errorf("another channel that brings magnesium is answered %s: %s", a.Code, a.Text)
	}
	r.faults("plug", simnode.Faults{})
	r.advance(5 * time.Minute)
	if got := r.channel("mg").Window24hHiML - before; got < counted[5] {
		t.Errorf("seen off, %.1f mL count, and %.1f before", got, counted[5])
	}
	r.check.refolds(r)
}

func TestH01AStuckOutputMovesNoMoreThanItsContainerHeld(t *testing.T) {
	r := newRig(t, lagoon(time.UTC), noon)
	r.boot()
	r.commission()
	r.must(machine.VerbRefill, machine.Request{Container: "sulfate-jug", RemainingML: ref(300.0)})
	r.faults("plug", stuck)
	r.must(machine.VerbRun, machine.Request{Channel: "mg", VolumeML: ref(1.0)})
	r.advance(5 * time.Hour)
	if got := r.channel("mg").Window24hHiML; got < 300 || got > 330 {
		t.Errorf("%.1f mL count, must be what was in the container and what ran before", got)
	}
}
