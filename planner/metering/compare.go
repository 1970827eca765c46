package metering

import (
	"fmt"
	"math"
)

// slips are factors that come from mixing up units or vessels, not from pumps: a shifted decimal point, minutes
// for seconds, fluid ounces for mL.
var slips = []struct {
	factor float64
	what   string
}{
	{10, "a decimal point"}, {100, "a decimal point"}, {1000, "mL and L, or µL and mL"}, {60, "seconds and minutes"}, {29.5735, "US fluid ounces and mL"},
	{28.4131, "imperial fluid ounces and mL"}, {2, "a vessel or a number of runs counted twice"},
}

// slipWithin is how near a factor must be to a slip's, this program's own choice.
const slipWithin = 0.03

// Compare tells what the difference between a calibration and the one before means and what to do. The rates'
// intervals are taken into account: a change that scatter explains is no change. Findings are ordered by what to
// look at first.
func Compare(now, before Regression) []Finding {
	change := now.Fit.Slope/before.Fit.Slope - 1
	text := fmt.Sprintf("%.4g mL/min after %.4g mL/min (%+.1f %%)", now.Fit.Slope*60, before.Fit.Slope*60, change*100)
	if f, ok := slipFinding(change, text); ok {
		return []Finding{f}
	}
	var list []Finding
	scatter, moreScatter := scatterGrew(now, before)
	if math.Abs(change) > changeMost+rounding {
		list = append(list, Finding{LargeChange, text + ": confirm the new rate, or measure again"})
	}
	moved := rateMoved(now, before)
	switch {
	case moved && change < -changeAir-rounding, moved && change < -changeTubing-rounding && moreScatter:
		list = append(list, Finding{AirOrSlip, text + ": air in the line, a slipped or kinked tube, a blocked outlet or an empty container; prime, look, and measure again before trusting this rate"})
	case moved && change < -changeTubing-rounding:
		list = append(list, Finding{TubingWorn, text + ": the pump tubing has flattened; replace it, prime, calibrate"})
	case moved && change > changeAir+rounding:
		list = append(list, Finding{AirOrSlip, text + ": pumps do not get faster by themselves; another tube bore, another motor speed, a siphon that helps, or a mistake in the vessel or the time"})
	case moved && change > changeTubing+rounding:
		list = append(list, Finding{TubingWorn, text + ": new, softer or warmer tubing, or less lift than before; if none of these, measure again"})
	}
	if moreScatter {
		list = append(list, Finding{Scattering, scatter})
	}
	if f, ok := offsetFinding(now, before); ok {
		list = append(list, f)
	}
	if len(list) == 0 {
		list = append(list, Finding{Unchanged, text + ": no change that asks for anything"})
	}
	return list
}

func slipFinding(change float64, text string) (Finding, bool) {
	ratio := 1 + change
	for _, s := range slips {
		// Half and double may be a real fault, yet a doubled count is likelier than a pump that doubles.
		if math.Abs(ratio/s.factor-1) <= slipWithin || math.Abs(ratio*s.factor-1) <= slipWithin {
			return Finding{UnitSlip, fmt.Sprintf("%s is about a factor of %g: %s mixed up? confirm only after measuring again", text, s.factor, s.what)}, true
		}
	}
	return Finding{}, false
}

// rateMoved says whether the rates differ beyond their standard errors (Welch's t, B. L. Welch 1947, Biometrika
// 34:28-35) with 95 % confidence.
func rateMoved(now, before Regression) bool {
	return differ(now.Fit.Slope, now.Fit.SlopeSE, now.Fit.DegreesOfFreedom(), before.Fit.Slope, before.Fit.SlopeSE, before.Fit.DegreesOfFreedom())
}

func differ(a, seA float64, dfA int, b, seB float64, dfB int) bool {
	va, vb := seA*seA, seB*seB
	if va+vb == 0 {
		return a != b
	}
	df := (va + vb) / (va/(va+vb)*va/float64(dfA) + vb/(va+vb)*vb/float64(dfB))
	t, err := StudentQuantile(0.5+regressionConfidence/2, math.Min(math.Max(df, 1), 1e6))
	return err != nil || math.Abs(a-b) > t*math.Sqrt(va+vb)
}

// scatterGrew says whether the runs scatter twice as much as they did and by more than a good channel does. The
// factor is this program's own choice: few trials cannot tell less.
func scatterGrew(now, before Regression) (text string, grew bool) {
	a, b := now.Scatter(), before.Scatter()
	if !(a > 2*b && a > cvGood/2) {
		return "", false
	}
	return fmt.Sprintf("the runs scatter by %.1f %% after %.1f %%: air bubbles, a slipping rotor, a tube near its end, or a scale in a draught", a*100, b*100), true
}

func offsetFinding(now, before Regression) (Finding, bool) {
	if !differ(now.OffsetML, now.OffsetSE, now.Fit.DegreesOfFreedom(), before.OffsetML, before.OffsetSE, before.Fit.DegreesOfFreedom()) {
		return Finding{}, false
	}
	moved := now.OffsetML - before.OffsetML
	// Less than a hundredth of the shortest run changes no dose that matters.
	if math.Abs(moved) < 0.01*now.Fit.Slope*now.Shortest {
		return Finding{}, false
	}
	text := fmt.Sprintf("every run now gives %+.3g mL besides rate × time, %+.3g mL before", tidy(now.OffsetML), tidy(before.OffsetML))
	if moved < 0 {
		return Finding{LateStart, text + ": the line drains between runs; look at the check valve and the fittings, prime"}, true
	}
	return Finding{RunsOn, text + ": liquid runs on after the stop; look for a siphon, the outlet's height and a sticking relay"}, true
}

// Dated is a calibrated rate with its age: days before or after any fixed day.
type Dated struct {
	Day      float64
	MLPerMin float64
}

// Drift is how a channel's rate moves over several calibrations.
type Drift struct {
	PerMonth float64 // change of the rate in 30 days over the first rate on the line
	// HalfWidth holds PerMonth with 95 % confidence.
	HalfWidth float64
	// DaysToLimit is how long after the last calibration the line leaves 5 % around the last rate; 0 if the drift is
	// not real.
	DaysToLimit float64
}

// DriftOf fits a line through at least three dated rates of one tube, oldest first. A drift is reported only if 95 %
// confidence says that there is one.
func DriftOf(rates []Dated) (Drift, []Finding, error) {
	x, y := make([]float64, len(rates)), make([]float64, len(rates))
	for i, r := range rates {
		if !(math.Abs(r.Day) <= 36500) || !(r.MLPerMin >= 0.01 && r.MLPerMin <= 5000) {
			return Drift{}, nil, fmt.Errorf("rate %d: %g mL/min on day %g; allowed are 0.01..5000 mL/min within 36500 days", i+1, r.MLPerMin, r.Day)
		}
		if i > 0 && !(r.Day > rates[i-1].Day) {
			return Drift{}, nil, fmt.Errorf("rate %d is of day %g, not after day %g; give the oldest first", i+1, r.Day, rates[i-1].Day)
		}
		x[i], y[i] = r.Day, r.MLPerMin
	}
	fit, err := FitLine(x, y)
	if err != nil {
		return Drift{}, nil, fmt.Errorf("drift: %w", err)
	}
	half, _, err := fit.Interval(regressionConfidence)
	if err != nil {
		return Drift{}, nil, err
	}
	first, _, _ := fit.At(x[0])
	if !(first > 0) {
		return Drift{}, nil, fmt.Errorf("drift: the rates lie on no line of a pump; calibrate anew")
	}
	d := Drift{PerMonth: fit.Slope * 30 / first, HalfWidth: half * 30 / first}
	if !(math.Abs(fit.Slope) > half) {
		return d, nil, nil
	}
	d.DaysToLimit = changeTubing * y[len(y)-1] / math.Abs(fit.Slope)
	what := "the tube softens or the lift fell"
	if d.PerMonth < 0 {
		what = "the tube wears"
	}
	return d, []Finding{{Drifting, fmt.Sprintf("the rate moves by %+.1f %% in 30 days (± %.1f %%): %s; calibrate within %.0f days",
		d.PerMonth*100, d.HalfWidth*100, what, math.Floor(d.DaysToLimit))}}, nil
}
