package advice_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"aliquot/planner"
	"aliquot/planner/advice"
	"aliquot/planner/estimate"
	"aliquot/planner/units"
	"aliquot/safety"

	"pgregory.net/rapid"
)

// A trend does not depend on the unit: uses in another one give a slope in that one, as sure as before.
func TestTrendDoesNotDependOnTheUnit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		factor := rapid.Float64Range(.01, 100).Draw(t, "factor")
		var a, b advice.Log
		for d := range rapid.IntRange(4, 29).Draw(t, "days") {
			u := advice.Use{At: day(float64(d)), PerDay: rapid.Float64Range(0, 3).Draw(t, "use"), SD: rapid.Float64Range(.01, 1).Draw(t, "sd")}
			a = a.Add(u, nil)
			u.PerDay, u.SD = u.PerDay*factor, u.SD*factor
			b = b.Add(u, nil)
		}
		x, okX := a.Trend(a[len(a)-1].At)
		y, okY := b.Trend(b[len(b)-1].At)
		if okX != okY || math.Abs(x.PerDay*factor-y.PerDay) > 1e-9*factor || math.Abs(x.SD*factor-y.SD) > 1e-9*factor || !(x.Low() <= x.High()) {
			t.Fatalf("%+v and %+v differ by another factor than %v", x, y, factor)
		}
	})
}

// A log never holds two uses of one local day, never more than 60, and is in the order of time, whatever it is given.
func TestLogIsInOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var l advice.Log
		for range rapid.IntRange(0, 120).Draw(t, "adds") {
			l = l.Add(advice.Use{At: day(rapid.Float64Range(0, 90).Draw(t, "day")), PerDay: 1, SD: .1}, nil)
		}
		if len(l) > 60 {
			t.Fatalf("%d uses", len(l))
		}
		for i := 1; i < len(l); i++ {
			if !l[i-1].At.Before(l[i].At) || l[i-1].At.YearDay() == l[i].At.YearDay() {
				t.Fatalf("%v follows %v", l[i].At, l[i-1].At)
			}
		}
	})
}

// A volume and what may come on top never exceed per_day, and nothing is ever taken off.
func TestMoreStaysWithinPerDay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := plan()
		in.Systems[0].Estimates[0].ConsumptionSD = rapid.SampledFrom([]float64{0, .1, 1, 100, math.Inf(1), math.NaN()}).Draw(t, "sd")
		planned := safety.Microlitres(rapid.Int64Range(0, 200_000).Draw(t, "planned"))
		more := advice.More(in, []planner.Day{{PerDay: planned}})[0]
		if more < 0 || more > 0 && planned+more > in.Channels[0].PerDay {
			t.Fatalf("%v and %v more, of %v", planned, more, in.Channels[0].PerDay)
		}
	})
}

// No sentence ever shows a figure that is none, and each kind comes once at most.
func TestWordsAreWords(t *testing.T) {
	odd := rapid.SampledFrom([]float64{0, 1, 8.3, 12, -1, math.NaN(), math.Inf(1)})
	rapid.Check(t, func(t *rapid.T) {
		e := estimate.Estimate{Quantity: units.Alkalinity, Known: rapid.Bool().Draw(t, "known"), Level: 8.3, Consumption: 1, ConsumptionSD: .1,
			Gain: rapid.Float64Range(.7, 1.4).Draw(t, "gain"), GainSD: .02,
			Last:     estimate.Reading{Value: 8.3, Predicted: 8.3, PredictedSD: odd.Draw(t, "sd")},
			Previous: estimate.Reading{Value: rapid.Float64Range(6, 11).Draw(t, "previous"), Predicted: 8.3, PredictedSD: .2}}
		var kinds []advice.Kind
		for _, a := range advice.About(e, &advice.Trend{PerDay: .01, SD: odd.Draw(t, "trend")}) {
			if strings.Contains(a.Text, "NaN") || strings.Contains(a.Text, "Inf") || slices.Contains(kinds, a.Kind) {
				t.Fatalf("%+v says %q", e, a.Text)
			}
			kinds = append(kinds, a.Kind)
		}
	})
}
