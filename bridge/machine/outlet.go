package machine

import (
	"aliquot/planner/estimate"
	"aliquot/planner/units"
)

// When tests lie so far below what was predicted from what was given, one after the other, a crusted outlet or a
// blocked line is more likely than a tank that suddenly uses more (H-24). Dosing goes on within its limits: only the
// keeper can see the outlet. Our own choice.
const (
	outletSD    = 3
	outletTests = 2
)

// lowTest counts tests in a row that lie far below the prediction; any other test ends the count.
func (y *systemState) lowTest(q units.Quantity, level float64, r estimate.Result) {
	if r.Verdict == estimate.Refused {
		return
	}
	for i, g := range y.cfg.Targets {
		switch {
		case g.Quantity != q:
		case r.Known && r.Predicted-level > outletSD*r.PredictedSD:
			y.lowTests[i]++
		default:
			y.lowTests[i] = 0
		}
	}
}

func (t *turn) outletConditions(y *systemState, add adder) {
	for i, g := range y.cfg.Targets {
		if y.lowTests[i] >= outletTests && t.brings(y, g.Quantity) {
			add("outlet-"+y.cfg.ID+"-"+string(g.Quantity), Warning, "%d tests of %s in %s lie far below what was given: look at the outlets and lines, then at the solution and the test", y.lowTests[i], g.Quantity, y.cfg.ID)
		}
	}
}
