package estimate_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"aliquot/planner/estimate"
	"aliquot/planner/units"
)

// lived is an invented linear tank: its use wanders and steps, it is dosed every six hours and tested every few days.
type lived struct {
	inputs []estimate.Input
	times  []time.Time
	level  []float64 // in truth at times
	use    []float64
}

func live(seed uint64, days int) lived {
	chance := rand.New(rand.NewPCG(seed, 1))
	var out lived
	level, use := 8.2, 0.8+0.6*chance.Float64()
	every := 2 + chance.IntN(3)
	for i := range days * 4 {
		now := day(float64(i) / 4)
		if i%(4*every) == 0 {
			test := estimate.Test{At: now, Quantity: units.Alkalinity, Value: level + 0.15*chance.NormFloat64()}
			out.inputs = append(out.inputs, estimate.Input{At: now, Test: &test})
		}
		dose := max(0, 1.1+0.2*(8.2-level)) / 4 // near enough to hold it
		out.times, out.level, out.use = append(out.times, now.Add(time.Hour)), append(out.level, level-use/24+dose), append(out.use, use)
		out.inputs = append(out.inputs, estimate.Input{At: now.Add(time.Minute), Rises: rise(dose)})
		use = max(0.3, use+0.05*chance.NormFloat64())
		if chance.IntN(160) == 0 {
			use *= 1 + 0.4*(2*chance.Float64()-1)
		}
		level += dose - use/4
	}
	return out
}

// told gives the filter everything up to a time, and what it says then.
func told(f *estimate.Filter, inputs []estimate.Input, until time.Time) *estimate.Filter {
	f = f.Clone()
	for _, in := range inputs {
		if in.At.After(until) {
			break
		}
		switch {
		case in.Test != nil:
			f.Test(*in.Test)
		case in.Fraction > 0:
			f.WaterChange(in.At, in.Fraction, in.Mix)
		case in.Note != "":
			f.Disturb(in.At, in.Note)
		default:
			f.Dose(in.At, in.Rises)
		}
	}
	return f
}

func TestWhatCameAfterHelps(t *testing.T) {
	var filtered, smoothed, filteredUse, smoothedUse float64
	covered, coveredUse, n := 0, 0, 0
	for seed := range uint64(24) {
		l := live(seed, 40)
		f := newFilter()
		got := f.Smooth(units.Alkalinity, l.inputs, l.times)
		going, next := f.Clone(), 0
		for i, at := range l.times {
			for next < len(l.inputs) && !l.inputs[next].At.After(at) {
				going = told(going, l.inputs[next:next+1], at)
				next++
			}
			if i < 40 || i > len(l.times)-24 {
				continue // before ten days nobody knows much; after the last test nothing is learnt
			}
			e := going.At(at, units.Alkalinity)
			g := got[i]
			n++
			filtered += sq(e.Level - l.level[i])
			smoothed += sq(g.Level - l.level[i])
			filteredUse += sq(e.Consumption - l.use[i])
			smoothedUse += sq(g.Consumption - l.use[i])
			if math.Abs(g.Level-l.level[i]) <= 1.645*g.LevelSD {
				covered++
			}
			if math.Abs(g.Consumption-l.use[i]) <= 1.645*g.ConsumptionSD {
				coveredUse++
			}
		}
	}
	rms := func(sum float64) float64 { return math.Sqrt(sum / float64(n)) }
	share := func(k int) float64 { return 100 * float64(k) / float64(n) }
	if !(smoothed < 0.8*filtered) || !(smoothedUse < 0.8*filteredUse) {
		t.Errorf("errors %.3f and %.3f then, %.3f and %.3f afterwards; want clearly less", rms(filtered), rms(filteredUse), rms(smoothed), rms(smoothedUse))
	}
	for what, k := range map[string]int{"level": covered, "use": coveredUse} {
		if c := share(k); !(c >= 85 && c <= 97) {
			t.Errorf("the 90 %% interval of the %s holds %.1f %%; want 85 to 97", what, c)
		}
	}
}

func sq(x float64) float64 { return x * x }

// What cannot have been learnt is what the filter says, to the last bit: at the last test, and after it.
func TestNoDataAfterwardsIsTheFilter(t *testing.T) {
	l := live(3, 30)
	f := newFilter()
	last := l.inputs[0].At
	for _, in := range l.inputs {
		if in.Test != nil {
			last = in.At
		}
	}
	end := l.inputs[len(l.inputs)-1].At
	times := []time.Time{last, last.Add(17 * time.Hour), end, end.Add(72 * time.Hour)}
	got := f.Smooth(units.Alkalinity, l.inputs, times)
	for i, at := range times {
		e := told(f, l.inputs, at).At(at, units.Alkalinity)
		if g := got[i]; g.Level != e.Level || g.LevelSD != e.LevelSD || g.Consumption != e.Consumption || g.ConsumptionSD != e.ConsumptionSD {
			t.Errorf("at %v: smoothed %+v; want what the filter says: %v ± %v, %v ± %v", at, g, e.Level, e.LevelSD, e.Consumption, e.ConsumptionSD)
		}
	}
	// What is only dosed later tells nothing of the past.
	before := f.Smooth(units.Alkalinity, l.inputs, l.times[:40])
	more := append(append([]estimate.Input{}, l.inputs...), estimate.Input{At: end.Add(time.Hour), Rises: rise(0.5)},
		estimate.Input{At: end.Add(2 * time.Hour), Fraction: 0.1, Mix: []estimate.Level{{Quantity: units.Alkalinity, Value: 8}}}, estimate.Input{At: end.Add(3 * time.Hour), Note: "medication"})
	for i, g := range f.Smooth(units.Alkalinity, more, l.times[:40]) {
		if g != before[i] {
			t.Errorf("at %v: %+v with later doses, %+v without", g.At, g, before[i])
		}
	}
}

func TestSmoothLeavesTheFilterAlone(t *testing.T) {
	l := live(5, 12)
	f := newFilter()
	doseDaily(f, -1, 0, 1)
	before := f.At(day(0), units.Alkalinity)
	f.Smooth(units.Alkalinity, l.inputs, l.times)
	if after := f.At(day(0), units.Alkalinity); after != before {
		t.Errorf("the filter says %+v after, %+v before", after, before)
	}
}

func TestNothingIsSmoothedBeforeTheFirstTest(t *testing.T) {
	test := alk(2, 8)
	got := newFilter().Smooth(units.Alkalinity, []estimate.Input{{At: day(0), Rises: rise(1)}, {At: day(2), Test: &test}}, []time.Time{day(0), day(1), day(2), day(3)})
	for i, known := range []bool{false, false, true, true} {
		if got[i].Known != known || !known && got[i].Level != 0 {
			t.Errorf("day %d: %+v; want known %v", i, got[i], known)
		}
	}
	for _, g := range newFilter().Smooth(units.Iron, nil, []time.Time{day(0)}) {
		if g.Known {
			t.Errorf("%+v of a quantity that the system does not have", g)
		}
	}
}

// A step that two tests find was there before them: a held test that is confirmed counts from its own time, and one that
// is refuted not at all.
func TestHeldTests(t *testing.T) {
	times := []time.Time{day(5), day(11), day(14)}
	inputs := func(values ...float64) []estimate.Input {
		var out []estimate.Input
		for i, v := range values {
			test := alk(float64(3*i), v)
			out = append(out, estimate.Input{At: test.At, Test: &test})
		}
		return out
	}
	quiet := newFilter(estimate.Spec{Quantity: units.Alkalinity, TestSD: 0.1, Target: 8.3, Use: 0.001, UseSD: 0.05})
	plain := quiet.Smooth(units.Alkalinity, inputs(8, 8, 8, 8, 8), times)
	wrong := inputs(8, 8, 8, 8, 8)
	odd := alk(7, 12)
	wrong = append(wrong[:3:3], append([]estimate.Input{{At: odd.At, Test: &odd}}, wrong[3:]...)...)
	refuted := quiet.Smooth(units.Alkalinity, wrong, times)
	for i := range times {
		near(t, "level with a refuted test", refuted[i].Level, plain[i].Level, 0.02)
	}
	stepped := quiet.Smooth(units.Alkalinity, inputs(8, 8, 8, 8, 10, 10, 10), []time.Time{day(8), day(12), day(13)})
	near(t, "level before a confirmed step", stepped[0].Level, 8, 0.3)
	near(t, "level at the held test", stepped[1].Level, 10, 0.2)
	near(t, "level after it, before it was confirmed", stepped[2].Level, 10, 0.3)
	// A filter that already holds a test goes on from there.
	all := inputs(8, 8, 8, 8, 10, 10, 10)
	holding := told(quiet, all[:5], day(12))
	later := holding.Smooth(units.Alkalinity, all[5:], []time.Time{day(13), day(18)})
	near(t, "level by a filter that was holding", later[0].Level, 10, 0.3)
	if e := told(quiet, all, day(18)).At(day(18), units.Alkalinity); later[1].Level != e.Level {
		t.Errorf("level %v in the end; want the filter's %v", later[1].Level, e.Level)
	}
	confirmed := alk(12, 10)
	confirmed.Confirmed = true
	insisted := append(inputs(8, 8, 8, 8), estimate.Input{At: confirmed.At, Test: &confirmed})
	got := quiet.Smooth(units.Alkalinity, insisted, []time.Time{day(12)})
	near(t, "level where the keeper insists", got[0].Level, told(quiet, insisted, day(12)).At(day(12), units.Alkalinity).Level, 0)
}

// Between two tests the level turns where the water was changed, and the second test says how much was there before.
func TestSmoothingOverAWaterChangeAndLateAlkalinity(t *testing.T) {
	first, second := alk(0, 8), alk(4, 9)
	f := newFilter(estimate.Spec{Quantity: units.Alkalinity, TestSD: 0.05, Target: 8.3, Use: 0.001, UseSD: 0.02})
	in := []estimate.Input{{At: first.At, Test: &first},
		{At: day(2), Fraction: 0.5, Mix: []estimate.Level{{Quantity: units.Alkalinity, Value: 10}}}, {At: second.At, Test: &second}}
	got := f.Smooth(units.Alkalinity, in, []time.Time{day(1.9), day(2.1)})
	near(t, "before the change", got[0].Level, 8, 0.1)
	near(t, "after the change", got[1].Level, 9, 0.1)

	late := []estimate.Rise{{Quantity: units.Alkalinity, Mean: 1, Lo: 1, Hi: 1, Over: 72 * time.Hour}}
	in = []estimate.Input{{At: first.At, Test: &first}, {At: day(0.01), Rises: late}, {At: second.At, Test: &second}}
	got = f.Smooth(units.Alkalinity, in, []time.Time{day(1), day(3.9)})
	near(t, "after one time constant", got[0].Level, 8+1-1/math.E, 0.1)
	near(t, "in the end", got[1].Level, 9, 0.1)
}

func BenchmarkSmooth(b *testing.B) {
	l := live(1, 120)
	f := newFilter()
	for b.Loop() {
		f.Smooth(units.Alkalinity, l.inputs, l.times)
	}
}
