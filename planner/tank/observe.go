package tank

import (
	"math"

	"aliquot/planner/units"
)

// Level gives the true level in the canonical unit, NaN for quantities that a tank does not have.
func (t *Tank) Level(q units.Quantity) float64 {
	i, ok := slot(q)
	switch {
	case !ok:
		return math.NaN()
	case i == acidity:
		return t.ph()
	case i == warmth:
		return t.temperature()
	}
	return t.levels[i]
}

// CalcificationPerDay gives the true present uptake of alkalinity by calcification in dKH per day, with the day
// curve left out: what an estimate of the daily use should find. Nitrification is not in it.
func (t *Tank) CalcificationPerDay() float64 {
	return t.size(t.age) * t.law(t.levels[alkalinity], t.levels[calcium])
}

// UsePerDay gives the true present use of a quantity, canonical unit per day, with the day curve left out: what an
// estimate of the daily use should find. It is 0 for quantities that a tank does not have or that are not used up.
func (t *Tank) UsePerDay(q units.Quantity) float64 {
	i, ok := slot(q)
	switch {
	case !ok || i >= dissolved:
		return 0
	case i == alkalinity:
		return t.CalcificationPerDay() + t.nitrateGain(t.levels[nitrate])/mgNitratePerDKH
	case i == calcium:
		return t.CalcificationPerDay() * mgCalciumPerDKH
	case i == magnesium:
		return t.CalcificationPerDay() * mgCalciumPerDKH * magnesiumPerCalcium
	case i == nitrate:
		return -t.nitrateGain(t.levels[nitrate])
	}
	return t.perDay[i]
}

// Probe gives what a probe reads now: the level with normal noise. Readings do not change the tank's course.
func (t *Tank) Probe(q units.Quantity) float64 {
	i, ok := slot(q)
	if !ok {
		return math.NaN()
	}
	return t.Level(q) + t.probeSD[i]*t.noise.NormFloat64()
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
