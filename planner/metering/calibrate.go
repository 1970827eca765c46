package metering

import (
	"fmt"
	"math"

	"aliquot/safety"
)

// Trial is one measured run: so many seconds of pumping, so many mL in the vessel. The names in JSON are those
// of requests and of the history.
type Trial struct {
	Seconds    float64 `json:"seconds"`     // above 0, at most 3600
	MeasuredML float64 `json:"measured_ml"` // above 0, at most 100000
}

// Calibration is what trials say about a channel.
type Calibration struct {
	Rate   safety.Rate
	Trials int
	// Offset is what every run gives besides rate × time, 0 where none is sure. RunsOn is the most that it can be, at
	// least 0: a run is booked with it.
	Offset, RunsOn safety.Microlitres
	// CV is the repeatability: sample standard deviation of the trials' rates over their mean, or with an offset that
	// around the line over the mean volume; 0 for one trial.
	CV float64
	// Line is what the trials say about rate and offset apart, nil where their lengths do not tell. Its rate is the one
	// above only where there is an offset.
	Line *Regression
	// Provisional calibrations rest on fewer than three trials, or on a line that is not sure of its rate, and carry the
	// wider Tolerance.
	Provisional bool
	Tolerance   safety.Tolerance
	// Previous is the rate compared with, 0 if there was none; Change is Rate over Previous minus 1.
	Previous safety.Rate
	Change   float64
	// NeedsConfirm: the rate moved so far that a person must confirm it with both numbers in view.
	NeedsConfirm bool
}

// FindingKind names what a calibration brought to light.
type FindingKind string

// Kinds of finding.
const (
	FewTrials   FindingKind = "provisional"   // fewer than three trials
	WideSpread  FindingKind = "spread"        // repeatability between 2 % and 3 %
	ShortTrials FindingKind = "short_trials"  // runs too short or volumes too small to measure well
	TubingWorn  FindingKind = "tubing"        // the rate moved by more than 5 %
	AirOrSlip   FindingKind = "air_or_slip"   // the rate moved by more than 15 %
	LargeChange FindingKind = "needs_confirm" // the rate moved by more than 20 %
)

// Finding is something a person should know about a calibration.
type Finding struct {
	Kind FindingKind
	Text string
}

// Limits of a calibration (H-17). Three trials, CV 2 % and 3 %, the changes of 5 % and 15 % are common practice.
const (
	trialsFull   = 3
	trialsMost   = 100
	secondsMost  = 3600
	measuredMost = 100_000
	cvGood       = 0.02
	cvMost       = 0.03
	changeTubing = 0.05
	changeAir    = 0.15
	changeMost   = 0.20
	shortSeconds = 5.0 // this program's own choice
	smallML      = 1.0 // a graduated vessel reads no finer than about 0.05 mL

	// rounding lets a value that is exactly at a limit pass in spite of floating point.
	rounding = 1e-9
)

// Calibrate gives a channel's rate from trials. The rate is the mean of the trials' rates: a pump's error is
// relative, so each trial weighs the same whatever its length. previous is the last accepted rate (or the
// nominal one), 0 if there is none.
//
// One or two trials give a provisional calibration. Three or more are refused when their CV is above 3 %, two
// when they differ by more than the provisional tolerance.
func Calibrate(trials []Trial, previous safety.Rate) (Calibration, []Finding, error) {
	rates, err := trialRates(trials)
	if err != nil {
		return Calibration{}, nil, err
	}
	mean, cv := meanAndCV(rates)
	if err := checkSpread(rates, mean, cv); err != nil {
		return Calibration{}, nil, err
	}
	rate, err := safety.RateFromMillilitresPerMinute(mean)
	if err != nil {
		return Calibration{}, nil, fmt.Errorf("calibration: %w", err)
	}
	c := Calibration{Rate: rate, Trials: len(trials), CV: cv, Tolerance: safety.DefaultTolerance, Previous: max(previous, 0)}
	findings := qualityFindings(trials, cv)
	if len(trials) < trialsFull {
		c.Provisional, c.Tolerance = true, safety.ProvisionalTolerance
	}
	if previous > 0 {
		c.Change = float64(rate)/float64(previous) - 1
		c.NeedsConfirm = math.Abs(c.Change) > changeMost+rounding
		findings = append(findings, changeFindings(c)...)
	}
	return c, findings, nil
}

// trialRates checks every trial and gives its rate in mL/min.
func trialRates(trials []Trial) ([]float64, error) {
	if len(trials) == 0 || len(trials) > trialsMost {
		return nil, fmt.Errorf("calibration: %d trials, allowed are 1..%d", len(trials), trialsMost)
	}
	rates := make([]float64, len(trials))
	for i, t := range trials {
		if !(t.Seconds > 0 && t.Seconds <= secondsMost) {
			return nil, fmt.Errorf("calibration: trial %d: %g s is not above 0 and at most %d s", i+1, t.Seconds, secondsMost)
		}
		if !(t.MeasuredML > 0 && t.MeasuredML <= measuredMost) {
			return nil, fmt.Errorf("calibration: trial %d: %g mL is not above 0 and at most %d mL", i+1, t.MeasuredML, measuredMost)
		}
		rates[i] = t.MeasuredML / t.Seconds * 60
		if _, err := safety.RateFromMillilitresPerMinute(rates[i]); err != nil {
			return nil, fmt.Errorf("calibration: trial %d: %w", i+1, err)
		}
	}
	return rates, nil
}

// Repeatability is the CV of trials by which a channel was calibrated with this offset; 0 where too few trials tell.
func Repeatability(trials []Trial, offset safety.Microlitres) float64 {
	if offset != 0 {
		if line, _, err := Regress(trials); err == nil {
			return line.Scatter()
		}
		return 0
	}
	rates, err := trialRates(trials)
	if err != nil {
		return 0
	}
	_, cv := meanAndCV(rates)
	return cv
}

func meanAndCV(rates []float64) (mean, cv float64) {
	for _, r := range rates {
		mean += r / float64(len(rates))
	}
	if len(rates) < 2 {
		return mean, 0
	}
	squares := 0.0
	for _, r := range rates {
		squares += (r - mean) * (r - mean)
	}
	return mean, math.Sqrt(squares/float64(len(rates)-1)) / mean
}

func checkSpread(rates []float64, mean, cv float64) error {
	if len(rates) >= trialsFull && !(cv <= cvMost+rounding) {
		return fmt.Errorf("calibration: the trials scatter by %.1f %% (CV), at most %.0f %% is allowed; look for air, a kinked or slipped tube, prime and measure again",
			cv*100, cvMost*100)
	}
	most := float64(safety.ProvisionalTolerance) / 1000
	if len(rates) == 2 && !(math.Abs(rates[0]-rates[1])/mean <= most+rounding) {
		return fmt.Errorf("calibration: the two trials differ by %.0f %%, at most %.0f %% is allowed; prime and measure again",
			math.Abs(rates[0]-rates[1])/mean*100, most*100)
	}
	return nil
}

func qualityFindings(trials []Trial, cv float64) []Finding {
	var list []Finding
	if len(trials) < trialsFull {
		list = append(list, Finding{FewTrials, fmt.Sprintf("%d of %d trials: provisional, taken as ±%g %%; five are better",
			len(trials), trialsFull, float64(safety.ProvisionalTolerance)/10)})
	}
	if cv > cvGood+rounding {
		list = append(list, Finding{WideSpread, fmt.Sprintf("the trials scatter by %.1f %% (CV), good is %.0f %% or less", cv*100, cvGood*100)})
	}
	for _, t := range trials {
		if t.Seconds < shortSeconds || t.MeasuredML < smallML {
			list = append(list, Finding{ShortTrials, fmt.Sprintf("a trial of %g s and %g mL is too small to measure well; run at least %g s and %g mL",
				t.Seconds, t.MeasuredML, shortSeconds, smallML)})
			break
		}
	}
	return list
}

// changeFindings tells how far the rate moved; the worst that applies is named first.
func changeFindings(c Calibration) []Finding {
	var list []Finding
	moved := math.Abs(c.Change)
	both := fmt.Sprintf("%.3f mL/min after %.3f mL/min (%+.1f %%)", c.Rate.MillilitresPerMinute(), c.Previous.MillilitresPerMinute(), c.Change*100)
	if c.NeedsConfirm {
		list = append(list, Finding{LargeChange, both + ": confirm the new rate, or measure again"})
	}
	switch {
	case moved > changeAir+rounding:
		list = append(list, Finding{AirOrSlip, both + ": look for air in the line or a slipped tube"})
	case moved > changeTubing+rounding:
		list = append(list, Finding{TubingWorn, both + ": the tubing may be worn"})
	}
	return list
}
