package machine_test

import (
	"testing"
	"time"

	"aliquot/bridge/machine"
)

// What a keeper measures in a container is compared with what ran out of it (H-23). 100 mL of 5000 are allowed for the
// reading, and a tenth of what was used.
func TestH23AMeasuredRestThatDisagreesIsADoubt(t *testing.T) {
	const name = "calibration-doubt-carbonate-jug"
	for _, c := range []struct {
		name  string
		added float64 // beside the stated rest; 0: nothing is said
		rest  float64 // found, from a count of 4800
		want  bool
	}{
		{"as counted", 0, 4800, false},
		{"less, within the reading", 0, 4702, false},
		{"less", 0, 4680, true},
		{"more: something may have been poured in", 0, 4990, false},
		{"filled up by what was used", 100, 4900, false},
		{"filled up by less than is in it now", 50, 4990, true},
		{"filled up by more than is in it now", 400, 5000, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, lagoon(time.UTC), noon)
			r.boot()
			r.commission()
			r.must(machine.VerbHold, machine.Request{All: true})
			r.must(machine.VerbSwap, machine.Request{Container: "carbonate-jug", RemainingML: ref(4800.0), Confirm: true})
			q := machine.Request{Container: "carbonate-jug", RemainingML: ref(c.rest), Confirm: true}
			if c.added > 0 {
				q.VolumeML = ref(c.added)
			}
			r.must(machine.VerbRefill, q)
			r.advance(time.Second)
			if _, got := r.alerts[name]; got != c.want {
				t.Fatalf("the alert stands: %v, want %v", got, c.want)
			}
			r.crash()
			r.boot()
			r.advance(time.Second)
			if _, got := r.alerts[name]; got != c.want {
				t.Fatalf("after a restart the alert stands: %v, want %v", got, c.want)
			}
			r.check.refolds(r)
			r.must(machine.VerbRefill, machine.Request{Container: "carbonate-jug", RemainingML: ref(c.rest), Confirm: true})
			r.advance(time.Second)
			if _, got := r.alerts[name]; got {
				t.Error("the next statement agrees, and the alert stands")
			}
		})
	}
}
