package estimate_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"

	"aliquot/planner/estimate"
	"aliquot/planner/units"
)

// The scenarios here are invented.

var start = time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC)

func day(d float64) time.Time { return start.Add(time.Duration(d * 24 * float64(time.Hour))) }

func alkalinity() estimate.Spec {
	return estimate.Spec{Quantity: units.Alkalinity, TestSD: 0.15, Target: 8.3, Upper: 8.8}
}

func newFilter(specs ...estimate.Spec) *estimate.Filter {
	if len(specs) == 0 {
		specs = []estimate.Spec{alkalinity()}
	}
	return estimate.New(340, specs)
}

func alk(d, value float64) estimate.Test {
	return estimate.Test{At: day(d), Quantity: units.Alkalinity, Value: value}
}

func rise(mean float64) []estimate.Rise {
	return []estimate.Rise{{Quantity: units.Alkalinity, Mean: mean, Lo: mean * .95, Hi: mean * 1.05}}
}

// doseDaily gives perDay in hourly doses from one day to another.
func doseDaily(f *estimate.Filter, from, to, perDay float64) {
	n := int(math.Round((to - from) * 24))
	for i := range n {
		f.Dose(day(from+(float64(i)+.5)/24), rise(perDay/24))
	}
}

func at(f *estimate.Filter, d float64) estimate.Estimate { return f.At(day(d), units.Alkalinity) }

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.4f, want %.4f ± %.4f", what, got, want, tolerance)
	}
}

func TestNothingIsKnownBeforeATest(t *testing.T) {
	f := newFilter()
	doseDaily(f, 0, 2, 1)
	f.WaterChange(day(2), .1, nil)
	f.Disturb(day(2), "other")
	if e := at(f, 3); e.Known || e.Level != 0 || e.Consumption != 0 || e.TestsUsed != 0 || e.Held != nil {
		t.Errorf("estimate without a test = %+v, want unknown and empty", e)
	}
	if e := f.At(day(3), units.Calcium); e.Known || e.Quantity != units.Calcium {
		t.Errorf("estimate of a quantity that the system lacks = %+v", e)
	}
}

func TestTheFirstTestIsAccepted(t *testing.T) {
	f := newFilter()
	r := f.Test(alk(0, 11))
	e := at(f, 0)
	if r.Verdict != estimate.Accepted || r.Known || !e.Known || math.Abs(e.Level-11) > 1e-9 || e.TestsUsed != 1 || !e.LastAccepted.Equal(start) {
		t.Errorf("first test: %+v, %+v; want accepted, level 11", r, e)
	}
	near(t, "sd after the first test", e.LevelSD, .32, .01) // the kit may be worse than told, the test grossly wrong
}

func TestUseIsLearnt(t *testing.T) {
	for _, c := range []struct {
		name      string
		use, dose float64
	}{
		{"fish only", 0.1, 0}, {"mixed, dosed", 1.2, 1.2}, {"mixed, underdosed", 1.2, 0.9},
		{"dense stony corals", 3.5, 3.5}, {"nothing used, overdosed", 0, .2},
	} {
		t.Run(c.name, func(t *testing.T) {
			f, level := newFilter(), 8.3
			for d := 0.; d <= 21; d += 3 {
				if r := f.Test(alk(d, level)); r.Verdict != estimate.Accepted {
					t.Fatalf("test of day %v is %v at distance %.2f (limit %.2f)", d, r.Verdict, r.Distance, r.Limit)
				}
				doseDaily(f, d, d+3, c.dose)
				level += 3 * (c.dose - c.use)
			}
			e := at(f, 24)
			near(t, "use", e.Consumption, c.use, .06)
			near(t, "level", e.Level, level, .12)
			if !(e.ConsumptionSD > 0 && e.ConsumptionSD < .15+.06*c.use) {
				t.Errorf("sd of the use = %v, want below .15 and 6 %% of it", e.ConsumptionSD)
			}
		})
	}
}

func TestNoisyTestsScatterAsTheSDSays(t *testing.T) {
	inside, n := 0, 0
	for seed := range uint64(40) {
		rng := rand.New(rand.NewPCG(seed, 1))
		f, level := newFilter(), 8.3
		for d := 0.; d <= 30; d += 3 {
			f.Test(alk(d, level+.15*rng.NormFloat64()))
			doseDaily(f, d, d+3, 1.1)
			level += 3 * (1.1 - 1.2)
		}
		e := at(f, 33)
		n++
		if math.Abs(e.Level-level) <= 2*e.LevelSD {
			inside++
		}
	}
	if inside < n*85/100 {
		t.Errorf("the true level lies within 2 sd in %d of %d cases, want at least 85 %%", inside, n)
	}
}

func TestAGrowingUseIsFollowed(t *testing.T) {
	f, level, use := newFilter(), 8.3, 1.0
	for d := 0.; d < 60; d += 3 {
		f.Test(alk(d, level))
		doseDaily(f, d, d+3, use)
		use += .05 // +0.05 dKH a day every three days
		level -= .15 / 2
		if level < 7.6 {
			f.WaterChange(day(d+2.9), .5, []estimate.Level{{Quantity: units.Alkalinity, Value: 9.2}})
			level = level*.5 + 4.6
		}
	}
	e := at(f, 60)
	// Doses that grow with the use leave open which of use and gain is larger: their ratio is what has to be given.
	near(t, "need after growth", e.Consumption/e.Gain, use, .15)
}

func TestRefusedTestsChangeNothing(t *testing.T) {
	f := steady(t)
	before := at(f, 12)
	for _, test := range []estimate.Test{alk(11, math.NaN()), alk(11, math.Inf(1)), alk(11, math.Inf(-1)),
		{At: day(11), Quantity: units.Calcium, Value: 430}} {
		if r := f.Test(test); r != (estimate.Result{}) {
			t.Errorf("Test(%+v) = %+v, want refused", test, r)
		}
	}
	if e := at(f, 12); e != before {
		t.Errorf("estimate changed: %+v, before %+v", e, before)
	}
}

func TestNonsenseNeverPoisonsTheEstimate(t *testing.T) {
	f := steady(t)
	before := at(f, 12)
	for _, x := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		f.Dose(day(12), []estimate.Rise{{Quantity: units.Alkalinity, Mean: x}, {Quantity: units.Alkalinity, Hi: x}, {Quantity: units.Alkalinity, Lo: x}})
		f.WaterChange(day(12), x, nil)
	}
	f.WaterChange(day(12), -.1, nil)
	f.WaterChange(day(12), 1.01, nil)
	if e := at(f, 12); e != before {
		t.Errorf("estimate changed: %+v, before %+v", e, before)
	}
	f.WaterChange(day(12), .5, []estimate.Level{{Quantity: units.Alkalinity, Value: math.NaN()}})
	if e := at(f, 12); e.Level != before.Level || !(e.LevelSD > before.LevelSD) {
		t.Errorf("a mix without a number: %+v, want the same level, less surely", e)
	}
}

func TestWaterChange(t *testing.T) {
	f := steady(t)
	level := at(f, 12).Level
	f.WaterChange(day(12), .25, []estimate.Level{{Quantity: units.Alkalinity, Value: 6}})
	near(t, "level", at(f, 12).Level, .75*level+1.5, 1e-9)
	f.WaterChange(day(12), 1, []estimate.Level{{Quantity: units.Alkalinity, Value: 7}})
	near(t, "all new water", at(f, 12).Level, 7, 1e-9)
}

func TestUnknownRunsCountAtTheirMostForRaises(t *testing.T) {
	f := steady(t)
	before := at(f, 12)
	f.Dose(day(12), []estimate.Rise{{Quantity: units.Alkalinity, Mean: .2, Lo: 0, Hi: .4, Unknown: true}})
	e := at(f, 12)
	near(t, "mean", e.Level, before.Level+.2*before.Gain, .005)
	near(t, "caught", e.LevelCaught, e.Level+.2, 1e-9)
	near(t, "variance", e.LevelSD*e.LevelSD, before.LevelSD*before.LevelSD+.04, .001) // all or nothing: 0.2²
	f.Test(alk(12, e.Level))
	if after := at(f, 12); !(after.LevelCaught-after.Level < .12) {
		t.Errorf("after a test the unknown run still counts %v", after.LevelCaught-after.Level)
	}
}

func TestDisturbWidensAndMovesNoMean(t *testing.T) {
	for _, kind := range []string{"livestock_added", "livestock_removed", "medication", "lights_out", "salt_mix", "filter_media", "other", ""} {
		f := steady(t)
		before := at(f, 12)
		f.Disturb(day(12), kind)
		e := at(f, 12)
		if e.Level != before.Level || e.Consumption != before.Consumption || !(e.ConsumptionSD > before.ConsumptionSD) || e.LevelSD < before.LevelSD {
			t.Errorf("%q: %+v, before %+v; want wider, the same means", kind, e, before)
		}
	}
}

func TestH27OvershootLatch(t *testing.T) {
	for _, c := range []struct {
		name   string
		values []float64
		want   bool
	}{
		{"one above", []float64{8.3, 8.9}, false},
		{"two above and rising", []float64{8.85, 9.1}, true},
		{"two above and falling", []float64{9.1, 8.85}, false},
		{"two above and level", []float64{9, 9}, false},
		{"at the band's edge", []float64{8.8, 9.1}, false},
		{"stays while a third falls", []float64{8.85, 9.1, 9}, true},
		{"ends at the target", []float64{8.85, 9.1, 8.3, 8.2, 8.2}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := newFilter()
			last := 0.
			for i, v := range c.values {
				last = float64(i)
				f.Test(alk(last, v))
				f.Dose(day(last), rise(.4))
				f.Dose(day(last+.9), rise(.1))
			}
			if e := at(f, last); e.Overshoot != c.want {
				t.Errorf("after %v overshoot = %v (level %.2f), want %v", c.values, e.Overshoot, e.Level, c.want)
			}
		})
	}
	f := steady(t)
	f.Test(alk(12, 8.95))
	f.Test(alk(12.1, 9.1))
	if e := at(f, 12.1); !e.Overshoot {
		t.Errorf("no overshoot after 8.95 and 9.1: %+v", e)
	}
	if e := at(f, 15); e.Overshoot {
		t.Errorf("overshoot lasts though the prediction is %v, target 8.3", e.Level)
	}
}

func TestReadingsKeepWhatWasPredicted(t *testing.T) {
	f := steady(t)
	f.Test(alk(12, 8.1))
	e := at(f, 12)
	if e.Last.Value != 8.1 || e.Previous.Value != 8.3 || !e.Last.At.Equal(day(12)) {
		t.Errorf("last %+v, previous %+v", e.Last, e.Previous)
	}
	near(t, "predicted for the last", e.Last.Predicted, 8.3, .1)
}

func TestEqualAndEarlierTimes(t *testing.T) {
	f := steady(t)
	before := at(f, 12)
	level := before.Level - .6*(1-before.Gain)
	f.Dose(day(12), rise(.3))
	f.Dose(day(11), rise(.3)) // an earlier time counts as the latest one seen
	near(t, "level", at(f, 12).Level, level+.6, .01)
	near(t, "level asked for an earlier time", at(f, 3).Level, at(f, 12).Level, 1e-12)
	r := f.Test(alk(12, 8.9))
	near(t, "predicted at the same instant", r.Predicted, level+.6, .01)
}

func TestMaxUseAndOwnPrior(t *testing.T) {
	s := alkalinity()
	s.MaxUse, s.Use, s.UseSD = 1, .75, .5
	f := newFilter(s)
	f.Test(alk(0, 9))
	near(t, "use before a second test", at(f, 0).UseAtTarget, .75, 1e-9)
	for d := 1.; d < 5; d++ {
		test := alk(d, 9-1.5*d)
		test.Confirmed = true
		f.Test(test)
	}
	near(t, "use at its limit", at(f, 4).UseAtTarget, 1, 1e-9)
}

func TestCloneIsIndependent(t *testing.T) {
	f := steady(t)
	f.Test(alk(12, 5.2))
	before := at(f, 12)
	c := f.Clone()
	c.Test(alk(12.5, 5.3))
	c.Dose(day(13), rise(1))
	if e := at(f, 12); e.Level != before.Level || e.Held == nil || *e.Held != *before.Held {
		t.Errorf("the original changed: %+v, before %+v", e, before)
	}
	if f.NetLitres() != 340 || len(f.Quantities()) != 1 || len(f.All(day(12))) != 1 {
		t.Errorf("filter of %v L with %v", f.NetLitres(), f.Quantities())
	}
}

// Whatever happens, estimates are numbers, uses and levels are not negative, and the same events give the same answer.
func TestAnySequenceStaysSane(t *testing.T) {
	specs := []estimate.Spec{alkalinity(), {Quantity: units.Calcium, TestSD: 8, Target: 430, Upper: 450}, {Quantity: units.ORP}}
	rapid.Check(t, func(rt *rapid.T) {
		a, b := newFilter(specs...), newFilter(specs...)
		now := 0.
		for range rapid.IntRange(1, 60).Draw(rt, "events") {
			now += rapid.Float64Range(0, 20).Draw(rt, "dt")
			q := specs[rapid.IntRange(0, 2).Draw(rt, "q")].Quantity
			x := rapid.Float64Range(0, 1000).Draw(rt, "x")
			flag := rapid.Bool().Draw(rt, "flag")
			kind := rapid.IntRange(0, 3).Draw(rt, "kind")
			for _, f := range []*estimate.Filter{a, b} {
				switch kind {
				case 0:
					f.Test(estimate.Test{At: day(now), Quantity: q, Value: x, Confirmed: flag})
				case 1:
					f.Dose(day(now), []estimate.Rise{{Quantity: q, Mean: x / 2, Hi: x, Unknown: flag}})
				case 2:
					f.WaterChange(day(now), x/1000, []estimate.Level{{Quantity: q, Value: x}})
				case 3:
					f.Disturb(day(now), "other")
				}
			}
			for i, e := range a.All(day(now + 1)) {
				for _, v := range []float64{e.Level, e.LevelSD, e.LevelCaught, e.Consumption, e.ConsumptionSD, e.HeldLevel} {
					if math.IsNaN(v) || math.IsInf(v, 0) {
						rt.Fatalf("estimate %+v has a value that is no number", e)
					}
				}
				if e.Level < 0 || e.Consumption < 0 || e.LevelCaught < e.Level || e.TestsUsed < 0 || e.TestsSetAside < 0 {
					rt.Fatalf("estimate %+v is impossible", e)
				}
				accepted, held := a.Tested(e.Quantity)
				if !accepted.Equal(e.LastAccepted) || (held == nil) != (e.Held == nil) || held != nil && *held != *e.Held {
					rt.Fatalf("Tested gives %v and %v beside the estimate %+v", accepted, held, e)
				}
				other := b.All(day(now + 1))[i]
				e.Held, other.Held = nil, nil
				if e != other {
					rt.Fatalf("the same events gave %+v and %+v", e, other)
				}
			}
		}
	})
}

func TestWords(t *testing.T) {
	got := estimate.Accepted.String() + estimate.Held.String() + estimate.Refused.String() + estimate.None.String() +
		estimate.Confirmed.String() + estimate.Refuted.String()
	if got != "acceptedheldrefusednoneconfirmedrefuted" {
		t.Errorf("words = %s", got)
	}
}

func BenchmarkDose(b *testing.B) {
	f := newFilter(alkalinity(), estimate.Spec{Quantity: units.Calcium}, estimate.Spec{Quantity: units.Magnesium})
	f.Test(alk(0, 8.3))
	f.Test(estimate.Test{At: day(0), Quantity: units.Magnesium, Value: 1300})
	r := []estimate.Rise{{Quantity: units.Alkalinity, Mean: .001, Hi: .002}, {Quantity: units.Magnesium, Mean: .001, Hi: .002}}
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		f.Dose(start.Add(time.Duration(i)*time.Second), r)
	}
}

// What a tank makes itself shows as a use below 0; the reported consumption stays at 0. The first and the last accepted
// test say over how long the use was watched.
func TestUseBelowNothingAndTheSpanOfTests(t *testing.T) {
	f := newFilter(estimate.Spec{Quantity: units.Nitrate, TestSD: 1})
	if e := f.At(day(0), units.Nitrate); !e.FirstAccepted.IsZero() {
		t.Errorf("before any test the first one was at %v", e.FirstAccepted)
	}
	for i := range 10 {
		f.Test(estimate.Test{At: day(float64(2 * i)), Quantity: units.Nitrate, Value: 5 + 2*float64(i)})
	}
	e := f.At(day(18), units.Nitrate)
	near(t, "use", e.Use, -1, .25)
	if e.Consumption != 0 {
		t.Errorf("consumption %g; want 0", e.Consumption)
	}
	if !e.FirstAccepted.Equal(day(0)) || !e.LastAccepted.Equal(day(18)) {
		t.Errorf("tests from %v to %v; want %v to %v", e.FirstAccepted, e.LastAccepted, day(0), day(18))
	}
}

// A first test that was held and then confirmed is the first accepted one.
func TestTheFirstAcceptedTestMayHaveBeenHeld(t *testing.T) {
	f := newFilter()
	doubtful := alk(0, 8.3)
	doubtful.Doubtful = true
	f.Test(doubtful)
	if e := at(f, 0); !e.FirstAccepted.IsZero() {
		t.Errorf("a held test counts as accepted at %v", e.FirstAccepted)
	}
	f.Test(alk(1, 8.2))
	if e := at(f, 1); !e.FirstAccepted.Equal(day(0)) {
		t.Errorf("first accepted at %v; want %v, the held one", e.FirstAccepted, day(0))
	}
}
