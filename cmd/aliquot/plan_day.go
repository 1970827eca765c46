package main

import (
	"fmt"
	"io"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/screen"
)

// dayOf gives the local midnights around a date; "today" and "tomorrow" are dates too.
func dayOf(text string, now time.Time, zone *time.Location) (from, to time.Time, err error) {
	l := now.In(zone)
	switch text {
	case "", "today":
	case "tomorrow":
		l = l.AddDate(0, 0, 1)
	default:
		if l, err = time.ParseInLocation(time.DateOnly, text, zone); err != nil {
			return from, to, fail(exitUsage, "--day %q is no date such as 2027-03-15, today or tomorrow", text)
		}
	}
	from = time.Date(l.Year(), l.Month(), l.Day(), 0, 0, 0, 0, zone)
	return from, time.Date(l.Year(), l.Month(), l.Day()+1, 0, 0, 0, 0, zone), nil
}

// dayPast is a history of which a day is drawn: folded up to a moment, with what was given in the day.
type dayPast struct {
	fold  *machine.Fold
	at    time.Time
	later bool // a row of a later moment came
	siteDay
}

func newDayPast(l loaded, at, from, to time.Time) *dayPast {
	site := machineSite(l.Site)
	return &dayPast{fold: machine.NewFold(site), at: at, siteDay: newDay(l, site, at, from, to)}
}

func (p *dayPast) take(row machine.Row) {
	if p.later = p.later || row.At.After(p.at); p.later {
		return
	}
	p.fold.Add(row)
	p.runs.add(row)
}

// picture is the day with what is planned of it.
func (p *dayPast) picture(notes []string) screen.Day {
	p.Notes = notes
	state := p.fold.State()
	p.fill(&state)
	return p.Day
}

// siteDay is a day that is being gathered.
type siteDay struct {
	screen.Day
	runs *given
}

func newDay(l loaded, site *machine.Site, at, from, to time.Time) siteDay {
	d := screen.Day{Site: l.Name, From: from, To: to, At: at}
	for i := range site.Channels {
		d.Lanes = append(d.Lanes, laneOf(&site.Channels[i], from, to))
	}
	for _, k := range site.KeepApart {
		d.Apart = append(d.Apart, screen.Apart{A: k.Channels[0], B: k.Channels[1], Gap: k.Gap})
	}
	return siteDay{d, &given{from: from, to: to, open: map[string]int{}}}
}

// fill adds what the rows so far say was given, and what the state that follows from them plans.
func (d *siteDay) fill(state *machine.State) {
	for _, r := range d.runs.list {
		if l := d.lane(r.channel); l != nil {
			l.Runs = append(l.Runs, r.DayRun)
		}
	}
	begin := later(d.At, d.From)
	if !begin.Before(d.To) {
		return
	}
	view := machine.Preview(state, begin)
	for _, r := range view.Runs {
		if l := d.lane(r.Channel); l != nil && r.At.Before(d.To) {
			l.Runs = append(l.Runs, screen.DayRun{At: r.At, VolumeML: r.VolumeML, Seconds: r.Seconds})
		}
	}
	for _, w := range view.Withheld {
		if l := d.lane(w.Channel); l != nil {
			l.Why = append(l.Why, fmt.Sprintf("%s: %s", w.Code, w.Text))
		}
	}
	d.Notes = append(d.Notes, view.Notes...)
	if d.To.Sub(begin) > 24*time.Hour {
		d.Notes = append(d.Notes, "this day is longer than 24 h: its last hour is not planned here")
	}
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func laneOf(c *machine.Channel, from, to time.Time) screen.Lane {
	n := c.Calendar.Night
	l := screen.Lane{Channel: c.ID, PerDayML: c.Limits.PerDay.Millilitres(), SmallestML: c.Limits.SmallestRun.Millilitres(), Night: screen.Night{From: n.From, To: n.To, Share: n.Share}}
	for _, s := range c.Slots(from, to) {
		l.Slots = append(l.Slots, s.At)
	}
	return l
}

func (d *siteDay) lane(channel string) *screen.Lane {
	for i := range d.Lanes {
		if d.Lanes[i].Channel == channel {
			return &d.Lanes[i]
		}
	}
	return nil
}

// given collects what rows say was given into the tank in a day, at the most that it can have been.
type given struct {
	from, to time.Time
	list     []givenRun
	open     map[string]int
}

type givenRun struct {
	screen.DayRun
	channel string
}

func (g *given) add(row machine.Row) {
	switch b := row.Body.(type) {
	case machine.RunReserved:
		if b.Into == machine.IntoTank && g.within(row.At) {
			g.open[b.Run] = len(g.list)
			g.list = append(g.list, givenRun{screen.DayRun{At: row.At, VolumeML: b.Volume.Millilitres(), Seconds: b.Duration.Seconds(), Given: true}, b.Channel})
		}
	case machine.RunEnded:
		if i, ok := g.open[b.Run]; ok {
			// The plan's own figure where it ended as commanded, else the most that may have come.
			if b.Outcome != machine.Finished {
				g.list[i].VolumeML = b.Hi.Millilitres()
			}
		}
	case machine.RunPast:
		if (b.Into == machine.IntoTank || b.Into == "") && g.within(b.Happened) {
			ml := b.Volume.Millilitres()
			if b.Delivered != nil {
				ml = b.Delivered.Millilitres()
			}
			g.list = append(g.list, givenRun{screen.DayRun{At: b.Happened, VolumeML: ml, Seconds: b.Duration.Seconds(), Given: true}, b.Channel})
		}
	}
}

func (g *given) within(at time.Time) bool { return !at.Before(g.from) && at.Before(g.to) }

// day writes the picture of a day.
func (p planCommand) day(std stream, l loaded) error {
	now := time.Now()
	if p.At != "" {
		var err error
		if now, err = time.Parse(time.RFC3339, p.At); err != nil {
			return fail(exitUsage, "--at %q is no RFC 3339 time such as 2027-03-02T00:00:00Z", p.At)
		}
	}
	from, to, err := dayOf(p.Day, now, l.Zone)
	if err != nil {
		return err
	}
	past, notes, err := gather(p, std, l, func() *dayPast { return newDayPast(l, now, from, to) })
	if err != nil {
		return err
	}
	d := past.picture(notes)
	if p.SVG != "" {
		if err := writeTo(p.SVG, func(w io.Writer) error { _, err := io.WriteString(w, screen.DaySVG(d, l.Zone)); return err }); err != nil {
			return err
		}
	}
	if p.Format == "json" {
		return writeJSON(std.out, d)
	}
	_, err = io.WriteString(std.out, screen.DayText(d, p.width(std), l.Zone))
	return err
}
