package metering

import (
	"fmt"
	"math"
)

// Delivery is how runs of one set volume came out, in the terms of ISO 8655-6:2002, section 8.
type Delivery struct {
	Runs   int
	SetML  float64 // what each run was to give
	MeanML float64
	// SystematicML is mean minus set; SystematicPart is that over the set volume.
	SystematicML, SystematicPart float64
	// RandomML is the standard deviation of single runs; CV is that over the mean.
	RandomML, CV float64
	// MeanHalfWidthML holds the mean of endless runs with 95 % confidence.
	MeanHalfWidthML float64
	// SingleML is the largest error to expect of one more run with 95 % confidence: |systematic| + t·s·√(1 + 1/n).
	SingleML float64
}

// isoRuns is the number of measurements that ISO 8655-6 asks for.
const isoRuns = 10

// DeliveryOf judges at least three measured volumes (mL) of runs that were each to give setML.
func DeliveryOf(setML float64, measuredML []float64) (Delivery, []Finding, error) {
	if !(setML > 0 && setML <= measuredMost) {
		return Delivery{}, nil, fmt.Errorf("a set volume of %g mL is not above 0 and at most %d mL", setML, measuredMost)
	}
	n := len(measuredML)
	if n < trialsFull || n > trialsMost {
		return Delivery{}, nil, fmt.Errorf("%d runs, allowed are %d..%d", n, trialsFull, trialsMost)
	}
	for i, v := range measuredML {
		if !(v > 0 && v <= measuredMost) {
			return Delivery{}, nil, fmt.Errorf("run %d: %g mL is not above 0 and at most %d mL", i+1, v, measuredMost)
		}
	}
	t, err := twoSided(regressionConfidence, n-1)
	if err != nil {
		return Delivery{}, nil, err
	}
	off, mean, rest := centred(measuredML)
	mean += rest
	s := math.Sqrt(dot(off, off) / float64(n-1))
	d := Delivery{Runs: n, SetML: setML, MeanML: mean, SystematicML: mean - setML, SystematicPart: mean/setML - 1, RandomML: s, CV: s / mean,
		MeanHalfWidthML: t * s / math.Sqrt(float64(n))}
	d.SingleML = math.Abs(d.SystematicML) + t*s*math.Sqrt(1+1/float64(n))
	return d, deliveryFindings(d), nil
}

func deliveryFindings(d Delivery) []Finding {
	var list []Finding
	if d.Runs < isoRuns {
		list = append(list, Finding{FewTrials, fmt.Sprintf("%d runs; ISO 8655-6 asks for %d", d.Runs, isoRuns)})
	}
	if d.CV > cvGood+rounding {
		list = append(list, Finding{WideSpread, fmt.Sprintf("the runs scatter by %.1f %% (CV), good is %.0f %% or less", d.CV*100, cvGood*100)})
	}
	if off := math.Abs(d.SystematicPart); off > changeTubing+rounding && math.Abs(d.SystematicML) > d.MeanHalfWidthML {
		list = append(list, Finding{TubingWorn, fmt.Sprintf("runs of %g mL give %.4g mL (%+.1f %%): calibrate anew", d.SetML, d.MeanML, d.SystematicPart*100)})
	}
	return list
}

// SmallestRun gives the smallest volume in mL whose error stays within the wanted accuracy (a fraction, 0.005..0.5)
// with 95 % confidence, for a channel that this regression describes: a run of V mL is V/rate seconds long, so the
// offset and the scatter of single runs are wrong by the same mL whatever V is. With corrected the running time
// allows for the offset (seconds = (V − offset)/rate) and only its uncertainty remains.
func (r Regression) SmallestRun(accuracy float64, corrected bool) (ml float64, err error) {
	if !(accuracy >= 0.005 && accuracy <= 0.5) {
		return 0, fmt.Errorf("an accuracy of %g is outside 0.005..0.5; 0.05 is 5 %%", accuracy)
	}
	t, err := twoSided(regressionConfidence, r.Fit.DegreesOfFreedom())
	if err != nil {
		return 0, err
	}
	// What the rate itself may be wrong by takes its share of the accuracy first: no run length makes it smaller.
	left := accuracy - r.RateHalfWidth/(r.Fit.Slope*60)
	if !(left > 0) {
		return 0, fmt.Errorf("the rate is known to ±%.1f %% only: no run is good to ±%.1f %%; calibrate with more and longer trials",
			r.RateHalfWidth/(r.Fit.Slope*60)*100, accuracy*100)
	}
	fixed := t * math.Hypot(r.OffsetSE, r.Fit.ResidualSD)
	if !corrected {
		fixed += math.Abs(r.OffsetML)
	}
	if ml = fixed / left; !(ml <= measuredMost) { // almost nothing is left
		return 0, fmt.Errorf("no run of up to %d mL is good to ±%.1f %%; calibrate with more and longer trials", measuredMost, accuracy*100)
	}
	return ml, nil
}
