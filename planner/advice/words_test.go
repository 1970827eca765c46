package advice_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"aliquot/planner/advice"
	"aliquot/planner/estimate"
	"aliquot/planner/units"
)

// believed is an estimate with nothing to say about.
func believed() estimate.Estimate {
	return estimate.Estimate{Quantity: units.Alkalinity, Known: true, Level: 8.3, Consumption: 1, ConsumptionSD: .1, Gain: 1, GainSD: .02,
		Last: estimate.Reading{Value: 8.3, Predicted: 8.3, PredictedSD: .2}, Previous: estimate.Reading{Value: 8.3, Predicted: 8.3, PredictedSD: .2}}
}

func TestAdviceInWords(t *testing.T) {
	for _, c := range []struct {
		name string
		edit func(e *estimate.Estimate)
		kind advice.Kind // empty: nothing to say
		want string
	}{
		{"nothing", func(*estimate.Estimate) {}, "", ""},
		{"a test 2.4 sd off", func(e *estimate.Estimate) { e.Last.Value = 8.78 }, "", ""},
		{"a test 2.6 sd above", func(e *estimate.Estimate) { e.Last.Value = 8.82 }, advice.TestSurprising,
			"the last test, 8.82 dKH, lies 0.52 above the expected 8.3, more than scatter explains. If the next one agrees, look at solutions and pumps"},
		{"a test 2.6 sd below", func(e *estimate.Estimate) { e.Last.Value = 7.78 }, advice.TestSurprising, "below the expected 8.3, more than scatter explains. If the next one agrees, look at lines and containers"},
		{"the first test has no prediction", func(e *estimate.Estimate) { e.Last = estimate.Reading{Value: 12} }, "", ""},
		{"the one before, the last where expected", func(e *estimate.Estimate) { e.Previous.Value = 9 }, advice.TestSurprising, "was probably wrong: it lay 0.7 above"},
		{"the one before, the last not quite", func(e *estimate.Estimate) { e.Previous.Value, e.Last.Value = 9, 8.6 }, advice.TestSurprising, "the test before the last, 9 dKH, lay 0.7 above"},
		{"both above", func(e *estimate.Estimate) { e.Previous.Value, e.Last.Value = 9, 9.1 }, advice.TestSurprising, "the last two tests, 9 and 9.1 dKH, both lie above"},
		{"both below", func(e *estimate.Estimate) { e.Previous.Value, e.Last.Value = 7, 7.1 }, advice.TestSurprising, "both lie below"},
		{"one above, one below", func(e *estimate.Estimate) { e.Previous.Value, e.Last.Value = 9, 7.1 }, advice.TestSurprising, "the last test, 7.1 dKH, lies 1.2 below"},
		{"no number", func(e *estimate.Estimate) { e.Last.PredictedSD = math.NaN() }, "", ""},
		{"a probe 0.6 above", func(e *estimate.Estimate) { e.Offset, e.OffsetSD, e.OffsetSeen = .6, .1, time.Unix(1, 0) }, advice.ProbeOff, "its probe reads about 0.6 dKH above the tests"},
		{"a probe 0.5 below", func(e *estimate.Estimate) { e.Offset, e.OffsetSD, e.OffsetSeen = -.5, .1, time.Unix(1, 0) }, advice.ProbeOff, "0.5 dKH below the tests"},
		{"8 % weaker", func(e *estimate.Estimate) { e.Gain = .92 }, advice.DoseAnswer, "as if they were 8 % weaker than told"},
		{"12 % stronger", func(e *estimate.Estimate) { e.Gain = 1.12 }, advice.DoseAnswer, "12 % stronger than told"},
		{"less than 5 %", func(e *estimate.Estimate) { e.Gain, e.GainSD = .951, .001 }, "", ""},
		{"more than 5 %", func(e *estimate.Estimate) { e.Gain, e.GainSD = .949, .001 }, advice.DoseAnswer, "5 % weaker"},
		{"just under two sd", func(e *estimate.Estimate) { e.Gain, e.GainSD = .9, .0501 }, "", ""},
		{"just above two sd", func(e *estimate.Estimate) { e.Gain, e.GainSD = .9, .0499 }, advice.DoseAnswer, "10 % weaker"},
		{"a gain that is no number", func(e *estimate.Estimate) { e.Gain = math.NaN() }, "", ""},
		{"a held test", func(e *estimate.Estimate) {
			e.Held, e.HeldLevel, e.HeldPredicted, e.HeldLimit = &estimate.Test{Value: 9.8}, 9.7, 8.4, 1.04
		}, advice.TestHeld, "the test of 9.8 dKH waits, since it is 1.4 away from the expected 8.4, where 1 is the limit. Test again, best with a fresh sample: near 9.7 now would confirm it, near 8.3 refute it"},
		{"a doubtful one that fits", func(e *estimate.Estimate) {
			e.Held, e.HeldLevel, e.HeldPredicted, e.HeldLimit = &estimate.Test{Value: 8.5}, 8.5, 8.4, 1.04
		}, advice.TestHeld, "since it is outside what is plausible"},
		{"a doubtful first one", func(e *estimate.Estimate) {
			*e = estimate.Estimate{Quantity: units.Alkalinity, Held: &estimate.Test{Value: 40}}
		}, advice.TestHeld, "the test of 40 dKH is not plausible and is not used"},
		{"nothing is known", func(e *estimate.Estimate) { *e = estimate.Estimate{Quantity: units.Alkalinity} }, "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := believed()
			c.edit(&e)
			got := advice.About(e, nil)
			if c.kind == "" {
				if len(got) > 0 {
					t.Errorf("%+v; want nothing", got)
				}
				return
			}
			if len(got) != 1 || got[0].Kind != c.kind || !strings.Contains(got[0].Text, c.want) || !got[0].Urgent() {
				t.Errorf("%+v; want %s with %q", got, c.kind, c.want)
			}
		})
	}
}

// What the estimator holds carries what the sentence needs.
func TestHeldTestOfTheEstimatorIsPutIntoWords(t *testing.T) {
	f := settled()
	r := f.Test(estimate.Test{At: day(31), Quantity: units.Alkalinity, Value: 15})
	e := f.At(day(32), units.Alkalinity)
	if r.Verdict != estimate.Held || e.HeldPredicted != r.Predicted || e.HeldLimit != r.Limit {
		t.Fatalf("the estimate says predicted %v, limit %v; the verdict was %+v", e.HeldPredicted, e.HeldLimit, r)
	}
	got := advice.About(e, nil)
	if len(got) == 0 || got[0].Kind != advice.TestHeld || !strings.Contains(got[0].Text, "away from the expected") {
		t.Errorf("%+v", got)
	}
}

// The order is fixed: what asks for something first.
func TestAdviceHasAnOrder(t *testing.T) {
	e := believed()
	e.Held, e.Last.Value, e.Gain = &estimate.Test{Value: 12}, 9.5, .8
	var kinds []advice.Kind
	for _, a := range advice.About(e, &advice.Trend{PerDay: .02, SD: .001}) {
		kinds = append(kinds, a.Kind)
	}
	if len(kinds) != 4 || kinds[0] != advice.TestHeld || kinds[1] != advice.TestSurprising || kinds[2] != advice.DoseAnswer || kinds[3] != advice.UseTrend {
		t.Errorf("%v", kinds)
	}
}
