package estimate_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"aliquot/planner/estimate"
	"aliquot/planner/units"
)

// Lots drawn as they are believed to be: the bias that is worked out has no bias of its own, and the interval is honest.
func TestTheBiasOfALotIsHonest(t *testing.T) {
	const lots, kit, solution = 0.25, 0.15, 0.084 // dKH; of a solution of 8.4 dKH 1 %
	for _, readings := range []int{1, 3, 12} {
		rng := rand.New(rand.NewPCG(uint64(readings), 7))
		inside, n, sum, square, plain := 0, 4000, 0.0, 0.0, 0.0
		for range n {
			truth, off := lots*rng.NormFloat64(), solution*rng.NormFloat64()
			r := estimate.References{Count: readings, Stated: 8.4}
			for range readings {
				r.Sum += truth + off + kit*rng.NormFloat64()
			}
			bias, sd, ok := r.Bias(units.Alkalinity, estimate.Spec{TestSD: kit})
			if !ok {
				t.Fatal("nothing is said of alkalinity")
			}
			if math.Abs(bias-truth) <= 1.645*sd {
				inside++
			}
			sum += bias - truth
			square += (bias - truth) * (bias - truth)
			plain += (r.Sum/float64(readings) - truth) * (r.Sum/float64(readings) - truth)
		}
		if share := float64(inside) / float64(n); share < 0.88 || share > 0.92 {
			t.Errorf("%d readings: %.1f %% within the 90 %% interval", readings, 100*share)
		}
		if mean := sum / float64(n); math.Abs(mean) > 0.01 {
			t.Errorf("%d readings: wrong by %.3f in the mean", readings, mean)
		}
		if !(square < plain) {
			t.Errorf("%d readings: wrong by %.4f, the plain mean by %.4f", readings, square, plain)
		}
	}
}

func TestABiasThatNothingIsSaidOf(t *testing.T) {
	if _, _, ok := (estimate.References{}).Bias(units.Alkalinity, estimate.Spec{}); ok {
		t.Error("a bias without a reading")
	}
	if _, _, ok := (estimate.References{Count: 2, Sum: 1, Stated: 35}).Bias(units.Salinity, estimate.Spec{}); ok || estimate.Credible(units.Salinity, 0) {
		t.Error("a bias of a quantity whose lots nobody knows")
	}
	for miss, want := range map[float64]bool{1: true, -1: true, 1.01: false, -1.01: false, math.NaN(): false} {
		if got := estimate.Credible(units.Alkalinity, miss); got != want {
			t.Errorf("%v dKH off: credible %v", miss, got)
		}
	}
}

// However many tests of one lot follow: what the lot may be wrong by stays in the sd of the level.
func TestTestsOfOneLotDoNotMakeItsErrorSmaller(t *testing.T) {
	plain, shared := newFilter(), newFilter()
	for d := 0.; d < 30; d++ {
		test := alk(d, 8.3)
		plain.Test(test)
		test.BiasSD = 0.2
		shared.Test(test)
	}
	if was, is := at(plain, 29).LevelSD, at(shared, 29).LevelSD; !(was < 0.12 && is > 0.2) {
		t.Errorf("sd of the level %.3f, with a lot that is known to 0.2 %.3f", was, is)
	}
}
