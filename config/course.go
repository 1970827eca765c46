package config

import (
	"fmt"
	"time"

	"aliquot/planner"
	"aliquot/safety"
)

// readCourse reads what ends a fixed channel by itself.
func readCourse(m mapping, c *safety.Course) {
	v, ok := m.get("course")
	if !ok {
		return
	}
	k, ok := v.open()
	if !ok {
		return
	}
	if !k.has("from") && !k.has("until") && !k.has("total") {
		k.problem("none of from, until and total", "must have at least one of them", "remove course where nothing ends the channel")
	}
	take(k, "from", &c.From, readDate)
	take(k, "until", &c.Until, readDate)
	take(k, "total", &c.Total, volume(minRun, maxCourse))
	if total, ok := k.get("total"); ok && !k.has("from") {
		total.problem("there is no from", "what is given counts from the first day on", "add from: the day on which the course begins")
	}
}

// shareCourses bounds what shares the volume of a course by the days of that course.
func (p *plant) shareCourses() {
	for i := range p.pumps {
		at := p.pumps[i]
		for range p.pumps { // a circle is reported elsewhere
			if at.Mode != planner.Share {
				break
			}
			next, ok := p.pump(at.ShareOf)
			if !ok {
				break
			}
			at = next
		}
		if at.ID != p.pumps[i].ID && at.Mode == planner.Fixed {
			p.pumps[i].Course = safety.Course{From: at.Course.From, Until: at.Course.Until}
		}
	}
}

// checkCourse compares a course with itself, with the slots and with the runs.
func (p *plant) checkCourse(c pump) {
	k, path := c.Course, c.path+".course"
	if c.Mode != planner.Fixed || !k.Declared() {
		return
	}
	if !k.Until.IsZero() && k.Until.Before(k.From) {
		p.at(path+".until", fmt.Sprintf("the last day is %s, the first is %s", k.Until.Format(time.DateOnly), k.From.Format(time.DateOnly)), "until must not lie before from", "")
		return
	}
	if k.Total > 0 {
		p.checkTotal(c, path+".total")
	}
	cal, ok := newCalendar(c.Slots, c.Every, c.Start)
	if !ok || k.From.IsZero() || k.Until.IsZero() || k.Until.Sub(k.From) > dayAfter(firstDay, horizonDays).Sub(firstDay) {
		return
	}
	days, on := 0, 0
	for day := k.From; !day.After(k.Until); day = dayAfter(day, 1) {
		days++
		if cal.on(day) {
			on++
		}
	}
	if on == 0 {
		p.at(path+".until", fmt.Sprintf("from %s to %s there is no slot", k.From.Format(time.DateOnly), k.Until.Format(time.DateOnly)), "must hold at least one", "look at slots and every")
		return
	}
	if planned := c.FixedPerDay * float64(days); k.Total > 0 && k.Total.Millilitres() > 2*planned {
		p.warn(path+".total", fmt.Sprintf("total is %v, in %d days about %s mL are planned", k.Total, days, num(round3(planned))), "total guards little", "")
	}
}

// checkTotal compares a total with what one run counts as.
func (p *plant) checkTotal(c pump, path string) {
	total := c.Course.Total
	if least := safety.DefaultTolerance.Above(c.worstRun(c.Limits.SmallestRun)); total < least {
		words := "smallest_run"
		if c.worstRun(c.Limits.SmallestRun) > c.Limits.SmallestRun {
			words = "a run until auto_off"
		}
		p.at(path, fmt.Sprintf("total is %v, %s of %v counts as %v (5 %% more)", total, words, c.worstRun(c.Limits.SmallestRun), least),
			"must be at least one run", "raise total or lower the run")
		return
	}
	if v, ok := p.plannedRun(c); ok && total < safety.DefaultTolerance.Above(c.worstRun(v)) {
		p.warn(path, fmt.Sprintf("total is %v, one planned run of %v counts as %v (5 %% more)", total, c.worstRun(v), safety.DefaultTolerance.Above(c.worstRun(v))),
			"", "the first run is the last, and smaller than planned")
	}
}
