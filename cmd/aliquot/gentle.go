package main

import (
	"math"

	"aliquot/config"
	"aliquot/planner/seawater"
	"aliquot/planner/stock"
	"aliquot/planner/units"
	"aliquot/safety"
)

// usualPH is the pH, total scale, at which the pH step of a run is judged (common practice). At 7.8, the lowest that
// is usual, the same run makes a step of about 0.08, still below the hard bound of 0.10.
const usualPH seawater.TotalPH = 8.1

// acidity is what a channel's supplement does to pH at once. ok is false where that is not known: a label's claim says
// nothing of salts, and some waters are outside the formulas.
type acidity struct {
	system seawater.System
	before seawater.Carbonate
	salt   seawater.Salt
	atOnce float64 // dKH in 1 L for 1 mL that act at once
	litres float64
}

func acidityOf(y config.System, p config.Supplement) (a acidity, ok bool) {
	share, carbon, err := stock.AtOnce(p.Parts())
	if err != nil || !(share > 0) {
		return a, false
	}
	target := 8.0 // dKH, where the system follows no alkalinity
	for _, q := range y.Quantities {
		if q.Quantity == units.Alkalinity {
			target = q.Target
		}
	}
	water := seawater.Water{Salinity: seawater.PSU(y.SalinityPSU), Temperature: seawater.Celsius(y.TemperatureC)}
	alk, err := water.AlkalinityFromDKH(target)
	if err != nil {
		return a, false
	}
	a = acidity{salt: seawater.Salt(math.Min(1, carbon)), atOnce: p.Strength[units.Alkalinity] * share, litres: y.NetLitres}
	if a.system, err = seawater.NewSystem(water); err != nil {
		return a, false
	}
	a.before, err = a.system.AlkalinityPH(alk, usualPH)
	return a, err == nil
}

// gentle is the largest planned run whose pH step stays within the default; 0: no run of the salt reaches it.
func (a acidity) gentle() safety.Microlitres {
	dkh, bounded, err := a.system.LargestRiseDKH(a.before, a.salt, seawater.DefaultStep)
	if err != nil || !bounded {
		return 0
	}
	v, err := safety.MillilitresDown(dkh * a.litres / a.atOnce)
	if err != nil {
		return 0
	}
	return v
}

// step is what a volume, all at once, does to pH.
func (a acidity) step(v safety.Microlitres) (float64, bool) {
	water := a.system.Water()
	rise, err := water.AlkalinityFromDKH(v.Millilitres() * a.atOnce / a.litres)
	if err != nil {
		return 0, false
	}
	step, err := a.system.Step(a.before, rise, a.salt)
	return step, err == nil
}
