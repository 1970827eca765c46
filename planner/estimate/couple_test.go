package estimate_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"aliquot/planner/estimate"
	"aliquot/planner/units"
)

// reef plays a system whose uses of alkalinity and calcium wander together, and gives the RMS error of the predicted
// level of calcium at its tests, with alkalinity tested or not. Invented.
func reef(seed uint64, testAlkalinity bool) (rms float64) {
	r := rand.New(rand.NewPCG(seed, 5))
	f := estimate.New(340, []estimate.Spec{alkalinity(), {Quantity: units.Calcium, TestSD: 8, Target: 430, Upper: 450}})
	alkUse, wander, alkLevel, ca := 0.8+r.Float64(), 0., 8.3, 430.
	ratio := 7.15 * (.8 + .3*r.Float64())
	dose, caDose := alkUse, alkUse*ratio
	sum, n := 0., 0
	for h := range 24 * 120 {
		d := float64(h) / 24
		wander += -wander/15/24 + .3*math.Sqrt(2./15/24)*r.NormFloat64()
		use := alkUse * math.Exp(wander)
		alkLevel += (dose - use) / 24
		ca += (caDose - use*ratio) / 24
		f.Dose(day(d), []estimate.Rise{{Quantity: units.Alkalinity, Mean: dose / 24, Lo: dose / 24, Hi: dose / 24},
			{Quantity: units.Calcium, Mean: caDose / 24, Lo: caDose / 24, Hi: caDose / 24}})
		if h%72 == 0 && testAlkalinity {
			f.Test(alk(d, alkLevel+.15*r.NormFloat64()))
			dose = max(0, at(f, d).Consumption+(8.3-at(f, d).Level)/3)
		}
		if h%(24*10) == 0 {
			f.Test(estimate.Test{At: day(d), Quantity: units.Calcium, Value: ca + 8*r.NormFloat64()})
		}
		if h%24 == 0 && d > 25 {
			e := f.At(day(d), units.Calcium)
			sum, n = sum+(e.Level-ca)*(e.Level-ca), n+1
			caDose = max(0, e.Consumption+(430-e.Level)/5)
		}
	}
	return math.Sqrt(sum / float64(n))
}

func TestCalciumLearnsFromAlkalinity(t *testing.T) {
	alone, together := 0., 0.
	for seed := range uint64(40) {
		alone += reef(seed, false) / 40
		together += reef(seed, true) / 40
	}
	t.Logf("RMS error of the level of calcium: %.2f mg/L alone, %.2f with alkalinity tested", alone, together)
	if !(together < .9*alone) {
		t.Errorf("RMS error of calcium %.2f mg/L with alkalinity tested, %.2f without; want a tenth less at least", together, alone)
	}
}
