package config

import (
	"fmt"
	"math"

	"aliquot/planner"
	"aliquot/planner/acidity"
	"aliquot/planner/stock"
	"aliquot/planner/units"
)

// checkInterlocks checks names and warns of interlocks that cannot do what they seem to.
func (p *plant) checkInterlocks() {
	first := map[string]Pos{}
	for _, l := range p.site.Interlocks {
		if at, twice := first[l.Name]; twice && l.Name != "" {
			p.at(l.path+".name", fmt.Sprintf("the name %q is there twice", l.Name), "", fmt.Sprintf("rename one; the first is in line %d", at.Line))
			continue
		}
		first[l.Name] = l.At
		probe, ok := p.probe(l.Probe)
		if !ok || probe.System == "" {
			continue
		}
		for _, id := range l.Block {
			if c, ok := p.pump(id); ok && c.System != "" && c.System != probe.System {
				p.warn(l.path+".block", fmt.Sprintf("the probe %s is in %s, the channel %s doses into %s", probe.ID, probe.System, id, c.System), "", "")
			}
		}
	}
}

func (p *plant) probe(id string) (Probe, bool) {
	for _, b := range p.site.Probes {
		if b.ID == id {
			return b, true
		}
	}
	return Probe{}, false
}

// checkTargets compares the figures of each quantity with each other and with what the channels can do.
func (p *plant) checkTargets() {
	for i := range p.site.Systems {
		s := &p.site.Systems[i]
		for _, t := range s.Quantities {
			p.checkTarget(s, t)
		}
	}
}

func (p *plant) checkTarget(s *System, t Target) {
	path := "systems." + s.ID + ".quantities." + string(t.Quantity)
	unit := t.Quantity.Unit()
	if t.Target > 0 && !(t.Band < t.Target) {
		p.at(path+".band", fmt.Sprintf("band is %s, target is %s", level(t.Band, unit), level(t.Target, unit)), "band must be below target", "")
	}
	if most, ok := units.DefaultBand(t.Quantity); ok && t.Band > 4*most {
		p.at(path+".band", fmt.Sprintf("band is %s", level(t.Band, unit)), "at most "+level(4*most, unit), "")
	}
	p.checkMaxChange(s, t, path)
	if t.TestSD > t.Band && t.Band > 0 {
		p.warn(path+".test.sd", fmt.Sprintf("sd is %s, band is %s", level(t.TestSD, unit), level(t.Band, unit)), "", "one test cannot tell whether the level is in the band: repeat tests or widen the band")
	}
	if t.DueEvery > t.StaleAfter && t.StaleAfter > 0 {
		p.warn(path+".test.due_every", fmt.Sprintf("due_every is %s, stale_after is %s", span(t.DueEvery), span(t.StaleAfter)), "", "every test is stale before the next is due")
	}
	p.warnOfMaxDose(s, t, path)
}

// checkMaxChange holds max_rise and max_fall to their hard bounds where a channel follows the quantity.
func (p *plant) checkMaxChange(s *System, t Target, path string) {
	most, ok := units.MaxChangePerDay(t.Quantity)
	followed := p.follower(s, t.Quantity)
	if !ok {
		if followed != "" {
			p.at("channels."+followed+".follow", fmt.Sprintf("%s cannot be followed: no safe change per day is known for it", t.Quantity), "", "dose it as fixed")
		}
		return
	}
	unit := t.Quantity.Unit() + "/day"
	for _, f := range []struct {
		key string
		x   float64
	}{{"max_rise", t.MaxRise}, {"max_fall", t.MaxFall}} {
		if !(f.x > most*(1+1e-9)) || f.key == "max_fall" && f.x == t.MaxRise {
			continue
		}
		if found := f.key + " is " + level(f.x, unit); followed != "" {
			p.at(path+"."+f.key, found, "at most "+level(most, unit), "livestock suffers from faster changes")
		} else {
			p.warn(path+"."+f.key, found, "above "+level(most, unit), "no channel follows it")
		}
	}
}

// follower names the channel that follows a quantity of a system, "" if there is none.
func (p *plant) follower(s *System, q units.Quantity) string {
	for _, c := range p.pumps {
		if c.Mode == planner.Follow && c.Follow == q && c.System == s.ID {
			return c.ID
		}
	}
	return ""
}

// warnOfMaxDose gives the figure that holds without max_dose, or says that max_dose has little meaning.
func (p *plant) warnOfMaxDose(s *System, t Target, path string) {
	sum, moved := 0.0, false
	for _, c := range p.pumps {
		if x, ok := c.effect(t.Quantity, c.Limits.PerDay); ok && c.system == s && x > 0 {
			sum, moved = sum+x, true
		}
	}
	unit := t.Quantity.Unit() + "/day"
	switch {
	case !moved:
		p.warn(path, "no channel raises it", "", "")
	case t.MaxDose == 0:
		p.warn(path+".max_dose", "not declared", "the per_day of its channels together allow "+level(sum, unit), "")
	case t.MaxDose > sum:
		p.warn(path+".max_dose", fmt.Sprintf("max_dose is %s, the per_day of its channels together allow %s", level(t.MaxDose, unit), level(sum, unit)), "it is never reached", "")
	case t.MaxDose < t.MaxRise:
		p.warn(path+".max_dose", fmt.Sprintf("max_dose is %s, max_rise is %s", level(t.MaxDose, unit), level(t.MaxRise, unit)), "", "max_rise is never reached")
	}
	if f := p.follower(s, t.Quantity); f != "" && t.MaxDose > 0 {
		c, _ := p.pump(f)
		if c.Base == nil {
			return
		}
		if x, ok := c.effect(t.Quantity, *c.Base); ok && x > t.MaxDose {
			p.warn(c.path+".base", fmt.Sprintf("base moves %s by %s, max_dose is %s", t.Quantity, level(x, unit), level(t.MaxDose, unit)), "", "base is never reached")
		}
	}
}

// warnOfFixedEffect says that a volume which no test controls moves a quantity fast.
func (p *plant) warnOfFixedEffect(c pump, key string, mlOnDay float64) {
	for _, q := range c.moved() {
		most, ok := units.MaxChangePerDay(q)
		if !ok || c.system == nil || !(c.system.NetLitres > 0) {
			continue
		}
		if x := mlOnDay * c.stock.Strength[q] / c.system.NetLitres; math.Abs(x) > most {
			p.warn(key, fmt.Sprintf("on a day that has slots it moves %s of %s by %s", q, c.system.ID, level(x, q.Unit())), "above "+level(most, q.Unit()), "no test controls it")
		}
	}
}

// warnOfWhole gives the warnings that need the whole site.
func (p *plant) warnOfWhole() {
	spilt := map[string]bool{}
	for _, c := range p.pumps {
		if c.system != nil && c.container != nil && !spilt[c.container.ID+"/"+c.system.ID] {
			spilt[c.container.ID+"/"+c.system.ID] = true
			p.warnOfSpill(c)
		}
		p.warnOfPH(c)
		p.warnOfLooseDay(c)
		if c.Mode == planner.Follow && c.Follow != "" && c.Base == nil {
			p.warn(c.path+".base", "not declared", "when tests have been missing for long, dosing falls to 0.9 of the last estimate", "")
		}
	}
}

// looseDay is how many times the largest change per day a channel's per_day may allow before it guards little.
const looseDay = 5

// warnOfLooseDay says that a per_day would let a fault move a quantity very far.
func (p *plant) warnOfLooseDay(c pump) {
	for _, q := range c.moved() {
		most, known := units.MaxChangePerDay(q)
		x, ok := c.effect(q, c.Limits.PerDay)
		if known && ok && x > looseDay*most {
			p.warn(c.path+".limits.per_day", fmt.Sprintf("per_day is %v and would let %s of %s move by %s", c.Limits.PerDay, q, c.system.ID, level(x, q.Unit())),
				"per_day guards little above "+level(looseDay*most, q.Unit()), "")
		}
	}
}

// warnOfPH says that a solution of high pH runs whatever the system's pH probe shows (H-26).
func (p *plant) warnOfPH(c pump) {
	if c.stock == nil || !highPH(c.stock.Classes) || c.stock.LateShare == 1 {
		return
	}
	probed := ""
	for _, b := range p.site.Probes {
		if b.Quantity != units.PH || b.System != c.System {
			continue
		}
		probed = b.ID
		for _, l := range p.site.Interlocks {
			if l.Probe == b.ID && l.When.Relation == Above && blocks(l, c.ID) {
				return
			}
		}
	}
	if probed == "" && c.raisesPH() {
		p.warn(c.path, fmt.Sprintf("%s raises pH, and no pH probe watches %s", c.stock.ID, c.System), "", "add a pH probe, and an interlock with above: 8.50 or so")
	} else if probed != "" {
		p.warn(c.path, fmt.Sprintf("%s raises pH, and no interlock on the probe %s blocks it", c.stock.ID, probed), "", "add an interlock with above: 8.50 or so")
	}
}

// raisesPH says whether one run moves pH up at once; bicarbonate does not. Unknown salts are taken to.
func (c pump) raisesPH() bool {
	if c.stock.Solution == nil || c.system == nil {
		return c.system != nil
	}
	tank, _ := c.system.Tank().Nearest()
	e, err := acidity.Of(tank, c.stock.Parts())
	if err != nil {
		return true
	}
	step, err := e.Step(c.Limits.PerRun.Millilitres())
	return err != nil || step > 0
}

func highPH(classes []stock.Class) bool {
	for _, k := range classes {
		if k == stock.Carbonate || k == stock.Hydroxide || k == stock.Lime {
			return true
		}
	}
	return false
}

func blocks(l Interlock, channel string) bool {
	if l.BlockAll {
		return true
	}
	for _, id := range l.Block {
		if id == channel {
			return true
		}
	}
	return false
}
