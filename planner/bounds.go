package planner

import (
	"fmt"
	"math"
	"strings"

	"aliquot/planner/estimate"
	"aliquot/safety"
)

// present is the volume from which a rise is measured: the last plan in force, else the base, else 0.
func (l *lane) present() float64 {
	switch {
	case l.ch.Reference != nil:
		return l.ch.Reference.Millilitres()
	case l.ch.Base != nil:
		return l.ch.Base.Millilitres()
	}
	return 0
}

// carryMost is the most, in µL, that slots can owe to later ones: the smallest run, or what the offset of a run alone
// gives, and what rounding to whole ms and µL leaves.
func (l *lane) carryMost() float64 {
	return float64(max(l.ch.SmallestRun, l.ch.Offset)) + float64(l.ch.Rate)/1e6 + 2
}

// surplus is what every run is booked beyond what it is meant to give, µL before the tolerance: an offset below 0 is
// never believed where caps are concerned, one above 0 is taken at its most.
func (l *lane) surplus() float64 { return float64(l.ch.RunsOn - l.ch.Offset) }

// tolerance is the factor by which a run may exceed its command.
func (l *lane) tolerance() float64 { return 1 + float64(l.ch.Tolerance)/1000 }

// mostPerDay is the largest daily volume, mL, with which no rolling 24 h can exceed per_day even if every run
// gives its most: the fullest window of the calendar, what earlier slots owe, and a µL of rounding and the surplus a run. Where
// each run counts as the worst it is what the runs can give for which there is room.
func (l *lane) mostPerDay() float64 {
	if runs, limited := l.countedRuns(); limited {
		return l.mostCounted(runs)
	}
	return l.mostWithin(float64(l.ch.PerDay))
}

// mostWithin is mostPerDay for a cap in µL.
func (l *lane) mostWithin(limit float64) float64 {
	if l.peak.Days <= 0 {
		return 0
	}
	room := (limit-float64(l.peak.Slots))/l.tolerance() - l.carryMost() - float64(l.peak.Slots)*l.surplus()
	return max(0, room/l.peak.Days) / 1000
}

// highest is the most, mL, that a daily volume can mean in any rolling 24 h.
func (l *lane) highest(volume float64) float64 {
	if volume <= 0 {
		return 0
	}
	slots := float64(l.peak.Slots)
	return (volume*l.peak.Days+(l.carryMost()+slots*l.surplus())/1000)*l.tolerance() + slots/1000
}

func (l *lane) underDayCap(v float64) float64 {
	if v > l.most {
		l.limits.dayCap = true
		return l.most
	}
	return v
}

// bound applies the rules that speak of volumes, mL a day. heldWish is the wish if a held test were true: it, too,
// keeps the fall within max_fall.
func (s *solver) bound(j int, wish, heldWish float64) float64 {
	l := &s.lanes[j]
	v := l.underStep(wish)
	if l.tested() && l.demand.age == ancient {
		v = l.whileAncient(v)
	}
	if l.tested() && l.demand.held {
		v = l.whileHeld(v, heldWish)
	}
	if l.sys.Kind == Treatment {
		v = l.inTreatment(v)
	}
	if c := l.ch.Ceiling; c != nil && v > c.Millilitres() {
		v, l.limits.ceiling = c.Millilitres(), true
	}
	if c := l.ch.DoubtCeiling; c != nil && v > c.Millilitres() {
		v, l.limits.doubted = c.Millilitres(), true
	}
	v = s.underQuantityCap(j, v)
	return s.underVolumeCaps(j, v)
}

// underVolumeCaps applies what bounds the volume of every channel, whatever its mode.
func (s *solver) underVolumeCaps(j int, v float64) float64 {
	return s.underEvaporation(j, s.lanes[j].underDayCap(v))
}

// underEvaporation keeps all limewater of a system, each run at its most, within what evaporates: more would make the
// water fresher. What the other limewater channels have is taken; after one sweep the sum can no longer exceed it.
func (s *solver) underEvaporation(j int, v float64) float64 {
	l := &s.lanes[j]
	if !l.ch.Limewater {
		return v
	}
	room := l.sys.Evaporation
	for _, k := range l.peers {
		if o := &s.lanes[k]; k != j && o.ch.Limewater && o.withheld == "" {
			room -= o.highest(o.volume)
		}
	}
	if most := l.mostWithin(1000 * room); v > most {
		l.limits.evaporation = true
		return most
	}
	return v
}

// underStep bounds the rise in a day (PLAN_STEP).
func (l *lane) underStep(v float64) float64 {
	now := l.present()
	if step := now + max(stepShare*now, stepCap*l.ch.PerDay.Millilitres()); v > step {
		l.limits.step = true
		return step
	}
	return v
}

// whileAncient never rises and moves a tenth of the present volume a day to the base, or without one to nine
// tenths of the last estimated use (H-30).
func (l *lane) whileAncient(v float64) float64 {
	now, goal := l.present(), staleAim*l.usePart
	if l.ch.Base != nil {
		goal = l.ch.Base.Millilitres()
	}
	if l.demand.above {
		goal = min(goal, v)
	}
	return min(now, max(goal, (1-staleMove)*now))
}

// whileHeld raises nothing, and lowers by at most a quarter if the held test asks for less (H-29). The quarter is of the
// volume that was in force when that test came, so that it does not add up day by day; where that is not known, of what
// the plan would be without the test.
func (l *lane) whileHeld(v, heldWish float64) float64 {
	l.limits.held = true
	if now := l.ch.InForce; now != nil {
		return min(v, now.Millilitres(), max(heldWish, (1-heldLowers)*now.Millilitres()))
	}
	lowest := max(heldWish, (1-heldLowers)*v)
	if l.ch.Reference != nil {
		v = min(v, l.ch.Reference.Millilitres())
	}
	return min(v, lowest)
}

// inTreatment raises nothing above what the keeper set or what is given already.
func (l *lane) inTreatment(v float64) float64 {
	most := l.present()
	if l.ch.Base != nil {
		most = min(most, l.ch.Base.Millilitres())
	}
	if v > most {
		l.limits.treatment = true
		return most
	}
	return v
}

// underQuantityCap keeps everything dosed of the followed quantity in any rolling 24 h within max_dose, each
// run at its most. What does not follow this quantity is given; the followers share the rest.
func (s *solver) underQuantityCap(j int, v float64) float64 {
	l := &s.lanes[j]
	if !(l.target.MaxDose > 0) {
		return v
	}
	room := l.target.MaxDose
	own := l.rise[l.at]
	slope := l.peak.Days * l.tolerance() * own
	fixed := (l.highest(1) - l.peak.Days*l.tolerance()) * own
	for p, k := range l.peers {
		o := &s.lanes[k]
		r := max(0, l.rise[p])
		switch {
		case o.master == j && o.withheld == "":
			slope += o.ch.ShareRatio * o.peak.Days * o.tolerance() * r
			fixed += (o.highest(1) - o.peak.Days*o.tolerance()) * r
		case s.outside(j, k):
			room -= o.highest(o.volume) * r
		}
	}
	most := max(0, (room/float64(l.group)-fixed)/slope)
	if v > most {
		l.limits.quantityCap = true
		return most
	}
	return v
}

// why lists what shaped a volume, in a fixed order.
func (l *lane) why() []safety.Code {
	var out []safety.Code
	add := func(on bool, c safety.Code) {
		if on {
			out = append(out, c)
		}
	}
	add(l.withheld != "", l.withheld)
	if l.withheld != "" {
		return out
	}
	if l.ch.Mode == Follow {
		add(!l.tested(), safety.NoTest)
		add(l.tested() && l.demand.age != fresh, safety.StaleTest)
		add(l.tested() && l.demand.above, safety.AboveBand)
		add(l.limits.held, safety.Unconfirmed)
		add(l.limits.treatment, safety.Treatment)
		add(l.limits.quantityCap, safety.QuantityCap)
	}
	add(l.limits.dayCap || l.limits.evaporation, safety.DayCap)
	return out
}

// sentence says for people where a day's volume comes from.
func (l *lane) sentence(d Day) string {
	if l.withheld != "" {
		return l.reason
	}
	var b strings.Builder
	switch {
	case l.ch.Mode == Fixed:
		fmt.Fprintf(&b, "fixed %s mL a day", round(l.ch.FixedPerDay, 3))
	case l.ch.Mode == Share:
		fmt.Fprintf(&b, "%s times the volume of %s", round(l.ch.ShareRatio, 4), l.ch.ShareOf)
	case !l.tested():
		fmt.Fprintf(&b, "no test of %s yet: base", l.ch.Quantity)
	default:
		e, u := l.estimate, l.ch.Quantity.Unit()
		fmt.Fprintf(&b, "%s about %s %s%s, target %s, use %s a day, correction %s a day", l.ch.Quantity,
			levelWords(e), u, pendingWords(e.Pending, u), round(l.target.Target, 3), round(l.demand.use, 3), round(l.demand.correction, 3))
	}
	for _, part := range l.remarks() {
		b.WriteString("; " + part)
	}
	fmt.Fprintf(&b, "; %s a day", d.PerDay)
	return b.String()
}

// levelWords gives the level at the hour, and that of the day where a daily cycle makes them differ.
func levelWords(e *estimate.Estimate) string {
	now, mean := round(e.LevelNow(), 3), round(e.Level, 3)
	if now == mean {
		return now
	}
	return now + " now, on the mean of the day " + mean
}

// pendingWords tells of what was dosed and has not appeared yet, empty if that is nothing to speak of.
func pendingWords(pending float64, unit string) string {
	if !(math.Abs(pending) >= 0.01) {
		return ""
	}
	return fmt.Sprintf(" and %s %s still to appear", round(pending, 2), unit)
}

// remarks are the clauses of a sentence that name limits.
func (l *lane) remarks() []string {
	var out []string
	add := func(on bool, text string) {
		if on {
			out = append(out, text)
		}
	}
	if l.ch.Mode == Follow && l.tested() {
		add(l.demand.age == stale, "the last test is too old to correct by")
		add(l.demand.age == ancient, "the last test is far too old: the volume only goes towards base")
		add(l.demand.above, "the level is above the band, nothing is raised")
	}
	add(l.ch.Course.Declared(), l.courseWords())
	add(l.limits.held, "a test waits for confirmation, nothing is raised")
	add(l.limits.step, "rises in steps")
	add(l.limits.treatment, "in treatment nothing is raised")
	add(l.limits.ceiling, "not raised until a test follows an unknown run")
	add(l.limits.doubted, "not raised while the level of its container disagrees with what was given")
	add(l.limits.quantityCap, "limited by max_dose")
	add(l.limits.dayCap, "limited by per_day")
	add(l.limits.evaporation, l.evaporationWords())
	return out
}

func (l *lane) evaporationWords() string {
	if !(l.sys.Evaporation > 0) {
		return "limewater replaces evaporation, and none is declared"
	}
	return fmt.Sprintf("limited by evaporation (%s mL a day), which limewater replaces", round(l.sys.Evaporation, 0))
}

// round prints a number with at most so many decimals.
func round(x float64, decimals int) string {
	p := math.Pow(10, float64(decimals))
	return fmt.Sprintf("%g", math.Round(x*p)/p+0) // + 0 turns a negative zero into zero
}
