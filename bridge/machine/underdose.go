package machine

import (
	"fmt"
	"time"

	"aliquot/planner/units"
	"aliquot/safety"
)

// A channel that surely gave less than half of what was planned for it is spoken of (H-10), whatever the reason: a
// broker that was away, a hold that was forgotten, runs that nobody answered for. Silence counts as not given. Alkalinity
// falls within days, so that a day is looked at; else three; and never less than three of the channel's longest
// intervals, so that one run more or less says nothing. Our own choice.
const (
	underShare      = 500 // permille
	underOver       = 600 // permille: what ends the alert, so that it does not come and go at its limit
	underAlkalinity = 24 * time.Hour
	underOthers     = 3 * 24 * time.Hour
	underIntervals  = 3
	// underRuns is how many of the smallest runs a window must hold: what is owed below one of them waits.
	underRuns = 4
)

// given is what was planned and surely given within an hour of the axis.
type given struct {
	hour    safety.Elapsed
	known   bool               // planned is
	planned safety.Microlitres // in a day, the least that a plan or a run of that hour says
	sure    safety.Microlitres // lo of what ended then, into the tank
}

const anHour = safety.Elapsed(time.Hour / time.Millisecond)

// givenAt finds or begins the entry of a moment, and forgets what no window needs.
func (c *channelState) givenAt(at safety.Elapsed) *given {
	hour := at / anHour
	for i := len(c.given) - 1; i >= 0 && c.given[i].hour >= hour; i-- {
		if c.given[i].hour == hour {
			return &c.given[i]
		}
	}
	if n := len(c.given); n > 0 && c.given[n-1].hour > hour {
		return nil // older than the newest: an import brought it late, and no window misses it for long
	}
	oldest := hour - (elapsed(c.underWindow())+elapsed(referenceAge))/anHour
	first := 0
	for first < len(c.given) && c.given[first].hour < oldest {
		first++
	}
	c.given = append(c.given[first:], given{hour: hour})
	return &c.given[len(c.given)-1]
}

// notePlanned remembers the daily volume of a plan, or that a run was part of.
func (c *channelState) notePlanned(at safety.Elapsed, perDay safety.Microlitres) {
	g := c.givenAt(at)
	if g == nil {
		return
	}
	if !g.known || perDay < g.planned {
		g.known, g.planned = true, perDay
	}
}

// noteSure adds what a run surely gave.
func (c *channelState) noteSure(at safety.Elapsed, lo safety.Microlitres) {
	if g := c.givenAt(at); g != nil {
		g.sure += lo
	}
}

// underWindow is the time over which a channel is judged.
func (c *channelState) underWindow() time.Duration {
	w := underOthers
	if c.cfg.Strength[units.Alkalinity] > 0 {
		w = underAlkalinity
	}
	return max(w, underIntervals*c.longestGap)
}

// shortfall gives what was surely given in the window and what was planned for it: the least daily volume that a plan of
// the window, the last one before it, or the present one says. planned is 0 where there was none before the window, or where
// it is too small to be judged.
func (s *State) shortfall(c *channelState) (sure, planned safety.Microlitres) {
	window := c.underWindow()
	from := (s.clock.Now() - elapsed(window)) / anHour
	perDay, before := c.day.PerDay, false
	for i := len(c.given) - 1; i >= 0 && !before; i-- {
		g := &c.given[i]
		if g.known {
			perDay = min(perDay, g.planned)
		}
		if g.hour >= from {
			sure += g.sure
		} else {
			before = g.known
		}
	}
	if planned = safety.Microlitres(int64(perDay) * int64(window/time.Hour) / 24); !before || planned < underRuns*c.cfg.Limits.SmallestRun {
		planned = 0
	}
	return sure, planned
}

// givenConditions speaks of a channel that gives too little. One that a person took out of service gives what it should,
// and one that was calibrated or brought back within the window has not had its time yet.
func (t *turn) givenConditions(c *channelState, add adder) {
	window := c.underWindow()
	if c.rate == 0 || t.outOfService(c) || t.wall().Sub(later(c.calibratedAt, c.returnedAt)) < window {
		return
	}
	sure, planned := t.shortfall(c)
	if int64(sure)*1000 >= int64(planned)*underOver {
		return // asked at every step: the name is looked for only where it may be needed
	}
	name, share := "under-dosed-"+c.cfg.ID, int64(underShare)
	if a := t.alert(name); a != nil && a.Raised {
		share = underOver
	}
	if int64(sure)*1000 < int64(planned)*share {
		add(name, Warning, "channel %s surely gave only %s in the last %s, of %s that were planned: see what withholds its runs (node, container, hold) or makes them too small (limits, slots); what was missed is not made up", c.cfg.ID, sure, spanText(window), planned)
	}
}

// spanText names a whole number of hours or days.
func spanText(d time.Duration) string {
	if h := d.Hours(); h < 72 {
		return fmt.Sprintf("%.0f hours", h)
	}
	return daysText(d.Round(time.Hour))
}

func (s *State) outOfService(c *channelState) bool {
	for _, i := range s.stands.over(c) {
		if k := &s.standing[i]; k.code == safety.OutOfService && k.covers(c) {
			return true
		}
	}
	return false
}
