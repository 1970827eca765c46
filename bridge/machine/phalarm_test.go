package machine_test

import (
	"testing"
	"time"

	"aliquot/bridge/machine"
)

// alkalineLagoon is a lagoon whose carbonate is known to raise pH, and without an interlock on pH.
func alkalineLagoon() *machine.Site {
	site := lagoon(time.UTC)
	site.Channels[0].Alkaline.AtOnce = 1
	site.Interlocks = site.Interlocks[1:]
	return site
}

func TestH26APHOfTheAlarmLocksOutWhatRaisesIt(t *testing.T) {
	for _, c := range []struct {
		name     string
		readings []float64
		latched  bool
		alert    bool
	}{
		{"below", []float64{8.59, 8.59, 8.59}, false, false},
		{"at it, once", []float64{8.6}, false, false},
		{"at it, twice", []float64{8.6, 8.6}, true, true},
		{"a bubble", []float64{8.7, 8.3, 8.7}, false, false},
		{"over, and back", []float64{8.7, 8.8, 8.4}, true, false},
		{"not plausible", []float64{9.6, 9.6}, false, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, alkalineLagoon(), noon)
			r.boot()
			r.commission()
			for _, v := range c.readings {
				r.readings["ph"] = v
				r.step(machine.ProbeRead{Probe: "ph", Value: v})
			}
			if got := r.lockedOut("alk"); got != c.latched {
				t.Errorf("alk is locked out: %v, want %v", got, c.latched)
			}
			if r.lockedOut("ca") {
				t.Error("ca does not raise pH, and is locked out")
			}
			if _, got := r.alerts["ph-alarm-ph"]; got != c.alert {
				t.Errorf("the alert stands: %v, want %v", got, c.alert)
			}
			if !c.latched {
				return
			}
			r.readings["ph"] = 8.2
			r.advance(time.Hour)
			if !r.lockedOut("alk") {
				t.Error("it ended by itself")
			}
			r.must(machine.VerbClear, machine.Request{Channel: "alk"})
			if r.lockedOut("alk") {
				t.Error("clear does not end it")
			}
		})
	}
}
