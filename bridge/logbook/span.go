package logbook

import (
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/estimate"
	"aliquot/planner/units"
)

// Span is what a stretch of time looks like.
type Span struct {
	Site       string      `json:"site"`
	From       time.Time   `json:"from"`
	To         time.Time   `json:"to"`
	Until      time.Time   `json:"until"` // up to when something is known
	Quantities []Quantity  `json:"quantities"`
	Channels   []Channel   `json:"channels"`
	Containers []Container `json:"containers"`
	Trouble    []Entry     `json:"trouble"` // what asked for somebody
	Care       []Entry     `json:"care"`    // what people did, but for tests
	Notes      []string    `json:"notes"`

	zone *time.Location
}

// Quantity is one quantity of a system.
type Quantity struct {
	System   string   `json:"system"`
	Quantity string   `json:"quantity"`
	Unit     string   `json:"unit"`
	Target   float64  `json:"target"`
	Band     float64  `json:"band"`
	Samples  []Sample `json:"samples"`
	Tests    []Test   `json:"tests"`
}

// Sample is what was believed then, and what is known of it now.
type Sample struct {
	At       time.Time `json:"at"`
	Believed *float64  `json:"believed"`
	Use      *float64  `json:"use"` // a day, as believed then
	UseSD    *float64  `json:"use_sd"`
	// Known is with later tests too; null where that is too long ago.
	Known      *float64 `json:"known"`
	KnownSD    *float64 `json:"known_sd"`
	KnownUse   *float64 `json:"known_use"`
	KnownUseSD *float64 `json:"known_use_sd"`
}

// Test is one test in the span.
type Test struct {
	At    time.Time `json:"at"` // when the sample was drawn
	By    string    `json:"by"`
	Value float64   `json:"value"`
	Held  bool      `json:"held"` // it was held back, and no later one agreed
}

// Channel is what a channel gave into the tank.
type Channel struct {
	Channel      string        `json:"channel"`
	PerDayML     float64       `json:"per_day_ml"` // cap of any 24 h
	Days         []float64     `json:"days_ml"`    // by local day, from the first
	TotalML      float64       `json:"total_ml"`
	Runs         int           `json:"runs"`
	Odd          int           `json:"odd_runs"`
	Course       *Course       `json:"course"`       // null: none is declared
	Calibrations []Calibration `json:"calibrations"` // up to the end of the span, the earlier ones too
}

// Course is how far a channel's course had come at the end of the span.
type Course struct {
	GivenHiML float64  `json:"given_hi_ml"` // the most that may have gone into the tank since its first day
	TotalML   *float64 `json:"total_ml"`    // null: no total ends it
}

// Calibration is one of a channel.
type Calibration struct {
	At           time.Time `json:"at"`
	RateMLPerMin float64   `json:"rate_ml_per_min"`
	Trials       int       `json:"trials"`
	ChangeShare  *float64  `json:"change"` // against the one before; nil: there is none
}

// Container is what a container held.
type Container struct {
	Container  string    `json:"container"`
	CapacityML float64   `json:"capacity_ml"`
	StopML     float64   `json:"stop_ml"`
	Refills    int       `json:"refills"`
	Contents   []Content `json:"contents"`
}

// Content of a container at a moment, at the least.
type Content struct {
	At time.Time `json:"at"`
	ML float64   `json:"ml"`
}

// sampleEvery is how often levels and containers are looked at: six times a day.
const sampleEvery = 4 * time.Hour

// Gather looks at the local days from ≤ t < to. rows are all there are, in their order: earlier ones are what is believed
// of, later ones make better known what was. now bounds what is known.
func Gather(site *machine.Site, rows []machine.Row, from, to, now time.Time) Span {
	g := Begin(site, from, to, now)
	for _, row := range rows {
		g.Add(row)
	}
	return g.Span()
}

// lastBefore is how much earlier than a span a run may have begun that ends in it.
const lastBefore = 24 * time.Hour

// Begin begins to gather what Gather does, row by row: of those before the span nothing is kept but what follows from them.
func Begin(site *machine.Site, from, to, now time.Time) *Gatherer {
	g := &Gatherer{site: site, fold: machine.NewFold(site), next: from, held: map[string]int{},
		span: Span{Site: site.Name, From: from, To: to, Until: earlier(to, now), Trouble: []Entry{}, Care: []Entry{}, Notes: []string{}, zone: site.Zone}}
	g.begin()
	return g
}

// Add takes the next row.
func (g *Gatherer) Add(row machine.Row) {
	g.lookUntil(row.At)
	g.take(row)
	if !row.At.Before(g.span.From.Add(-lastBefore)) {
		g.rows = append(g.rows, row)
	}
}

// Span gives what was gathered, once all rows were added.
func (g *Gatherer) Span() Span {
	g.lookUntil(g.span.To)
	g.lookBack()
	g.entries(g.rows)
	return g.span
}

// State is what follows from the rows that were added.
func (g *Gatherer) State() machine.State { return g.fold.State() }

// Rows are those of the span, and of the day before it.
func (g *Gatherer) Rows() []machine.Row { return g.rows }

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

// Gatherer gathers a span.
type Gatherer struct {
	site *machine.Site
	fold *machine.Fold
	span Span
	rows []machine.Row
	next time.Time      // when to look next
	held map[string]int // system/quantity -> index+1 of the test that is held
}

func (g *Gatherer) begin() {
	for _, y := range g.site.Systems {
		for _, t := range y.Targets {
			g.span.Quantities = append(g.span.Quantities, Quantity{System: y.ID, Quantity: string(t.Quantity), Unit: t.Quantity.Unit(), Target: t.Target, Band: t.Band, Samples: []Sample{}, Tests: []Test{}})
		}
	}
	days := 0
	for d := g.span.From; d.Before(g.span.To); d = d.In(g.span.zone).AddDate(0, 0, 1) {
		days++
	}
	for i := range g.site.Channels {
		c := &g.site.Channels[i]
		g.span.Channels = append(g.span.Channels, Channel{Channel: c.ID, PerDayML: c.Limits.PerDay.Millilitres(), Days: make([]float64, days), Calibrations: []Calibration{}})
	}
	for _, k := range g.site.Containers {
		g.span.Containers = append(g.span.Containers, Container{Container: k.ID, CapacityML: k.Capacity.Millilitres(), StopML: k.Stop.Millilitres(), Contents: []Content{}})
	}
}

// lookUntil looks at all that is due before a moment.
func (g *Gatherer) lookUntil(at time.Time) {
	for g.next.Before(at) && !g.next.After(g.span.Until) {
		s := g.fold.State()
		for i, e := range machine.Estimates(&s, g.next) {
			q := &g.span.Quantities[i]
			q.Samples = append(q.Samples, Sample{At: g.next, Believed: e.Level, Use: e.ConsumptionPerDay, UseSD: e.ConsumptionSD})
		}
		for i, k := range machine.Contents(&s) {
			g.span.Containers[i].Contents = append(g.span.Containers[i].Contents, Content{g.next, k.MinML})
		}
		for i := range g.span.Channels {
			g.span.Channels[i].Course = courseOf(&s, i)
		}
		g.next = g.next.Add(sampleEvery)
	}
}

func courseOf(s *machine.State, channel int) *Course {
	given, total, ok := machine.CourseGiven(s, channel)
	if !ok {
		return nil
	}
	k := &Course{GivenHiML: given.Millilitres()}
	if total > 0 {
		ml := total.Millilitres()
		k.TotalML = &ml
	}
	return k
}

// take folds a row, and notes what became of a test.
func (g *Gatherer) take(row machine.Row) {
	g.fold.Add(row)
	switch b := row.Body.(type) {
	case machine.Test:
		if b.Of == "" || b.Of == "tank" {
			g.test(row, b)
		}
	case machine.Calibration:
		if row.At.Before(g.span.To) {
			g.calibration(row, b)
		}
	case machine.Refill:
		g.refilled(row.At, b.Container)
	case machine.Swap:
		g.refilled(row.At, b.Container)
	}
}

func (g *Gatherer) test(row machine.Row, b machine.Test) {
	got := g.fold.Judged(b.System)
	for i := range g.span.Quantities {
		q := &g.span.Quantities[i]
		if q.System != b.System || q.Quantity != string(b.Quantity) {
			continue
		}
		key := q.System + "/" + q.Quantity
		if n := g.held[key]; n > 0 && got.Resolved == estimate.Confirmed {
			q.Tests[n-1].Held = false
		}
		if got.Resolved != estimate.None {
			delete(g.held, key)
		}
		if b.Taken.Before(g.span.From) || !b.Taken.Before(g.span.To) {
			continue
		}
		q.Tests = append(q.Tests, Test{At: b.Taken, By: row.By, Value: b.Level, Held: got.Verdict != estimate.Accepted})
		if got.Verdict == estimate.Held {
			g.held[key] = len(q.Tests)
		}
	}
}

func (g *Gatherer) calibration(row machine.Row, b machine.Calibration) {
	for i := range g.span.Channels {
		c := &g.span.Channels[i]
		if c.Channel != b.Channel {
			continue
		}
		b, ok := b.Derived()
		if !ok {
			return
		}
		one := Calibration{At: row.At, RateMLPerMin: b.Rate.MillilitresPerMinute(), Trials: len(b.Trials)}
		if n := len(c.Calibrations); n > 0 && c.Calibrations[n-1].RateMLPerMin > 0 {
			change := one.RateMLPerMin/c.Calibrations[n-1].RateMLPerMin - 1
			one.ChangeShare = &change
		}
		c.Calibrations = append(c.Calibrations, one)
	}
}

func (g *Gatherer) refilled(at time.Time, container string) {
	for i := range g.span.Containers {
		if k := &g.span.Containers[i]; k.Container == container && !at.Before(g.span.From) && at.Before(g.span.To) {
			k.Refills++
		}
	}
}

// lookBack adds what is known of the samples now, with all that came after them.
func (g *Gatherer) lookBack() {
	s := g.fold.State()
	for i := range g.span.Quantities {
		q := &g.span.Quantities[i]
		times := make([]time.Time, len(q.Samples))
		for k := range q.Samples {
			times[k] = q.Samples[k].At
		}
		for k, e := range machine.Afterwards(&s, q.System, units.Quantity(q.Quantity), times) {
			if e.Known {
				x := &q.Samples[k]
				x.Known, x.KnownSD, x.KnownUse, x.KnownUseSD = &e.Level, &e.LevelSD, &e.Consumption, &e.ConsumptionSD
			}
		}
	}
}

// entries sorts what happened within the span.
func (g *Gatherer) entries(rows []machine.Row) {
	for _, e := range Entries(rows, g.span.zone) {
		if e.At.Before(g.span.From) || !e.At.Before(g.span.To) {
			continue
		}
		g.dose(e)
		switch {
		case e.Class == Trouble:
			g.span.Trouble = append(g.span.Trouble, e)
		case e.Class == Care && e.Kind != "test":
			g.span.Care = append(g.span.Care, e)
		}
	}
}

// dose counts what a run brought into the tank, on the local day that it began.
func (g *Gatherer) dose(e Entry) {
	if e.Kind != "run" || e.VolumeML == nil {
		return
	}
	for i := range g.span.Channels {
		c := &g.span.Channels[i]
		if c.Channel != e.Channel {
			continue
		}
		if e.Odd() {
			c.Odd++
		}
		if e.vessel {
			return
		}
		c.Runs += max(1, e.runs)
		c.TotalML += *e.VolumeML
		if day := dayIndex(g.span.From, e.At, g.span.zone); day < len(c.Days) {
			c.Days[day] += *e.VolumeML
		}
	}
}

// dayIndex numbers local days from the one of from.
func dayIndex(from, at time.Time, zone *time.Location) int {
	a, b := from.In(zone), at.In(zone)
	first := time.Date(a.Year(), a.Month(), a.Day(), 0, 0, 0, 0, time.UTC)
	this := time.Date(b.Year(), b.Month(), b.Day(), 0, 0, 0, 0, time.UTC)
	return int(this.Sub(first) / (24 * time.Hour))
}
