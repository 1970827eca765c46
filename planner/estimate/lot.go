package estimate

import (
	"math"

	"aliquot/planner/units"
)

// lotScatter is the sd of what lots of one kit differ by from the truth, canonical unit: half of what they differ by at
// most (common practice: 0.5 dKH, 20 mg/L of calcium, 60 mg/L of magnesium; no source). Of what else is dosed a quarter of
// the outlier distance, our own choice. Meters and probes have no lots: they are calibrated.
func lotScatter(q units.Quantity) (sd float64, ok bool) {
	switch q {
	case units.Alkalinity:
		return 0.25, true
	case units.Calcium:
		return 10, true
	case units.Magnesium:
		return 30, true
	}
	if _, dosed := units.MaxChangePerDay(q); !dosed {
		return 0, false
	}
	far, ok := units.OutlierDistance(q)
	return far / 4, ok
}

// statedShare is the relative sd of what a reference solution is stated to have. Our own choice.
const statedShare = 0.01

// References are readings of reference solutions with one lot of a kit.
type References struct {
	Count  int
	Sum    float64 // of reading less what the solution is stated to have, canonical unit
	Stated float64 // the last of what they are stated to have
}

// Bias is by how much a lot is believed to read too high, and the sd of that. Few readings move it little: it is drawn
// towards 0 by what the readings scatter and the solution is uncertain by. False: nothing can be said of this quantity.
func (r References) Bias(q units.Quantity, spec Spec) (bias, sd float64, ok bool) {
	lots, ok := lotScatter(q)
	if !ok || r.Count <= 0 {
		return 0, 0, false
	}
	spec.Quantity = q
	repeat, stated := testSD(spec), statedShare*math.Abs(r.Stated)
	noise := repeat*repeat/float64(r.Count) + stated*stated
	weight := lots * lots / (lots*lots + noise)
	return weight * r.Sum / float64(r.Count), math.Sqrt(weight * noise), true
}

// Credible says whether a reading of a reference solution can be a lot's bias: further off than the distance at which a test
// is held it is a slip of unit, solution or kit, and says nothing of the lot.
func Credible(q units.Quantity, miss float64) bool {
	_, lots := lotScatter(q)
	far, ok := units.OutlierDistance(q)
	return lots && ok && math.Abs(miss) <= far
}
