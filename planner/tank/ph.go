package tank

import (
	"math"
	"time"
)

// This file is the first form of pH and temperature: curves and offsets, no carbonate system.

const (
	// gasExchange and warming are the time constants with which offsets of pH and temperature vanish.
	gasExchange = 6 * time.Hour
	warming     = 3 * time.Hour
	// peakAfter is how long after mid-light pH and temperature are highest.
	peakAfter = 4 * time.Hour
	// phPerDKH is the immediate rise of pH by 1 dKH of hydroxide at pH 8.1.
	phPerDKH = 0.5
	// leastDKH keeps the logarithm of an exhausted alkalinity finite.
	leastDKH = 0.1
)

// ph is the present pH.
func (t *Tank) ph() float64 {
	return t.startPH + t.p.PHSwing*t.dayCurve(t.age, peakAfter) + t.equilibrium() + t.levels[acidity]
}

// equilibrium is the part of pH that follows the alkalinity at the air's CO2.
func (t *Tank) equilibrium() float64 {
	return math.Log10(max(t.levels[alkalinity], leastDKH) / t.startDKH)
}

// raiseAlkalinity adds alkalinity and moves pH at once by what its carbon leaves of the rise.
func (t *Tank) raiseAlkalinity(dkh, carbonPerEquivalent float64) {
	before := t.equilibrium()
	t.levels[alkalinity] += dkh
	t.levels[acidity] += phPerDKH*(1-carbonPerEquivalent)*dkh - (t.equilibrium() - before)
}

func (t *Tank) temperature() float64 {
	return t.startT + t.p.TemperatureSwing*t.dayCurve(t.age, peakAfter) + t.levels[warmth]
}

// relax lets h days pass for the offsets.
func (t *Tank) relax(h float64) {
	t.levels[acidity] *= math.Exp(-h / days(gasExchange))
	t.levels[warmth] *= math.Exp(-h / days(warming))
}
