package config

import (
	"fmt"
	"strings"
	"time"

	"github.com/robfig/cron/v3"
)

// cronParser reads the five standard fields and descriptors such as @daily.
var cronParser = cron.NewParser(cron.Minute | cron.Hour | cron.Dom | cron.Month | cron.Dow | cron.Descriptor)

// readSchedule reads a cron expression. Expressions that carry their own zone, that count from the start of
// the program, or that never come are refused. An expression with both a day of the month and a day of the
// week is a warning: cron takes either.
func readSchedule(v value) (Schedule, bool) {
	s, ok := v.text()
	if !ok {
		return Schedule{}, false
	}
	s = strings.TrimSpace(s)
	if found, do := cronTrouble(s); found != "" {
		v.problem(found, v.wantedType(), do)
		return Schedule{}, false
	}
	parsed, err := cronParser.Parse(s)
	if err != nil {
		v.problem(fmt.Sprintf("%q is no cron expression: %s", clip(s), clip(err.Error())), v.wantedType(), cronHint(s))
		return Schedule{}, false
	}
	spec, ok := parsed.(*cron.SpecSchedule)
	if !ok {
		v.problem(fmt.Sprintf("%q is no schedule of fixed times", clip(s)), v.wantedType(), "")
		return Schedule{}, false
	}
	spec.Location = time.UTC // wall time is handed over as if it were UTC
	if spec.Next(naiveStart).IsZero() {
		v.problem(fmt.Sprintf("%q never comes", clip(s)), "must name a day that there is", "")
		return Schedule{}, false
	}
	if spec.Dom&starBit == 0 && spec.Dow&starBit == 0 {
		v.r.warn(v.path, fmt.Sprintf("%q has a day of the month and a day of the week", s),
			"cron takes either: it fires on each of both", "put * for one of them")
	}
	return Schedule{Text: s, Cron: spec}, true
}

// starBit is set by the parser in a field that was written * (robfig/cron, spec.go).
const starBit = 1 << 63

// naiveStart is the first day of the calendars that are checked: the day from which `every` counts.
var naiveStart = time.Date(2000, time.January, 1, 0, 0, 0, 0, time.UTC).Add(-time.Minute)

// cronTrouble finds what the parser would take but must not be here.
func cronTrouble(s string) (found, do string) {
	switch upper := strings.ToUpper(s); {
	case strings.HasPrefix(upper, "TZ=") || strings.HasPrefix(upper, "CRON_TZ="):
		return fmt.Sprintf("%q carries its own zone", clip(s)), "leave it out: the zone is the site's timezone"
	case strings.HasPrefix(s, "@every"):
		return fmt.Sprintf("%q counts from the last firing and moves with every restart", clip(s)), "write fixed times, such as \"*/30 * * * *\""
	case strings.HasPrefix(s, "@reboot"):
		return fmt.Sprintf("%q fires at a start, not at a time", clip(s)), "write fixed times, such as \"*/30 * * * *\""
	}
	return "", ""
}

// cronHint explains the mistakes that cron's own words leave open.
func cronHint(s string) string {
	fields := strings.Fields(s)
	switch {
	case len(fields) == 6:
		return "leave out the seconds: minute, hour, day of month, month, day of week"
	case len(fields) == 5 && strings.Contains(fields[4], "7"):
		return "write Sunday as 0 or SUN"
	}
	return ""
}

// calendar is when a channel may run, on local wall time written as if it were UTC: the same times of day on
// every day that matches.
type calendar struct {
	spec  *cron.SpecSchedule
	every int
	start time.Time
	times []time.Duration // times of day, ascending
}

func newCalendar(s Schedule, every int, start time.Time) (calendar, bool) {
	spec, ok := s.Cron.(*cron.SpecSchedule)
	if !ok || every < 1 {
		return calendar{}, false
	}
	c := calendar{spec: spec, every: every, start: start}
	for h := range 24 {
		for m := range 60 {
			if spec.Hour&(1<<h) != 0 && spec.Minute&(1<<m) != 0 {
				c.times = append(c.times, time.Duration(h)*time.Hour+time.Duration(m)*time.Minute)
			}
		}
	}
	return c, true
}

// on says whether the channel has slots on a day, given as its midnight. Days of month and week combine as
// in robfig/cron: both must match if one of them is *, else either.
func (c calendar) on(day time.Time) bool {
	days := int(day.Sub(c.start) / (24 * time.Hour))
	if c.every > 1 && (days < 0 || days%c.every != 0) {
		return false
	}
	if c.spec.Month&(1<<uint(day.Month())) == 0 {
		return false
	}
	dom := c.spec.Dom&(1<<uint(day.Day())) != 0
	dow := c.spec.Dow&(1<<uint(day.Weekday())) != 0
	if c.spec.Dom&starBit != 0 || c.spec.Dow&starBit != 0 {
		return dom && dow
	}
	return dom || dow
}
