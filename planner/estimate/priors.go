package estimate

import (
	"math"

	"aliquot/planner/units"
)

// prior is what is believed of a quantity before any test.
type prior struct {
	use, useSD float64 // per day
	drift      float64 // sd of the use's random walk after one day
	noise      float64 // sd after one day of what is in no model: skimming, evaporation, uneven mixing
	leastUse   float64 // below this a use is not believed
	outlier    float64 // least distance at which a test is held; infinite where units judges none
}

const (
	// calciumPerAlkalinity: 1 dKH of calcification takes 7.15 mg/L of calcium (20.04 mg/L per 2.8 dKH).
	calciumPerAlkalinity = 20.04 / 2.8
	// driftShare: the use wanders by a fortieth of its prior sd in a day (our own choice: alkalinity 0.03 dKH a
	// day; surprising tests make it up to 2.4 times as much).
	driftShare = 1.0 / 40
	// noiseShare: our own choice, 0.03 dKH a day for alkalinity.
	noiseShare = 0.03
)

// priorOf gives the prior of a quantity. Uses are common practice where a figure is given (alkalinity 0–0.3 dKH
// a day with fish or soft corals, 0.3–2 mixed, 2–4 with dense stony corals; magnesium a tenth of the calcium
// or less); elsewhere 0 ± the largest change a day that may be asked for.
func priorOf(s Spec) prior {
	p := prior{useSD: 5 * testSD(s), outlier: math.Inf(1)}
	if most, ok := units.MaxChangePerDay(s.Quantity); ok {
		p.useSD = most
	}
	switch s.Quantity {
	case units.Alkalinity:
		p.use, p.useSD = 0.5, 1.2
	case units.Calcium:
		p.use, p.useSD = 0.5*calciumPerAlkalinity, 1.2*calciumPerAlkalinity
	case units.Magnesium:
		p.use, p.useSD = 0.3, 2
	case units.Nitrate, units.Phosphate:
		p.leastUse = -2 * p.useSD // a tank makes them too
	}
	p.drift, p.noise = driftShare*p.useSD, noiseShare*testSD(s)
	if d, ok := units.OutlierDistance(s.Quantity); ok {
		p.outlier, p.noise = d, noiseShare*d
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
