package config

import (
	"fmt"
	"strings"

	"aliquot/planner"
	"aliquot/planner/metering"
	"aliquot/planner/units"
	"aliquot/safety"
)

// checkDemand checks what a channel follows or shares.
func (p *plant) checkDemand(c pump) {
	switch c.Mode {
	case planner.Follow:
		p.checkFollow(c)
	case planner.Share:
		p.checkShare(c)
	}
}

func (p *plant) checkFollow(c pump) {
	path := c.path + ".follow"
	if c.Follow == "" {
		return
	}
	if c.system != nil {
		if _, ok := c.system.target(c.Follow); !ok {
			p.at(path, fmt.Sprintf("follows %s, but the system %s has no target for it", c.Follow, c.system.ID), "",
				"declare systems."+c.system.ID+".quantities."+string(c.Follow))
		}
	}
	if c.stock != nil && c.stock.Strength != nil && !(c.stock.Strength[c.Follow] > 0) {
		p.at(path, fmt.Sprintf("follows %s, but the supplement %s does not raise it", c.Follow, c.stock.ID),
			"it moves "+movedWords(c), "")
	}
	for _, other := range p.pumps {
		if other.ID == c.ID {
			return
		}
		if other.Mode == planner.Follow && other.Follow == c.Follow && other.System == c.System {
			p.at(path, fmt.Sprintf("follows %s of %s, and so does the channel %s", c.Follow, c.System, other.ID),
				"one channel follows a quantity of a system", "let this one share: {of: "+other.ID+", ratio: …}")
			return
		}
	}
}

func movedWords(c pump) string {
	list := ids(c.moved(), func(q units.Quantity) string { return string(q) })
	if len(list) == 0 {
		return "nothing that is known"
	}
	return joined(list)
}

func (s *System) target(q units.Quantity) (Target, bool) {
	for _, t := range s.Quantities {
		if t.Quantity == q {
			return t, true
		}
	}
	return Target{}, false
}

// checkShare refuses circles and warns of shares across systems.
func (p *plant) checkShare(c pump) {
	path := c.path + ".share.of"
	if c.ShareOf == c.ID {
		p.at(path, "the channel shares its own volume", "must be another channel", "")
		return
	}
	chain := []string{c.ID}
	at := c
	for at.Mode == planner.Share && len(chain) <= len(p.pumps) {
		next, ok := p.pump(at.ShareOf)
		if !ok {
			return
		}
		chain = append(chain, next.ID)
		if next.ID == c.ID {
			p.at(path, "shares run in a circle: "+strings.Join(chain, " → "), "must end at a channel with follow or fixed", "")
			return
		}
		at = next
	}
	if of, ok := p.pump(c.ShareOf); ok && of.System != c.System {
		p.warn(path, fmt.Sprintf("shares the volume of %s, which doses into another system", of.ID), "", "")
	}
}

// checkLimits compares the limits of a channel with each other.
func (p *plant) checkLimits(c pump) {
	l := c.Limits
	path := c.path + ".limits"
	if l.PerRun > 0 && l.SmallestRun > l.PerRun {
		p.at(path+".per_run", fmt.Sprintf("per_run is %v, smallest_run is %v", l.PerRun, l.SmallestRun),
			"smallest_run must not exceed per_run", "no run could ever be planned: raise per_run or lower smallest_run")
	}
	p.warnOfSmallRuns(c)
	if l.PerDay > 0 && l.PerRun > l.PerDay {
		p.at(path+".per_day", fmt.Sprintf("a run of %v (per_run) exceeds per_day, which is %v", l.PerRun, l.PerDay),
			"per_run must not exceed per_day", "raise per_day or lower per_run")
		return
	}
	planned, words := l.PerRun, "per_run"
	if v, ok := p.plannedRun(c); ok {
		planned, words = v, "one planned run"
	}
	worst := safety.DefaultTolerance.Above(c.worstRun(planned))
	if planned > 0 && l.PerDay > 0 && worst > l.PerDay {
		if c.worstRun(planned) > planned {
			words = "a run until auto_off"
		}
		p.at(path+".per_day", fmt.Sprintf("%s of %v may move %v (5 %% more), per_day is %v", words, c.worstRun(planned), worst, l.PerDay),
			"per_day must be at least that", "raise per_day or lower the run")
	}
}

// warnOfSmallRuns says that runs as small as allowed would be inexact (common practice: below about 0.3 mL or
// one second).
func (p *plant) warnOfSmallRuns(c pump) {
	v, path := c.Limits.SmallestRun, c.path+".limits.smallest_run"
	switch {
	case v < defaultSmallestRun:
		p.warn(path, fmt.Sprintf("smallest_run is %v", v), fmt.Sprintf("below %v runs are inexact", defaultSmallestRun), "")
	case c.NominalRate > 0 && c.NominalRate.TimeFor(v) < 1000:
		p.warn(path, fmt.Sprintf("a smallest_run of %v at %s mL/min takes %s s", v, num(rateML(c.NominalRate)), num(round3(c.NominalRate.TimeFor(v).Seconds()))),
			"below about 1 s runs are inexact", "raise smallest_run")
	}
}

// plannedRun is the volume of one run where it is known in advance, at most per_run.
func (p *plant) plannedRun(c pump) (safety.Microlitres, bool) {
	ml, _, planned, ok := p.need(c, 0)
	if !ok || !planned {
		return 0, false
	}
	perSlot, _, _, ok := c.slotVolume(ml)
	if !ok {
		return 0, false
	}
	v, err := safety.MillilitresUp(perSlot)
	if err != nil {
		return 0, false
	}
	return min(max(v, c.Limits.SmallestRun), max(c.Limits.PerRun, c.Limits.SmallestRun)), true
}

// checkTimes checks that a run of per_run fits into run_time.
func (p *plant) checkTimes(c pump) {
	l := c.Limits
	if c.NominalRate <= 0 || l.PerRun <= 0 || l.RunTime <= 0 {
		return
	}
	if t := c.NominalRate.TimeFor(l.PerRun); t > l.RunTime {
		p.at(c.path+".limits.run_time", fmt.Sprintf("a run of %v (per_run) at %s mL/min takes %s s, run_time is %s s",
			l.PerRun, num(rateML(c.NominalRate)), num(round3(t.Seconds())), num(l.RunTime.Seconds())),
			"per_run must fit into run_time", "raise run_time up to 600s or lower per_run")
	}
	if v := c.NominalRate.VolumeIn(l.RunTime); v > 2*l.PerRun {
		p.warn(c.path+".limits.run_time", fmt.Sprintf("in %s s the pump moves %v, per_run is %v", num(l.RunTime.Seconds()), v, l.PerRun), "run_time guards little", "")
	}
}

// rateML is a rate in mL/min, free of the rounding to nL/s.
func rateML(r safety.Rate) float64 { return round3(r.MillilitresPerMinute()) }

// checkAttended checks the limits of runs with a person present, where they are declared.
func (p *plant) checkAttended(c pump) {
	a := c.Attended
	path := c.path + ".attended"
	if a.PerRun > a.PerDay {
		p.at(path+".per_run", fmt.Sprintf("attended per_run is %v, per_day is %v", a.PerRun, a.PerDay), "per_run must not exceed per_day", "")
	}
	if _, declared := p.places[path+".per_run"]; declared && c.NominalRate > 0 {
		if t := c.NominalRate.TimeFor(a.PerRun); t > safety.RunMax {
			p.at(path+".per_run", fmt.Sprintf("an attended run of %v at %s mL/min takes %s s", a.PerRun, num(rateML(c.NominalRate)), num(round3(t.Seconds()))),
				"no run lasts longer than 600 s", "lower attended per_run: runs can be repeated")
		}
	}
	if c.container != nil && c.container.Capacity > 0 && a.PerRun > c.container.Capacity && !p.defaulted(path+".per_run") {
		p.warn(path+".per_run", fmt.Sprintf("an attended run of %v is more than the container %s holds, %v", a.PerRun, c.container.ID, c.container.Capacity), "", "")
	}
	if c.container != nil && c.container.Capacity > 0 && a.PerDay > c.container.Capacity && !p.defaulted(path+".per_day") {
		p.warn(path+".per_day", fmt.Sprintf("attended runs may take %v a day, the container %s holds %v", a.PerDay, c.container.ID, c.container.Capacity), "", "")
	}
	if v := metering.LineVolumeML(c.Line.BoreMM, c.Line.LengthMM/1000); v > a.PerDay.Millilitres() {
		p.warn(path+".per_day", fmt.Sprintf("the line holds %s mL, attended runs may take %v a day", num(round3(v)), a.PerDay), "", "it could not be primed in one day: raise attended per_day")
	}
}

// defaulted says that a key is not in the file.
func (p *plant) defaulted(path string) bool { _, ok := p.places[path]; return !ok }

// checkAutoOff checks a relay whose on-time is fixed inside it: every run counts as the whole of it.
func (p *plant) checkAutoOff(c pump) {
	if c.node == nil || c.node.AutoOff == 0 {
		return
	}
	path := c.path + ".nominal_rate"
	off := safety.MillisecondsUp(c.node.AutoOff)
	if c.Limits.RunTime > off {
		p.at(c.path+".limits.run_time", fmt.Sprintf("run_time is %s s, auto_off of the node %s is %s", num(c.Limits.RunTime.Seconds()), c.node.ID, span(c.node.AutoOff)),
			"run_time must not exceed auto_off", "the relay would cut the run short: lower run_time")
	}
	if c.NominalRate <= 0 {
		p.warn(path, "not declared", "what the relay lets through until auto_off is not checked against per_run", "")
		return
	}
	worst := c.NominalRate.VolumeIn(off)
	most := c.Limits.PerRun * 3 / 2
	words := fmt.Sprintf("at %s mL/min until auto_off (%s) the node %s lets %v through", num(rateML(c.NominalRate)), span(c.node.AutoOff), c.node.ID, worst)
	if c.Limits.PerRun > 0 && safety.DefaultTolerance.Above(worst) > most {
		p.at(c.path+".limits.per_run", fmt.Sprintf("%s, %v with 5 %% more; per_run is %v", words, safety.DefaultTolerance.Above(worst), c.Limits.PerRun),
			fmt.Sprintf("at most 1.5 × per_run, %v", most), "shorten auto_off, slow the pump or raise per_run")
	}
	if worst > c.Attended.PerRun {
		p.at(c.path+".attended.per_run", fmt.Sprintf("%s, attended per_run is %v", words, c.Attended.PerRun), "attended per_run must be at least that",
			"the relay could not be proven: raise attended per_run or shorten auto_off")
	}
}
