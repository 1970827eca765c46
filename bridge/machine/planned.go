package machine

import (
	"fmt"
	"time"

	"aliquot/planner"
	"aliquot/safety"
)

// Planner is what works plans out. What it says is held against bounds that know nothing of how it was found (H-35).
type Planner interface {
	DayVolumes(planner.Input) []planner.Day
	RunAt(planner.ChannelState, safety.Microlitres, planner.Slot) (run planner.Run, carryNL int64, ok bool)
}

// ordinary is the planner that there is.
type ordinary struct{}

func (ordinary) DayVolumes(in planner.Input) []planner.Day { return planner.DayVolumes(in) }

func (ordinary) RunAt(c planner.ChannelState, perDay safety.Microlitres, slot planner.Slot) (planner.Run, int64, bool) {
	return planner.RunAt(c, perDay, slot)
}

func (s *Site) planner() Planner {
	if s.Planner == nil {
		return ordinary{}
	}
	return s.Planner
}

// goodPlan is the last daily volume of a channel that a planner could work out.
type goodPlan struct {
	known      bool
	perDay     safety.Microlitres
	supplement string    // that its container held
	refused    time.Time // when the first plan after it was refused; zero: none was
	stands     bool      // it is given now, for one that was refused
}

// goodFor is how long the last good plan stands from the first one that cannot be worked out (H-35). Our own choice: a
// day's use changes little from one day to the next, and somebody has a day to look at the alert.
const goodFor = 24 * time.Hour

// dayVolumes are the daily volumes for an input. For one that cannot be, or cannot be worked out any more, the last good
// one stands for a day, then at most the base (H-35).
func (s *State) dayVolumes(in planner.Input) []planner.Day {
	planned := s.site.planner().DayVolumes(in)
	out := make([]planner.Day, len(s.channels))
	for i := range s.channels {
		c := &s.channels[i]
		holds := s.container(c.cfg.Container).supplement
		possible := i < len(planned) && planned[i].Channel == c.cfg.ID && planned[i].PerDay >= 0 && planned[i].PerDay <= c.cfg.Limits.PerDay
		if possible && !workedOut(planned[i]) && !(c.good.known && c.good.supplement == holds) {
			// It never could be worked out for what the container holds: that is told as what withholds the channel.
			c.dayRefused, out[i] = false, planned[i]
			continue
		}
		if c.dayRefused = !possible || !workedOut(planned[i]); c.dayRefused {
			out[i] = s.fallBack(c, in.At, holds)
			continue
		}
		out[i] = planned[i]
		c.good = goodPlan{known: true, perDay: planned[i].PerDay, supplement: holds}
	}
	return out
}

// workedOut says that the planner found no number amiss.
func workedOut(d planner.Day) bool { return len(d.Why) == 0 || d.Why[0] != safety.BadVolume }

// fallBack is what is given instead of a plan that cannot be: never more than the last good one, nor than what may not be
// risen above since, and nothing of a supplement that it was not made for.
func (s *State) fallBack(c *channelState, at time.Time, holds string) planner.Day {
	day := planner.Day{Channel: c.cfg.ID, Why: []safety.Code{safety.BadVolume}}
	if c.good.stands = false; !c.good.known || c.good.supplement != holds {
		return day
	}
	if c.good.refused.IsZero() {
		c.good.refused = at
	}
	v := min(c.good.perDay, c.cfg.Limits.PerDay)
	if c.good.stands = c.good.standsAt(at); !c.good.stands {
		v = min(v, c.baseVolume())
	}
	for _, most := range []*safety.Microlitres{c.ceiling(at), s.doubtCeiling(c)} {
		if most != nil {
			v = min(v, *most)
		}
	}
	day.PerDay, day.UsePart = max(0, v), max(0, v)
	return day
}

// standsAt says whether the plan may still stand for one that cannot be.
func (g goodPlan) standsAt(at time.Time) bool {
	age := at.Sub(g.refused)
	return g.known && age >= 0 && age < goodFor
}

// goodEnds says that a plan stands for one that cannot be, and has done so for long enough.
func (s *State) goodEnds(at time.Time) bool {
	for i := range s.channels {
		if c := &s.channels[i]; c.dayRefused && c.good.stands && !c.good.standsAt(at) {
			return true
		}
	}
	return false
}

// baseVolume is what the keeper set for a channel whose tests say nothing; 0 without one.
func (c *channelState) baseVolume() safety.Microlitres {
	switch {
	case c.cfg.Mode == planner.Fixed:
		if v, err := safety.MillilitresDown(c.cfg.FixedPerDay); err == nil {
			return v
		}
	case c.cfg.Mode == planner.Follow && c.cfg.Base != nil:
		return *c.cfg.Base
	}
	return 0
}

// plainShare is the run of a slot by arithmetic that owes nothing to a planner: the slot's part of the daily volume, rounded
// down, without what earlier slots owe.
func (c *channelState) plainShare(slot planner.Slot) (planner.Run, bool) {
	share := float64(c.day.PerDay) * slot.Days
	if !(share >= 1 && c.rate > 0) {
		return planner.Run{}, false
	}
	v := safety.Microlitres(min(share, float64(c.cfg.Limits.PerRun)))
	if g := c.gentlest(); g > 0 {
		v = min(v, max(g, c.cfg.Limits.SmallestRun))
	}
	ms := min(c.cfg.Limits.RunTime, safety.Milliseconds(max(0, v-c.offset)*1_000_000/safety.Microlitres(c.rate)))
	run := planner.Run{Channel: c.cfg.ID, Slot: slot, Volume: c.rate.VolumeIn(ms) + c.offset, Duration: ms}
	return run, run.Volume >= c.cfg.Limits.SmallestRun && c.sound(run)
}

// sound says whether a planned run can be one: its volume within per_run, and its time no longer than that volume takes.
func (c *channelState) sound(r planner.Run) bool {
	return r.Volume > 0 && r.Volume <= c.cfg.Limits.PerRun && r.Duration > 0 && r.Duration <= c.cfg.Limits.RunTime &&
		c.rate.VolumeIn(r.Duration)+c.offset <= r.Volume+1
}

// planConditions speaks of a plan that was refused: nothing else would be noticed of it for a day.
func (t *turn) planConditions(c *channelState, add adder) {
	if !c.dayRefused && !c.runRefused {
		return
	}
	const look = "look at its target, its supplement's strength and its last tests"
	name := "plan-refused-" + c.cfg.ID
	switch {
	case c.dayRefused && c.good.stands:
		then := "nothing is given until this ends"
		if base := c.baseVolume(); base > 0 {
			then = fmt.Sprintf("at most its base of %s is", base)
		}
		add(name, Warning, "the plan of channel %s came to a volume that cannot be, and was refused: its last good plan, %s a day, stands until %s, after that %s; %s", c.cfg.ID, c.day.PerDay, t.local(c.good.refused.Add(goodFor)), then, look)
	case c.dayRefused && c.day.PerDay > 0:
		add(name, Warning, "the plan of channel %s came to a volume that cannot be, and was refused: at most its base is given, %s a day; %s", c.cfg.ID, c.day.PerDay, look)
	case c.dayRefused:
		add(name, Warning, "the plan of channel %s came to a volume that cannot be, and was refused: nothing is given by it; %s, and dose by hand until then", c.cfg.ID, look)
	case c.runRefused:
		add(name, Warning, "a run of channel %s came to a volume that cannot be, and was refused: the slot's plain share of %s a day is given instead; %s", c.cfg.ID, c.day.PerDay, look)
	}
}
