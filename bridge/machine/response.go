package machine

import (
	"math"
	"time"

	"aliquot/planner"
	"aliquot/planner/units"
)

// What the tests say of the water's answer to doses (H-33). A volume told too large by a factor, a stronger solution or a
// faster pump makes each correction go too far. As long as the level stays near its target the tests cannot tell: the plan has
// learned the use by the same wrong measure, and nothing is amiss. Once it swings out of its band they can. Where the level
// answers by less than told nothing is said: a use that grows, and a plan that follows it, look the same. Our own choices.
const (
	responseTests  = 4                   // three intervals at least
	responseMost   = 8                   // tests that are looked at
	responseReach  = 45 * 24 * time.Hour // the use is taken for constant over so long at most
	responseStrong = 1.25                // the answer above which something is told wrongly
	responseSDs    = 2
)

// answer is what tests of a quantity say of 1 that is told to be dosed.
type answer struct {
	gain, sd float64
	swings   bool // a test lay outside the band
	known    bool
}

// noteResponse looks at the answer anew after a test. What was found strong stays so until it is found not to be.
func (y *systemState) noteResponse(q units.Quantity) {
	for i := range y.cfg.Targets {
		if g := &y.cfg.Targets[i]; g.Quantity == q {
			y.strong[i] = y.answer(g).strong(y.strong[i])
		}
	}
}

// strong is the answer if it says that something is told wrongly, given what was found before; 0 if not.
func (a answer) strong(before float64) float64 {
	switch {
	case !a.known:
		return before
	case a.swings && a.gain-responseSDs*a.sd > responseStrong:
		return a.gain
	case before > 0 && a.gain > responseStrong:
		return before
	}
	return 0
}

// answer fits level = start + gain × told − use × time to the last tests: those since the water was changed, something was
// noted, or a run ended that nobody knows the outcome of.
func (y *systemState) answer(g *planner.Target) answer {
	var days, told, level []float64
	sum, swings, newest := 0.0, false, y.inputs[len(y.inputs)-1].at
	for i := len(y.inputs) - 1; i >= 0 && len(days) < responseMost; i-- {
		in := &y.inputs[i]
		rise, sure := in.rise(g.Quantity)
		if !sure || in.kind == inputWater || in.kind == inputNote || newest.Sub(in.at) > responseReach {
			break
		}
		sum += rise
		if in.kind == inputTest && in.test.Quantity == g.Quantity && !in.test.Doubtful {
			days, told, level = append(days, newest.Sub(in.at).Hours()/24), append(told, -sum), append(level, in.test.Value)
			swings = swings || math.Abs(in.test.Value-g.Target) > g.Band
		}
	}
	if len(days) < responseTests {
		return answer{}
	}
	a := fitAnswer(days, told, level, g.Test.SD)
	a.swings = swings
	return a
}

// rise is what an input brought of a quantity. It is not sure where the outcome is unknown, or some of it appears late.
func (in *input) rise(q units.Quantity) (sum float64, sure bool) {
	for _, r := range in.rises {
		if r.Quantity != q {
			continue
		}
		if r.Unknown || r.Over > 0 {
			return 0, false
		}
		sum += r.Mean
	}
	return sum, true
}

// fitAnswer is the gain by least squares, its sd from the larger of the kit's and of what the tests scatter by around the fit.
func fitAnswer(days, told, level []float64, testSD float64) answer {
	told, level = withoutLine(days, told), withoutLine(days, level)
	spread, both := 0.0, 0.0
	for i := range told {
		spread, both = spread+told[i]*told[i], both+told[i]*level[i]
	}
	if !(spread > 0 && testSD > 0) {
		return answer{}
	}
	gain, rest := both/spread, 0.0
	for i := range told {
		rest += (level[i] - gain*told[i]) * (level[i] - gain*told[i])
	}
	sd := max(testSD, math.Sqrt(rest/float64(len(days)-3))) / math.Sqrt(spread)
	return answer{gain: gain, sd: sd, known: gain > 0 && sd <= gain}
}

// withoutLine is what is left of v once its straight line over x is taken off.
func withoutLine(x, v []float64) []float64 {
	n, mx, mv, xx, xv := float64(len(x)), 0.0, 0.0, 0.0, 0.0
	for i := range x {
		mx, mv = mx+x[i]/n, mv+v[i]/n
	}
	for i := range x {
		xx, xv = xx+(x[i]-mx)*(x[i]-mx), xv+(x[i]-mx)*(v[i]-mv)
	}
	slope := 0.0
	if xx > 0 {
		slope = xv / xx
	}
	out := make([]float64, len(v))
	for i := range v {
		out[i] = v[i] - mv - slope*(x[i]-mx)
	}
	return out
}

func (t *turn) responseConditions(y *systemState, add adder) {
	for i, g := range y.cfg.Targets {
		if s := y.strong[i]; s > 0 {
			add("response-"+y.cfg.ID+"-"+string(g.Quantity), Warning, "%s in %s swings, and by its tests each dose moves it about %.1f times as far as it should: the net volume is smaller than declared, the solution stronger, or a pump faster; check these three, and test each day until you know", g.Quantity, y.cfg.ID, s)
		}
	}
}
