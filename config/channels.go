package config

import (
	"fmt"
	"regexp"
	"time"

	"aliquot/planner"
	"aliquot/planner/units"
	"aliquot/safety"
)

// Defaults and bounds of channels. Those of runs and rests are safety's.
const (
	defaultSmallestRun = 300 * safety.Microlitres(1) // common practice
	minRun             = 10 * safety.Microlitres(1)
	maxRun             = 10_000 * safety.Millilitre
	maxDay             = 100_000 * safety.Millilitre
	maxCourse          = 1_000_000 * safety.Millilitre
	maxRest            = 24 * time.Hour
	maxEvery           = 92 // days: a line that idle needs priming anyhow
	minTubingLife      = time.Hour
	maxTubingLife      = 20_000 * time.Hour
)

func readChannel(e entry) Channel {
	c := Channel{ID: e.name, At: e.at, Every: 1, Start: everyStart}
	c.Limits = Limits{SmallestRun: defaultSmallestRun, Rest: safety.DefaultRest}
	c.Attended = Attended{PerRun: safety.AttendedPerRun, PerDay: safety.AttendedPerDay}
	m, ok := e.open()
	if !ok {
		return c
	}
	take(m, "system", &c.System, readText)
	take(m, "container", &c.Container, readText)
	take(m, "node", &c.Node, readText)
	c.Output = -1
	take(m, "output", &c.Output, readWhole(0, 255))
	take(m, "nominal_rate", &c.NominalRate, readRate)
	if v, ok := m.get("line"); ok {
		readTubing(v, &c.Line)
	}
	readDemand(m, &c)
	readWhen(m, &c)
	if v, ok := m.get("limits"); ok {
		readLimits(v, &c.Limits)
	}
	if v, ok := m.get("attended"); ok {
		readAttended(v, &c.Attended)
	}
	return c
}

// readRate reads a pump's rate; what is no dosing pump is refused.
func readRate(v value) (safety.Rate, bool) {
	ml, ok := measure(units.ParseRate, 0.01, 5000, "mL/min")(v)
	if !ok {
		return 0, false
	}
	rate, err := safety.RateFromMillilitresPerMinute(ml)
	if err != nil {
		v.problem(err.Error(), v.wantedType(), "")
		return 0, false
	}
	return rate, true
}

func readTubing(v value, l *Line) {
	m, ok := v.open()
	if !ok {
		return
	}
	take(m, "bore", &l.BoreMM, measure(units.ParseLength, 0.5, 25, "mm"))
	take(m, "length", &l.LengthMM, measure(units.ParseLength, 10, 50_000, "mm"))
	take(m, "lift", &l.LiftMM, measure(units.ParseLength, 0, maxHeightMM, "mm"))
	take(m, "outlet", &l.Outlet, readWord(AboveWater, UnderWater))
	take(m, "siphon_break", &l.SiphonBreak, readBool)
	take(m, "tubing_life", &l.TubingLife, duration(minTubingLife, maxTubingLife))
}

// readDemand reads where the daily volume comes from: exactly one of three keys.
func readDemand(m mapping, c *Channel) {
	var given []string
	for _, key := range []string{"follow", "fixed", "share"} {
		if m.has(key) {
			given = append(given, key)
		}
	}
	if len(given) != 1 {
		found := "none of follow, fixed and share"
		if len(given) > 1 {
			found = joined(given) + " together"
		}
		m.problem(found, "must have exactly one of follow, fixed and share", "")
	}
	switch {
	case m.has("follow"):
		c.Mode = planner.Follow
		take(m, "follow", &c.Follow, readQuantity)
	case m.has("fixed"):
		c.Mode = planner.Fixed
		take(m, "fixed", &c.FixedPerDay, measure(units.ParseVolumePerDay, 0.001, maxDay.Millilitres(), "mL/day"))
	case m.has("share"):
		c.Mode = planner.Share
		readShare(m.items["share"], c)
	}
	if len(given) == 1 && given[0] != "fixed" {
		m.refuse("course", "the channel has "+given[0], "course belongs to fixed")
	}
	readCourse(m, &c.Course)
	if len(given) == 1 && given[0] != "follow" {
		m.refuse("base", "the channel has "+given[0], "base belongs to follow")
	}
	var base safety.Microlitres
	if take(m, "base", &base, volumePerDay(0, maxDay)) {
		c.Base = &base
	}
}

func readQuantity(v value) (units.Quantity, bool) {
	s, ok := v.text()
	if !ok {
		return "", false
	}
	return entry{s, v}.quantityKey()
}

func readShare(v value, c *Channel) {
	m, ok := v.open()
	if !ok {
		return
	}
	take(m, "of", &c.ShareOf, readText)
	take(m, "ratio", &c.ShareRatio, measure(units.ParseNumber, 0.01, 100, ""))
}

// everyStart is the day from which `every` counts unless the file says otherwise.
var everyStart = time.Date(2000, time.January, 1, 0, 0, 0, 0, time.UTC)

func readWhen(m mapping, c *Channel) {
	take(m, "slots", &c.Slots, readSchedule)
	if v, ok := m.get("night"); ok {
		readNight(v, &c.Night)
	}
	take(m, "every", &c.Every, readDays)
	if !m.has("every") {
		m.refuse("start", "there is no every", "start is the first day of every")
		return
	}
	take(m, "start", &c.Start, readDate)
}

func readNight(v value, n *planner.Night) {
	m, ok := v.open()
	if !ok {
		return
	}
	var percent float64
	from, to := take(m, "from", &n.From, readClock), take(m, "to", &n.To, readClock)
	if take(m, "share", &percent, measure(units.ParsePercent, 1, 99, "%")) {
		n.Share = percent / 100
	}
	if from && to && n.From == n.To {
		m.problem("from and to are the same time", "must be a part of the day", "")
	}
}

// readClock is a local time of day such as 20:00, in minutes after midnight.
func readClock(v value) (int, bool) {
	s, ok := v.text()
	if !ok {
		return 0, false
	}
	at, err := time.Parse("15:04", s)
	if err != nil || len(s) != len("15:04") {
		v.problem(fmt.Sprintf("%q is no time of day", clip(s)), v.wantedType(), "write hours and minutes in quotes, from \"00:00\" to \"23:59\"")
		return 0, false
	}
	return at.Hour()*60 + at.Minute(), true
}

// readDays is a duration of whole days.
func readDays(v value) (int, bool) {
	const day = 24 * time.Hour
	d, ok := duration(day, maxEvery*day)(v)
	if !ok {
		return 0, false
	}
	if d%day != 0 {
		v.problem(fmt.Sprintf("%s is no whole number of days", span(d)), v.wantedType(), "use slots for times within a day")
		return 0, false
	}
	return int(d / day), true
}

var dateShape = regexp.MustCompile(`^[0-9]{4}-[0-9]{2}-[0-9]{2}$`)

// readDate is a local date, given as midnight UTC.
func readDate(v value) (time.Time, bool) {
	s, ok := v.text()
	if !ok {
		return time.Time{}, false
	}
	at, err := time.Parse(time.DateOnly, s)
	if err != nil || !dateShape.MatchString(s) || at.Year() < 2000 || at.Year() > 2199 {
		v.problem(fmt.Sprintf("%q is no date", clip(s)), v.wantedType(), "write year-month-day, from 2000 to 2199")
		return time.Time{}, false
	}
	return at, true
}

func readLimits(v value, l *Limits) {
	m, ok := v.open()
	if !ok {
		return
	}
	take(m, "smallest_run", &l.SmallestRun, volume(minRun, maxRun))
	take(m, "per_run", &l.PerRun, volume(minRun, maxRun))
	take(m, "per_day", &l.PerDay, volume(minRun, maxDay))
	var runTime time.Duration
	if take(m, "run_time", &runTime, duration(time.Second, safety.RunMax.Duration())) {
		l.RunTime = safety.Milliseconds(runTime / time.Millisecond)
	}
	take(m, "rest", &l.Rest, duration(safety.MinRest, maxRest))
}

func readAttended(v value, a *Attended) {
	m, ok := v.open()
	if !ok {
		return
	}
	take(m, "per_run", &a.PerRun, volume(minRun, maxRun))
	take(m, "per_day", &a.PerDay, volume(minRun, maxDay))
}
