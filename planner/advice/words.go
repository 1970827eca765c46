package advice

import (
	"fmt"
	"math"

	"aliquot/planner/estimate"
	"aliquot/planner/units"
)

const (
	// surprise is the distance of an accepted test from its prediction, in standard deviations of a test there, that
	// scatter explains once in eighty (two-sided tail of a normal distribution). Our own choice.
	surprise = 2.5
	// answerSDs and answerLeast: a gain is worth a word when it differs from 1 by both. Our own choice.
	answerSDs   = 2
	answerLeast = 0.05
)

// About gives the advice about one quantity, what asks for something first. trend is nil where there is none.
func About(e estimate.Estimate, trend *Trend) []Advice {
	var out []Advice
	if e.Held != nil {
		out = append(out, Advice{TestHeld, heldText(e)})
	}
	if !e.Known {
		return out
	}
	if text := surprises(e); text != "" {
		out = append(out, Advice{TestSurprising, text})
	}
	if text := answer(e); text != "" {
		out = append(out, Advice{DoseAnswer, text})
	}
	if text := probeOff(e); text != "" {
		out = append(out, Advice{ProbeOff, text})
	}
	if trend != nil && trend.Sure() && e.Consumption > 0 {
		out = append(out, Advice{UseTrend, trendText(e, *trend)})
	}
	return out
}

// heldText says of a held test how far off it is and what settles it.
func heldText(e estimate.Estimate) string {
	unit, value := e.Quantity.Unit(), e.Held.Value
	if !e.Known {
		return fmt.Sprintf("the test of %.3g %s is not plausible and is not used: test again", units.Plain(value), unit)
	}
	off := math.Abs(value - e.HeldPredicted)
	why := "outside what is plausible"
	if e.HeldLimit > 0 && off > e.HeldLimit {
		why = fmt.Sprintf("%.2g away from the expected %.3g, where %.2g is the limit", units.Plain(off), units.Plain(e.HeldPredicted), units.Plain(e.HeldLimit))
	}
	return fmt.Sprintf("the test of %.3g %s waits, since it is %s. Test again, best with a fresh sample: near %.3g now would confirm it, near %.3g refute it",
		units.Plain(value), unit, why, units.Plain(e.HeldLevel+e.OfHour), units.Plain(e.LevelNow()))
}

// off is how far a test lay from what was predicted for it, in standard deviations; 0 for a first test.
func off(r estimate.Reading) float64 {
	if !(r.PredictedSD > 0) {
		return 0
	}
	return (r.Value - r.Predicted) / r.PredictedSD
}

// surprises speaks of accepted tests that lie far from their predictions.
func surprises(e estimate.Estimate) string {
	last, previous, unit := off(e.Last), off(e.Previous), e.Quantity.Unit()
	odd, before := math.Abs(last) > surprise, math.Abs(previous) > surprise
	switch {
	case odd && before && last*previous > 0:
		return fmt.Sprintf("the last two tests, %.3g and %.3g %s, both lie %s what was expected by more than scatter explains: something has changed. Look at %s",
			units.Plain(e.Previous.Value), units.Plain(e.Last.Value), unit, side(last), causes(last))
	case odd:
		return fmt.Sprintf("the last test, %.3g %s, lies %.2g %s the expected %.3g, more than scatter explains. If the next one agrees, look at %s; if not, it was the kit or the sample",
			units.Plain(e.Last.Value), unit, units.Plain(math.Abs(e.Last.Value-e.Last.Predicted)), side(last), units.Plain(e.Last.Predicted), causes(last))
	case before && math.Abs(last) < 1:
		return fmt.Sprintf("the test before the last, %.3g %s, was probably wrong: it lay %.2g %s the expected %.3g, and the last one is where it was expected",
			units.Plain(e.Previous.Value), unit, units.Plain(math.Abs(e.Previous.Value-e.Previous.Predicted)), side(previous), units.Plain(e.Previous.Predicted))
	case before:
		return fmt.Sprintf("the test before the last, %.3g %s, lay %.2g %s the expected %.3g, more than scatter explains",
			units.Plain(e.Previous.Value), unit, units.Plain(math.Abs(e.Previous.Value-e.Previous.Predicted)), side(previous), units.Plain(e.Previous.Predicted))
	}
	return ""
}

func side(z float64) string {
	if z < 0 {
		return "below"
	}
	return "above"
}

// causes are the ones that bring a level to that side.
func causes(z float64) string {
	if z < 0 {
		return "lines and containers (a dose that did not arrive), and at what the animals use"
	}
	return "solutions and pumps (more arrived than was told), and at animals that use less"
}

// offShare is from which share of the outlier distance on a probe's error is worth a word. Our own choice.
const offShare = 0.4

// probeOff says whether the probe reads otherwise than the tests.
func probeOff(e estimate.Estimate) string {
	far, ok := units.OutlierDistance(e.Quantity)
	if e.OffsetSeen.IsZero() || !ok || math.Abs(e.Offset) < max(offShare*far, answerSDs*e.OffsetSD) {
		return ""
	}
	word := "above"
	if e.Offset < 0 {
		word = "below"
	}
	return fmt.Sprintf("its probe reads about %.2g %s %s the tests: calibrate the probe, and compare the kit with a reference solution", units.Plain(math.Abs(e.Offset)), e.Quantity.Unit(), word)
}

// answer says whether the system gets another share of what it is told to get.
func answer(e estimate.Estimate) string {
	d := e.Gain - 1
	if !(math.Abs(d) > answerSDs*e.GainSD && math.Abs(d) > answerLeast) {
		return ""
	}
	word := "stronger"
	if d < 0 {
		word = "weaker"
	}
	return fmt.Sprintf("the system answers to doses as if they were %.0f %% %s than told: check the net volume, the strength of the solution and the pump's rate",
		100*math.Abs(d), word)
}
