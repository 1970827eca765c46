package machine_test

import (
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
	"aliquot/safety"
)

// pumped is the lagoon with a switch that says whether the return pump moves water; without it nothing is dosed.
func pumped() *machine.Site {
	site := lagoon(time.UTC)
	site.Probes = append(site.Probes, machine.Probe{ID: "flow", Quantity: units.Switch, Low: 0, High: 1, StaleAfter: 10 * time.Minute})
	site.Interlocks = append(site.Interlocks, machine.Interlock{Name: "no-flow", Probe: "flow", Block: []string{"alk", "ca", "mg", "trace"},
		Rule: safety.InterlockRule{When: safety.Bound{Value: 0, Equal: true}}})
	return site
}

func TestH34WithoutFlowNothingRuns(t *testing.T) {
	for _, c := range []struct {
		name string
		flow func(*rig)
		want bool
	}{
		{"it flows", func(r *rig) { r.readings["flow"] = 1 }, true},
		{"it stands", func(r *rig) { r.readings["flow"] = 0 }, false},
		{"the switch is silent", func(r *rig) { delete(r.readings, "flow") }, false},
		{"it is on hold for feeding", func(r *rig) { r.must(machine.VerbHold, machine.Request{All: true, Minutes: ref(240.0)}) }, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, pumped(), noon)
			r.readings["flow"] = 1
			r.boot()
			r.commission()
			c.flow(r)
			r.advance(20 * time.Minute) // a silent switch counts as none by then
			before := len(r.check.runs)
			r.advance(3 * time.Hour)
			if ran := len(r.check.runs) - before; (ran > 0) != c.want {
				t.Errorf("%d runs in three hours; want any: %v", ran, c.want)
			}
		})
	}
}
