package config

import (
	"fmt"
	"math"

	"aliquot/planner/acidity"
	"aliquot/planner/seawater"
	"aliquot/planner/units"
	"aliquot/safety"
)

// shiftBounds are the largest shifts of the whole system by one run (common practice).
var shiftBounds = []struct {
	quantity units.Quantity
	most     float64
}{{units.Alkalinity, 0.5}, {units.Calcium, 10}, {units.Magnesium, 25}}

// checkShift refuses a per_run that moves the whole system too far at once.
func (p *plant) checkShift(c pump) {
	if c.Limits.PerRun <= 0 {
		return
	}
	path := c.path + ".limits.per_run"
	for _, b := range shiftBounds {
		x, ok := c.effect(b.quantity, c.Limits.PerRun)
		if ok && !(math.Abs(x) <= b.most*(1+1e-9)) {
			p.at(path, fmt.Sprintf("a run of %v moves the %s of %s by %s", c.Limits.PerRun, b.quantity, c.system.ID, level(x, b.quantity.Unit())),
				"at most "+level(b.most, b.quantity.Unit()), "lower per_run or dilute "+c.stock.ID)
		}
	}
	p.checkPHStep(c, path)
	if c.stock != nil && c.stock.Solution == nil && c.stock.Strength[units.Alkalinity] > 0 && c.stock.LateShare < 1 {
		p.warn(path, fmt.Sprintf("the salts of %s are not known", c.stock.ID), "how far one run moves pH is not checked", "")
	}
}

// checkPHStep refuses a run that moves the pH of the whole system by more than seawater.HardStep at once (H-26). Water
// outside the formulas is judged as the nearest that is inside, and that is said.
func (p *plant) checkPHStep(c pump, path string) {
	if c.stock == nil || c.stock.Strength == nil || c.system == nil || !(c.system.NetLitres > 0) {
		return
	}
	tank, same := c.system.Tank().Nearest()
	e, err := acidity.Of(tank, c.stock.Parts())
	if err != nil || !e.Acts() {
		return // salts that are no solution are reported where they stand
	}
	if !same {
		p.warn(path, fmt.Sprintf("the formulas for pH do not hold in %s (%s psu, %s degC)", c.system.ID, num(c.system.SalinityPSU), num(c.system.TemperatureC)),
			fmt.Sprintf("how far one run moves pH is judged at %s psu and %s degC", num(tank.SalinityPSU), num(tank.TemperatureC)), "")
	}
	ml, bounded, err := e.Largest(seawater.HardStep)
	if err != nil || !bounded || c.Limits.PerRun.Millilitres() <= ml*(1+1e-9) {
		return
	}
	moved := "by more"
	if x, err := e.Step(c.Limits.PerRun.Millilitres()); err == nil {
		moved = fmt.Sprintf("from %.1f by %+.3f", float64(acidity.UsualPH), x)
	}
	do := "dilute " + c.stock.ID
	if v, err := safety.MillilitresDown(ml); err == nil && v >= c.Limits.SmallestRun {
		do = fmt.Sprintf("lower per_run to %v or ", v) + do
	}
	p.at(path, fmt.Sprintf("a run of %v moves the pH of %s %s at once", c.Limits.PerRun, c.system.ID, moved),
		fmt.Sprintf("at most %.2f", seawater.HardStep), do)
}
