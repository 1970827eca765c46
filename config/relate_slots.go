package config

import (
	"fmt"
	"math"
	"sort"
	"strings"
	"time"

	"aliquot/planner"
	"aliquot/planner/stock"
	"aliquot/safety"
)

// horizonDays is how many days of a calendar are looked at: every `every` meets every month and weekday in it.
const horizonDays = 1500

var (
	firstDay = everyStart
	lastDay  = everyStart.AddDate(0, 0, horizonDays)
)

// dayAfter is the midnight n days later; wall time written as UTC has no clock changes.
func dayAfter(midnight time.Time, n int) time.Time {
	return midnight.Add(time.Duration(n) * 24 * time.Hour)
}

// slotVolume shares a daily volume among the slots as the planner does: a day with slots carries what is due
// since the last such day, in equal parts but for `night`. It gives the most that one slot and one day carry, mL, and the slots on a day
// that has any; false if the slots are not known or never come.
func (c pump) slotVolume(mlPerDay float64) (perSlot, day float64, slots int, ok bool) {
	cal, ok := newCalendar(c.Slots, c.Every, c.Start)
	if !ok || len(cal.times) == 0 {
		return 0, 0, 0, false
	}
	last, longest := -1, 0
	for i := range horizonDays {
		if !cal.on(dayAfter(c.Start, i)) {
			continue
		}
		if last >= 0 {
			longest = max(longest, i-last)
		}
		last = i
	}
	switch {
	case last < 0:
		return 0, 0, 0, false
	case longest == 0:
		longest = horizonDays // one day in all: rarer than that
	}
	day = mlPerDay * float64(longest)
	return day * c.Night.Most(cal.times), day, len(cal.times), true
}

// checkNeed compares a volume that is known in advance with slots, per_run and per_day.
func (p *plant) checkNeed(c pump) {
	ml, words, planned, ok := p.need(c, 0)
	if !ok {
		return
	}
	perSlot, day, slots, ok := c.slotVolume(ml)
	if !ok {
		return
	}
	l := c.Limits
	key := c.path + "." + map[planner.Mode]string{planner.Fixed: "fixed", planner.Follow: "base", planner.Share: "share"}[c.Mode]
	if l.PerRun > 0 && perSlot > l.PerRun.Millilitres()*(1+1e-9) {
		p.at(key, fmt.Sprintf("%s, which is %s mL in a slot (%d on a day that has any); per_run is %v", words, num(round3(perSlot)), slots, l.PerRun),
			"a slot must not need more than per_run", "add slots, raise per_run or lower the volume")
		return
	}
	if l.PerDay > 0 && day > l.PerDay.Millilitres()*(1+1e-9) {
		p.at(key, fmt.Sprintf("%s, %s mL on a day that has slots; per_day is %v", words, num(round3(day)), l.PerDay),
			"must not exceed per_day", "raise per_day or lower the volume")
		return
	}
	p.warnOfTightDay(c, key, day, perSlot)
	if planned && l.PerDay.Millilitres() > 5*max(day, l.PerRun.Millilitres()) {
		p.warn(c.path+".limits.per_day", fmt.Sprintf("per_day is %v, %s mL are planned on a day that has slots", l.PerDay, num(round3(day))), "per_day guards little", "")
	}
	if planned {
		p.warnOfFixedEffect(c, key, day)
	}
}

// warnOfTightDay says that a day's runs and one more would not fit under per_day: the last may be withheld
// after a manual or an unknown run.
func (p *plant) warnOfTightDay(c pump, key string, day, perSlot float64) {
	v, err := safety.MillilitresUp(day + perSlot)
	if err != nil || c.Limits.PerDay <= 0 {
		return
	}
	if need := safety.DefaultTolerance.Above(v); need > c.Limits.PerDay {
		p.warn(key, fmt.Sprintf("a day's plan and one run are %v, %v with 5 %% more; per_day is %v", v, need, c.Limits.PerDay),
			"", "after one unknown run the next may be withheld: raise per_day")
	}
}

// checkSlots refuses slots that never come and warns of slots that rest does not allow.
func (p *plant) checkSlots(c pump) {
	cal, ok := newCalendar(c.Slots, c.Every, c.Start)
	if !ok {
		return
	}
	found := false
	for i := 0; i < horizonDays && !found; i++ {
		found = cal.on(dayAfter(c.Start, i))
	}
	if !found {
		p.at(c.path+".slots", fmt.Sprintf("%q and every %dd from %s never meet", c.Slots.Text, c.Every, c.Start.Format(time.DateOnly)), "must come at least once in four years", "")
		return
	}
	need := c.Limits.Rest + c.longestRun().Duration()
	for i := 1; i < len(cal.times); i++ {
		if between := cal.times[i] - cal.times[i-1]; between < need {
			p.warn(c.path+".slots", fmt.Sprintf("slots at %s and %s are %s apart; a run of %s and its rest of %s take %s", clock(cal.times[i-1]), clock(cal.times[i]),
				span(between), runText(c.longestRun()), span(c.Limits.Rest), span(need)), "", "a slot that comes too soon may be withheld")
			return
		}
	}
}

func clock(d time.Duration) string {
	return fmt.Sprintf("%02d:%02d", int(d.Hours()), int(d.Minutes())%60)
}

// checkApart checks declared pairs, adds those that their contents keep apart, and refuses slots that are too
// near to each other (H-25).
func (p *plant) checkApart() {
	declared := map[[2]string]bool{}
	kept := p.site.KeepApart[:0]
	for _, pair := range p.site.KeepApart {
		key := [2]string{min(pair.A, pair.B), max(pair.A, pair.B)}
		if declared[key] {
			p.problem(pair.At, pair.path, fmt.Sprintf("%s and %s are kept apart twice", pair.A, pair.B), "one gap for each pair", "remove one")
			continue
		}
		declared[key] = true
		kept = append(kept, pair)
	}
	p.site.KeepApart = kept
	for i, a := range p.pumps {
		if p.spoilt("keep_apart") {
			break // what is left of the declared pairs says nothing about the others
		}
		for _, b := range p.pumps[i+1:] {
			if !declared[[2]string{min(a.ID, b.ID), max(a.ID, b.ID)}] {
				p.addImplicit(a, b)
			}
		}
	}
	for _, pair := range p.site.KeepApart {
		p.checkPair(pair)
	}
}

// spoilt says whether a section has problems.
func (p *plant) spoilt(section string) bool {
	for _, x := range p.problems {
		if strings.HasPrefix(x.Path, section) {
			return true
		}
	}
	return false
}

// addImplicit keeps two channels of one system apart whose solutions must not meet undiluted.
func (p *plant) addImplicit(a, b pump) {
	if a.stock == nil || b.stock == nil || a.system == nil || a.system != b.system {
		return
	}
	why, bad := stock.Incompatible(a.stock.Classes, b.stock.Classes)
	if !bad {
		return
	}
	path := b.path + ".slots"
	p.site.KeepApart = append(p.site.KeepApart, Pair{A: a.ID, B: b.ID, Gap: safety.DefaultGap, Implicit: true, At: p.place(path), path: path})
	p.warn(path, fmt.Sprintf("%s and %s are kept %s apart: %s", a.ID, b.ID, span(safety.DefaultGap), why), "", "declare their gap below keep_apart")
}

// clash is two slots that are too near; days says how many days the second lies after the first.
type clash struct {
	first, second pump
	t1, t2        time.Duration
	days          int
}

// checkPair refuses a pair of channels with slots nearer than the gap and the earlier one's longest run.
func (p *plant) checkPair(pair Pair) {
	a, aok := p.pump(pair.A)
	b, bok := p.pump(pair.B)
	if !aok || !bok || pair.Gap == 0 {
		return
	}
	c, found := findClash(a, b, pair.Gap)
	if !found {
		return
	}
	run := c.first.longestRun()
	later := clock(c.t2)
	if c.days > 0 {
		later += " the next day"
	}
	why := ""
	if pair.Implicit {
		if reason, bad := stock.Incompatible(a.stock.Classes, b.stock.Classes); bad {
			why = " because " + reason
		}
	}
	p.problem(pair.At, pair.path, fmt.Sprintf("%s has a slot at %s and %s at %s", c.first.ID, clock(c.t1), c.second.ID, later),
		fmt.Sprintf("they must be %s apart (gap %s%s, and %s for the earlier run)", span(pair.Gap+run.Duration()), span(pair.Gap), why, runText(run)),
		"move the slots of one of them")
}

// findClash looks for the first two slots on days on which both channels have some: the same day, then a day
// and the next.
func findClash(a, b pump, gap time.Duration) (clash, bool) {
	x, xok := newCalendar(a.Slots, a.Every, a.Start)
	y, yok := newCalendar(b.Slots, b.Every, b.Start)
	if !xok || !yok {
		return clash{}, false
	}
	const day = 24 * time.Hour
	type candidate struct {
		clash
		xday, yday int
	}
	var list []candidate
	for _, c := range []candidate{
		{clash{first: a, second: b}, 0, 0}, {clash{first: b, second: a}, 0, 0},
		{clash{first: a, second: b, days: 1}, 0, 1}, {clash{first: b, second: a, days: 1}, 1, 0},
	} {
		from, to := x.times, y.times
		if c.first.ID == b.ID {
			from, to = y.times, x.times
		}
		var found bool
		c.t1, c.t2, found = near(from, to, time.Duration(c.days)*day, gap+c.first.longestRun().Duration())
		if found {
			list = append(list, c)
		}
	}
	start := a.Start
	if b.Start.After(start) {
		start = b.Start
	}
	for i := 0; len(list) > 0 && i < horizonDays; i++ {
		for _, c := range list {
			if x.on(dayAfter(start, i+c.xday)) && y.on(dayAfter(start, i+c.yday)) {
				return c.clash, true
			}
		}
	}
	return clash{}, false
}

// near finds the first time of `to`, shifted by whole days, that follows a time of `from` by less than need.
// Both lists ascend.
func near(from, to []time.Duration, shift, need time.Duration) (t1, t2 time.Duration, found bool) {
	best := time.Duration(math.MaxInt64)
	for _, t := range from {
		i := sort.Search(len(to), func(i int) bool { return to[i]+shift >= t })
		if i < len(to) && to[i]+shift-t < need && to[i]+shift-t < best {
			best, t1, t2, found = to[i]+shift-t, t, to[i], true
		}
	}
	return t1, t2, found
}
