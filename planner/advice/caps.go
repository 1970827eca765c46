package advice

import (
	"fmt"
	"time"

	"aliquot/planner"
	"aliquot/planner/estimate"
	"aliquot/planner/units"
	"aliquot/safety"
)

// capDays is how far ahead a trend is believed. Our own choice.
const capDays = 90

// Heading is the sure trend of a quantity of a system.
type Heading struct {
	System   string
	Quantity units.Quantity
	Trend    Trend
}

// Cap is when a channel will not give what is used any more. Code is day_cap (its per_day, or what evaporates) or
// quantity_cap (max_dose of its quantity).
type Cap struct {
	Channel string
	At      time.Time
	Code    safety.Code
}

// Text says it for people.
func (c Cap) Text(zone *time.Location) string {
	if zone == nil {
		zone = time.UTC
	}
	what, act := "its per_day", "see whether the growth is real, then raise per_day or use a stronger solution"
	if c.Code == safety.QuantityCap {
		what, act = "max_dose of its quantity", "see whether the growth is real, then raise max_dose"
	}
	return fmt.Sprintf("channel %s reaches %s around %s if the use goes on rising as now: %s", c.Channel, what, c.At.In(zone).Format("2 January 2006"), act)
}

// Caps finds the followed channels that will run into a cap within 90 days, in channel order. It asks the planner for
// the daily volumes of a later day as they would be with every quantity at its target, tested that day, and used as much
// as its line says; only channels whose own quantity surely rises are looked at. in is the input of the present plan.
func Caps(in planner.Input, headings []Heading) []Cap {
	var out []Cap
	if !anyRising(headings) {
		return nil
	}
	f := future{in: in, headings: map[heading]Trend{}, days: map[int][]planner.Day{}}
	for _, h := range headings {
		if at := (heading{h.System, h.Quantity}); !f.heads(at) {
			f.headings[at] = h.Trend
		}
	}
	for i := range in.Channels {
		c := &in.Channels[i]
		if c.Mode != planner.Follow || !(f.headings[heading{c.System, c.Quantity}].Low() > 0) {
			continue
		}
		if code := capOf(f.day(capDays)[i]); code != "" {
			day, code := f.firstDay(i, code)
			out = append(out, Cap{c.ID, in.At.AddDate(0, 0, day), code})
		}
	}
	return out
}

// heading is what a trend is of.
type heading struct {
	system   string
	quantity units.Quantity
}

// future is the volumes of later days, each worked out once: many channels may rise.
type future struct {
	in       planner.Input
	headings map[heading]Trend
	days     map[int][]planner.Day
}

func (f *future) heads(at heading) bool {
	_, ok := f.headings[at]
	return ok
}

// day is the volumes so many days from now.
func (f *future) day(ahead int) []planner.Day {
	if f.days[ahead] == nil {
		f.days[ahead] = f.later(ahead)
	}
	return f.days[ahead]
}

// firstDay halves the days until it finds the first on which the channel is held by a cap.
func (f *future) firstDay(channel int, code safety.Code) (int, safety.Code) {
	free, held := -1, capDays
	for held-free > 1 {
		middle := (free + held) / 2
		if c := capOf(f.day(middle)[channel]); c != "" {
			held, code = middle, c
		} else {
			free = middle
		}
	}
	return held, code
}

func anyRising(headings []Heading) bool {
	for _, h := range headings {
		if h.Trend.Low() > 0 {
			return true
		}
	}
	return false
}

// capOf is the cap that holds a day's volume, else empty.
func capOf(d planner.Day) safety.Code {
	for _, c := range d.Why {
		if c == safety.DayCap || c == safety.QuantityCap {
			return c
		}
	}
	return ""
}

// later is the day's volumes so many days from now.
func (f *future) later(ahead int) []planner.Day {
	in := f.in
	in.Systems = append([]planner.SystemState(nil), in.Systems...)
	for i := range in.Systems {
		s := &in.Systems[i]
		s.Estimates = append([]estimate.Estimate(nil), s.Estimates...)
		for j := range s.Estimates {
			e := &s.Estimates[j]
			grow(e, s.Targets, f.headings[heading{s.ID, e.Quantity}], in.At, ahead)
		}
	}
	in.Channels = append([]planner.ChannelState(nil), in.Channels...)
	for i := range in.Channels {
		c := &in.Channels[i]
		most := c.PerDay
		c.Reference, c.Ceiling, c.CarryNL = &most, nil, 0 // a plan may rise by so much in a day that this never binds
	}
	return planner.DayVolumes(in)
}

// grow makes of an estimate the one of a later day on target.
func grow(e *estimate.Estimate, targets []planner.Target, t Trend, at time.Time, ahead int) {
	if !e.Known {
		return
	}
	for _, g := range targets {
		if g.Quantity == e.Quantity {
			e.Level, e.LevelCaught = g.Target, g.Target
		}
	}
	e.Held, e.Overshoot, e.Pending, e.LastAccepted = nil, false, 0, at
	use := e.Consumption
	if t.Sure() {
		use = max(0, use+t.PerDay*float64(ahead))
	}
	e.Consumption, e.UseAtTarget = use, use
}
