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
	last := later(in, headings, capDays)
	for i := range in.Channels {
		c := &in.Channels[i]
		if c.Mode != planner.Follow || !rising(headings, c.System, c.Quantity) {
			continue
		}
		if code := capOf(last[i]); code != "" {
			day, code := firstDay(in, headings, i, code)
			out = append(out, Cap{c.ID, in.At.AddDate(0, 0, day), code})
		}
	}
	return out
}

// firstDay halves the days until it finds the first on which the channel is held by a cap.
func firstDay(in planner.Input, headings []Heading, channel int, code safety.Code) (int, safety.Code) {
	free, held := -1, capDays
	for held-free > 1 {
		middle := (free + held) / 2
		if c := capOf(later(in, headings, middle)[channel]); c != "" {
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

func rising(headings []Heading, system string, q units.Quantity) bool {
	for _, h := range headings {
		if h.System == system && h.Quantity == q {
			return h.Trend.Low() > 0
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
func later(in planner.Input, headings []Heading, ahead int) []planner.Day {
	in.Systems = append([]planner.SystemState(nil), in.Systems...)
	for i := range in.Systems {
		s := &in.Systems[i]
		s.Estimates = append([]estimate.Estimate(nil), s.Estimates...)
		for j := range s.Estimates {
			grow(&s.Estimates[j], s, headings, in.At, ahead)
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
func grow(e *estimate.Estimate, s *planner.SystemState, headings []Heading, at time.Time, ahead int) {
	if !e.Known {
		return
	}
	for _, t := range s.Targets {
		if t.Quantity == e.Quantity {
			e.Level, e.LevelCaught = t.Target, t.Target
		}
	}
	e.Held, e.Overshoot, e.Pending, e.LastAccepted = nil, false, 0, at
	use := e.Consumption
	for _, h := range headings {
		if h.System == s.ID && h.Quantity == e.Quantity && h.Trend.Sure() {
			use = max(0, use+h.Trend.PerDay*float64(ahead))
		}
	}
	e.Consumption, e.UseAtTarget = use, use
}
