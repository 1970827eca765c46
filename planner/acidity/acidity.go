// Package acidity works out how far a volume of a stock solution moves the pH of a system right after it is mixed in,
// before any carbon dioxide has come from or gone to the air: the worst minutes of a dose.
//
// It decides pH steps and the volumes that belong to them. It never decides which step is allowed, nor whether to
// dose. What organic salts bring appears later, through bacteria, and is in no step.
package acidity

import (
	"errors"
	"fmt"
	"math"

	"aliquot/planner/seawater"
	"aliquot/planner/stock"
	"aliquot/planner/units"
)

// UsualPH is the pH, total scale, from which a step is judged (common practice). At 7.8, the lowest that is usual, the
// run that makes a step of seawater.DefaultStep here makes one of about 0.08, still below seawater.HardStep.
const UsualPH seawater.TotalPH = 8.1

// UsualDKH is the alkalinity where a system has no target for it (common practice).
const UsualDKH = 8.0

// Tank is the water that a solution goes into.
type Tank struct {
	SalinityPSU   float64
	TemperatureC  float64
	AlkalinityDKH float64 // usually the target; 0 stands for UsualDKH
	Litres        float64 // net, above 0
}

// Bounds of salinity and temperature inside which all formulas of planner/seawater hold that a step needs.
const (
	leastPSU, mostPSU = 19, 42
	leastC, mostC     = 5, 35
)

// Nearest gives the water nearest to t for which the formulas hold; same says that this is t itself. In fresher water
// than they hold for a run moves pH further: there is less borate, and less carbonate at the same pH.
func (t Tank) Nearest() (near Tank, same bool) {
	near = t
	near.SalinityPSU = math.Min(mostPSU, math.Max(leastPSU, t.SalinityPSU))
	near.TemperatureC = math.Min(mostC, math.Max(leastC, t.TemperatureC))
	return near, near == t
}

// Effect is what a solution does at once to the pH of a tank. The zero value does nothing.
type Effect struct {
	system seawater.System
	before seawater.Carbonate
	salt   seawater.Salt
	atOnce float64 // dKH in 1 L for 1 mL
	litres float64
}

// Of works out the effect of a solution. A solution without alkalinity that acts at once has an effect that does
// nothing. It refuses unknown salts, and waters outside the formulas with a *seawater.RangeError.
func Of(t Tank, parts []stock.Part) (Effect, error) {
	if !(t.Litres > 0) || math.IsInf(t.Litres, 1) {
		return Effect{}, fmt.Errorf("a system of %g L is not above 0 L", t.Litres)
	}
	share, carbon, err := stock.AtOnce(parts)
	if err != nil || !(share > 0) {
		return Effect{}, err
	}
	strength, err := stock.StrengthOf(parts)
	if err != nil {
		return Effect{}, err
	}
	if t.AlkalinityDKH == 0 {
		t.AlkalinityDKH = UsualDKH
	}
	water := seawater.Water{Salinity: seawater.PSU(t.SalinityPSU), Temperature: seawater.Celsius(t.TemperatureC)}
	alkalinity, err := water.AlkalinityFromDKH(t.AlkalinityDKH)
	if err != nil {
		return Effect{}, err
	}
	e := Effect{salt: seawater.Salt(math.Min(1, carbon)), atOnce: strength[units.Alkalinity] * share, litres: t.Litres}
	if e.system, err = seawater.NewSystem(water); err != nil {
		return Effect{}, err
	}
	if e.before, err = e.system.AlkalinityPH(alkalinity, UsualPH); err != nil {
		return Effect{}, err
	}
	return e, nil
}

// Salt says how much inorganic carbon comes with the alkalinity that acts at once.
func (e Effect) Salt() seawater.Salt { return e.salt }

// AtOnce is the alkalinity in dKH that 1 mL brings to 1 L at once.
func (e Effect) AtOnce() float64 { return e.atOnce }

// Acts says whether the solution does anything to pH at once.
func (e Effect) Acts() bool { return e.atOnce > 0 }

var errNoVolume = errors.New("a volume is not a number from 0 mL")

// Step is the change of pH that so many mL make, all at once; negative where pH falls, as with bicarbonate. An error
// where the water would leave what the formulas hold for.
func (e Effect) Step(ml float64) (float64, error) {
	if !(ml >= 0) {
		return 0, errNoVolume
	}
	if !e.Acts() {
		return 0, nil
	}
	water := e.system.Water()
	rise, err := water.AlkalinityFromDKH(ml * e.atOnce / e.litres)
	if err != nil {
		return 0, err
	}
	return e.system.Step(e.before, rise, e.salt)
}

// Largest is the volume that moves pH by step, up or down; every smaller one moves it by less. step is above 0 and at
// most 1. bounded is false where no volume does, such as of a solution that does nothing at once.
func (e Effect) Largest(step float64) (ml float64, bounded bool, err error) {
	if !e.Acts() {
		return 0, false, nil
	}
	dkh, bounded, err := e.system.LargestRiseDKH(e.before, e.salt, step)
	if err != nil || !bounded {
		return 0, false, err
	}
	return dkh * e.litres / e.atOnce, true, nil
}
