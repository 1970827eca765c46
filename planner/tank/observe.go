package tank

import (
	"math"
	"time"

	"aliquot/planner/units"
)

// Level gives the true level in the canonical unit, NaN for quantities that a tank does not have. pH is on the NBS
// scale, on which probes are calibrated.
func (t *Tank) Level(q units.Quantity) float64 {
	i, ok := slot(q)
	s := t.present()
	switch {
	case !ok:
		return math.NaN()
	case i == carbon:
		return t.ph(s, t.age)
	case i == warmth:
		return t.temperature(s, t.age)
	}
	return s.levels[i]
}

// CalcificationPerDay gives the true present uptake of alkalinity by calcification in dKH per day, with the day
// curve left out: what an estimate of the daily use should find. Nitrification is not in it. Uptake by saturation
// follows the day's pH: it is taken as the mean of the last 24 h, in the first day as at the moment.
func (t *Tank) CalcificationPerDay() float64 {
	s := t.present()
	if t.p.Uptake.Law == Saturation && t.steps >= stepsInDay {
		sum := 0.0
		for i, share := range t.relative {
			if i != t.steps%len(t.relative) {
				sum += share
			}
		}
		return t.size(t.age) * sum
	}
	aragonite := 0.0
	if t.p.Uptake.Law == Saturation {
		aragonite = t.carbonateNow(s, t.age).aragonite
	}
	return t.size(t.age) * t.law(s.levels[alkalinity], s.levels[calcium], s.levels[carbon], aragonite)
}

// UsePerDay gives the true present use of a quantity, canonical unit per day, with the day curve left out: what an
// estimate of the daily use should find. It is 0 for quantities that a tank does not have or that are not used up.
func (t *Tank) UsePerDay(q units.Quantity) float64 {
	i, ok := slot(q)
	gain := t.nitrateGain(t.present().levels[nitrate])
	switch {
	case !ok || i >= carbon:
		return 0
	case i == alkalinity:
		return t.CalcificationPerDay() + gain/mgNitratePerDKH
	case i == calcium:
		return t.CalcificationPerDay() * mgCalciumPerDKH
	case i == magnesium:
		return t.CalcificationPerDay() * mgCalciumPerDKH * magnesiumPerCalcium
	case i == nitrate:
		return -gain
	}
	return t.perDay[i]
}

// probe is how a probe errs.
type probe struct {
	sd, offset, drift float64
	since             time.Duration // age at the last calibration
}

func ordinaryProbeSD(q units.Quantity) float64 {
	switch q {
	case units.PH:
		return 0.01
	case units.Temperature:
		return 0.05
	case units.Salinity:
		return 0.1
	}
	return 0
}

// Probe gives what a probe reads now: the level, off by the probe's offset and by what it has drifted since it was
// calibrated, with normal noise. Readings do not change the tank's course.
func (t *Tank) Probe(q units.Quantity) float64 {
	i, ok := slot(q)
	if !ok {
		return math.NaN()
	}
	p := &t.probe[i]
	return t.Level(q) + p.offset + p.drift*days(t.age-p.since) + p.sd*t.noise.NormFloat64()
}

// CalibrateProbe sets a probe right: its offset is gone, its drift begins anew.
func (t *Tank) CalibrateProbe(q units.Quantity) {
	if i, ok := slot(q); ok {
		t.probe[i].offset, t.probe[i].since = 0, t.age
	}
}

// Kit is how a keeper tests one quantity. Figures are in its canonical unit, 0 or more but for Bias.
type Kit struct {
	SD         float64 // repeatability
	Resolution float64 // step of the reading; 0: none
	Bias       float64 // of the kit's lot
	// GrossChance, 0 to 1, is how often a result is multiplied by GrossFactor: a misread scale, a wrong unit.
	GrossChance, GrossFactor float64
}

// Test gives the result of one test of the water as it is now: never below 0, NaN for quantities that a tank does
// not have. Tests do not change the tank's course.
func (t *Tank) Test(q units.Quantity, k Kit) float64 {
	v := t.Level(q) + k.Bias + k.SD*t.noise.NormFloat64()
	if t.noise.Float64() < k.GrossChance {
		v *= k.GrossFactor
	}
	if k.Resolution > 0 {
		v = math.Round(v/k.Resolution) * k.Resolution
	}
	return max(0, v)
}
