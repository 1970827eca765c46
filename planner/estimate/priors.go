package estimate

import (
	"math"

	"aliquot/planner/units"
)

// prior is what is believed of a quantity before any test.
type prior struct {
	use, useSD float64 // per day
	floor      float64 // a use wanders and steps as if it were at least this
	slope      float64 // relative change of the use for 1 of level away from the target
	growth     float64 // of the use, relative, per day
	gainSD     float64 // of the gain before any test
	gainWalk   float64 // sd of its random walk after one day
	noise      float64 // sd after one day of what is in no model: skimming, evaporation, uneven mixing
	leastUse   float64 // below this a use is not believed
	mostUse    float64 // above this neither; 0 = no limit
	gross      float64 // sd of a gross error of a test
	outlier    float64 // least distance at which a test is held; infinite where units judges none
}

const (
	// calciumPerAlkalinity: 1 dKH of calcification takes 7.15 mg/L of calcium (20.04 mg/L per 2.8 dKH).
	calciumPerAlkalinity = 20.04 / 2.8
	// floorShare: our own choice, 0.12 dKH a day for alkalinity.
	floorShare = 0.1
	// mostUse: a use above so many prior standard deviations is not believed (alkalinity 12 dKH a day). Our own choice.
	mostUse = 10
	// Volumes, strengths and rates are each told within a few percent, and pumps wear (common practice: a recalibration
	// moves a rate by up to 5 %). Our own choice.
	gainSD   = 0.05
	gainWalk = 0.005
	// alkalinitySlope: calcification follows saturation less one, which at 8 dKH and 3.3 rises by 0.18 for 1 dKH; what is
	// no calcification does not follow. Our own choice between.
	alkalinitySlope = 0.12
	// growth of corals and what goes with it, within growthDays of a test: later nothing rises by itself (H-30). Our own
	// choice.
	growth     = 0.002
	growthDays = 7
	// noiseShare: our own choice, 0.03 dKH a day for alkalinity.
	noiseShare = 0.03
)

// priorOf gives the prior of a quantity. Uses are common practice where a figure is given (alkalinity 0–0.3 dKH
// a day with fish or soft corals, 0.3–2 mixed, 2–4 with dense stony corals; magnesium a tenth of the calcium
// or less); elsewhere 0 ± the largest change a day that may be asked for.
func priorOf(s Spec) prior {
	p := prior{useSD: 5 * testSD(s), outlier: math.Inf(1), gainSD: gainSD, gainWalk: gainWalk, mostUse: s.MaxUse}
	if most, ok := units.MaxChangePerDay(s.Quantity); ok {
		p.useSD = most
	}
	switch s.Quantity {
	case units.Alkalinity:
		p.use, p.useSD, p.slope, p.growth = 0.5, 1.2, alkalinitySlope, growth
	case units.Calcium:
		p.use, p.useSD, p.growth = 0.5*calciumPerAlkalinity, 1.2*calciumPerAlkalinity, growth
	case units.Magnesium:
		p.use, p.useSD = 0.3, 2
	case units.Nitrate, units.Phosphate:
		p.leastUse = -2 * p.useSD // a tank makes them too
	}
	p.noise, p.gross = noiseShare*testSD(s), 10*testSD(s)
	if d, ok := units.OutlierDistance(s.Quantity); ok {
		p.outlier, p.noise, p.gross = d, noiseShare*d, grossSize*d
	}
	p.floor = floorShare * p.useSD
	if p.mostUse <= 0 {
		p.mostUse = mostUse * p.useSD
	}
	if s.UseSD > 0 && finite(s.UseSD) && finite(s.Use) {
		p.use, p.useSD = s.Use, s.UseSD
	}
	return p
}

// testSD gives the repeatability of a test: the keeper's own, else 0.15 of the outlier distance (0.15 dKH,
// 6 mg/L Ca, 12 mg/L Mg: inside the common scatter of hobby titrations), else 1.
func testSD(s Spec) float64 {
	if s.TestSD > 0 && !math.IsInf(s.TestSD, 0) {
		return s.TestSD
	}
	if d, ok := units.OutlierDistance(s.Quantity); ok {
		return 0.15 * d
	}
	return 1
}

// shake is by how much a noted event widens what is believed: the sd added to the level as a share of the
// outlier distance, and to the use as a share of the present use. Our own choice.
type shake struct{ level, use float64 }

func shakeOf(kind string) shake {
	switch kind {
	case "livestock_added", "livestock_removed", "lights_out":
		return shake{level: 0, use: 0.3}
	case "medication":
		return shake{level: 0.3, use: 0.5}
	case "salt_mix", "filter_media":
		return shake{level: 0.3, use: 0.1}
	}
	return shake{level: 0.2, use: 0.2}
}

// A gain outside these is not believed.
const (
	gainLeast = 0.7
	gainMost  = 1.4
)

// baseShare: what a keeper declares as base says how much is used within this share of it, besides half of what is not
// known at all. Our own choice.
const baseShare = 0.5

// UseOfBase gives the Use and UseSD of a Spec when the keeper has declared a base that raises the quantity by so much in a
// day: both 0 without one.
func UseOfBase(q units.Quantity, risePerDay float64) (use, sd float64) {
	if !(risePerDay > 0) || !finite(risePerDay) {
		return 0, 0
	}
	return risePerDay, max(baseShare*risePerDay, priorOf(Spec{Quantity: q}).useSD/4)
}
