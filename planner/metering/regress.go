package metering

import (
	"fmt"
	"math"

	"aliquot/safety"
)

// Regression is what trials of different lengths say about a channel: volume = rate × seconds + offset.
type Regression struct {
	Rate safety.Rate
	// RateSE and RateHalfWidth are in mL/min; the interval holds the true rate with Confidence.
	RateSE, RateHalfWidth float64
	// OffsetML is what every run gives besides rate × seconds, whatever its length: below 0 where the pump starts
	// late or the line has drained, above 0 where liquid runs on after the stop.
	OffsetML, OffsetSE, OffsetHalfWidth float64
	// OffsetReal: the interval of the offset does not hold 0.
	OffsetReal bool
	Confidence float64
	Fit        LineFit // seconds → mL
	Shortest   float64 // s
	Longest    float64 // s
}

// Limits of a regression, this program's own choice.
const (
	regressionConfidence = 0.95
	// lengthRatioLeast: with lengths closer together, offset and rate cannot be told apart.
	lengthRatioLeast = 2.0
)

// Further kinds of finding, of regressions and of comparisons.
const (
	LateStart   FindingKind = "late_start"   // each run lacks a fixed volume
	RunsOn      FindingKind = "runs_on"      // each run brings a fixed volume too much
	NotStraight FindingKind = "not_straight" // long runs do not fit the short ones
	UnitSlip    FindingKind = "unit_slip"    // the rate moved by a factor that a unit slip makes
	Drifting    FindingKind = "drifting"     // the rate moves steadily
	Scattering  FindingKind = "scattering"   // the runs scatter more than they did
	Unchanged   FindingKind = "unchanged"    // no change beyond what scatter explains
)

// Regress fits volume = rate × seconds + offset to at least three trials whose longest is at least twice the
// shortest. Every trial weighs the same in mL: the error of reading a vessel or a scale does not grow with the
// run. For trials of one length use Calibrate.
func Regress(trials []Trial) (Regression, []Finding, error) {
	if _, err := trialRates(trials); err != nil {
		return Regression{}, nil, err
	}
	x, y := make([]float64, len(trials)), make([]float64, len(trials))
	shortest, longest := math.Inf(1), 0.0
	for i, t := range trials {
		x[i], y[i] = t.Seconds, t.MeasuredML
		shortest, longest = min(shortest, t.Seconds), max(longest, t.Seconds)
	}
	if len(trials) < trialsFull {
		return Regression{}, nil, fmt.Errorf("calibration: %d trials, a line needs at least %d", len(trials), trialsFull)
	}
	if !(longest >= lengthRatioLeast*shortest*(1-rounding)) {
		return Regression{}, nil, fmt.Errorf("calibration: the runs last %g..%g s; to tell rate and offset apart the longest must last at least %g times the shortest",
			shortest, longest, lengthRatioLeast)
	}
	fit, err := FitLine(x, y)
	if err != nil {
		return Regression{}, nil, fmt.Errorf("calibration: %w", err)
	}
	return regressionOf(fit, shortest, longest)
}

func regressionOf(fit LineFit, shortest, longest float64) (Regression, []Finding, error) {
	rate, err := safety.RateFromMillilitresPerMinute(fit.Slope * 60)
	if err != nil {
		return Regression{}, nil, fmt.Errorf("calibration: the line through the trials: %w", err)
	}
	r := Regression{Rate: rate, Confidence: regressionConfidence, Fit: fit, Shortest: shortest, Longest: longest,
		RateSE: fit.SlopeSE * 60, OffsetML: fit.Intercept, OffsetSE: fit.InterceptSE}
	if scatter := (Regression{Fit: fit}).Scatter(); !(scatter <= cvMost+rounding) {
		return Regression{}, nil, fmt.Errorf("calibration: the trials scatter around the line by %.1f %% of their mean volume, at most %.0f %% is allowed; look for air, a kinked or slipped tube, prime and measure again",
			scatter*100, cvMost*100)
	}
	slope, offset, err := fit.Interval(regressionConfidence)
	if err != nil {
		return Regression{}, nil, fmt.Errorf("calibration: %w", err)
	}
	r.RateHalfWidth, r.OffsetHalfWidth = slope*60, offset
	if !(r.RateHalfWidth <= float64(safety.ProvisionalTolerance)/1000*fit.Slope*60) {
		return Regression{}, nil, fmt.Errorf("calibration: the rate is %.3f ± %.3f mL/min (%.0f %% confidence), at most ±%.0f %% is allowed; more trials, longer runs",
			fit.Slope*60, r.RateHalfWidth, regressionConfidence*100, float64(safety.ProvisionalTolerance)/10)
	}
	// Below a thousandth of the shortest run an offset matters to nobody, however sure it is.
	r.OffsetReal = math.Abs(r.OffsetML) > max(r.OffsetHalfWidth, 0.001*fit.Slope*shortest)
	return r, regressionFindings(r), nil
}

// Scatter is the standard deviation around the line over the mean volume on the line, as a fraction.
func (r Regression) Scatter() float64 {
	return r.Fit.ResidualSD / (r.Fit.Intercept + r.Fit.Slope*r.Fit.MeanX)
}

func regressionFindings(r Regression) []Finding {
	var list []Finding
	if r.Fit.Points < 5 {
		list = append(list, Finding{FewTrials, fmt.Sprintf("%d trials leave %d degrees of freedom: the intervals are wide; five trials or more are better",
			r.Fit.Points, r.Fit.DegreesOfFreedom())})
	}
	if scatter := r.Scatter(); scatter > cvGood+rounding {
		list = append(list, Finding{WideSpread, fmt.Sprintf("the trials scatter around the line by %.1f %% of their mean volume, good is %.0f %% or less", scatter*100, cvGood*100)})
	}
	offset := fmt.Sprintf("every run gives %+.3g mL (± %.2g) besides %.4g mL/min", tidy(r.OffsetML), tidy(r.OffsetHalfWidth), r.Fit.Slope*60)
	switch {
	case r.OffsetReal && r.OffsetML < 0:
		list = append(list, Finding{LateStart, fmt.Sprintf("%s, as if it started %.2g s late: the line drains between runs (check valve), air in it, or the motor starts slowly; calibrate with runs of the size that will be dosed",
			offset, -r.OffsetML/r.Fit.Slope)})
	case r.OffsetReal:
		list = append(list, Finding{RunsOn, offset + ": liquid runs on after the stop; the outlet must be above the highest level of the container, look for a siphon, a dripping outlet or a late relay"})
	}
	if straight, worst := straightness(r.Fit); !straight {
		list = append(list, Finding{NotStraight, fmt.Sprintf("one trial lies %.3g mL off the line, %.1f times what the others scatter: repeat it; if it comes back, long runs pump at another rate than short ones (suction, warming)",
			r.Fit.Residuals[worst], math.Abs(externalResidual(r.Fit, worst)))})
	}
	return list
}

// straightness judges the trial furthest off the line against what the other trials scatter, at 1 % divided by
// the number of trials, since the furthest of many is always far.
func straightness(f LineFit) (ok bool, worst int) {
	if f.DegreesOfFreedom() < 2 || f.ResidualSD == 0 {
		return true, 0
	}
	for i := range f.Residuals {
		if math.Abs(f.Residuals[i]) > math.Abs(f.Residuals[worst]) {
			worst = i
		}
	}
	limit, err := StudentQuantile(1-0.005/float64(f.Points), float64(f.Points-3))
	if err != nil {
		return true, worst
	}
	// An offset of a thousandth of the largest volume is no worry, however straight the rest.
	if math.Abs(f.Residuals[worst]) < 0.001*math.Abs(f.Slope)*f.MeanX {
		return true, worst
	}
	return math.Abs(externalResidual(f, worst)) <= limit, worst
}

// externalResidual is a residual over its standard deviation, both from a fit without that point (R. D. Cook,
// S. Weisberg 1982, Residuals and Influence in Regression, 2.2.10): t-distributed with Points − 3 degrees.
func externalResidual(f LineFit, i int) float64 {
	e, free := f.Residuals[i], 1-f.Leverages[i]
	without := f.ResidualSS - e*e/free
	if !(free > 0 && without > 0) {
		return math.Copysign(math.MaxFloat64, e)
	}
	return e / math.Sqrt(without/float64(f.Points-3)*free)
}

// tidy drops what the arithmetic leaves of trials that lie on a line exactly, mL.
func tidy(ml float64) float64 { return math.Round(ml*1e6)/1e6 + 0 }
