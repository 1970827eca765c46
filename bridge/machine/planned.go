package machine

import (
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

// dayVolumes are the daily volumes for an input. One that cannot be is refused: its channel is given nothing.
func (s *State) dayVolumes(in planner.Input) []planner.Day {
	planned := s.site.planner().DayVolumes(in)
	out := make([]planner.Day, len(s.channels))
	for i := range s.channels {
		c := &s.channels[i]
		c.dayRefused = i >= len(planned) || planned[i].Channel != c.cfg.ID || planned[i].PerDay < 0 || planned[i].PerDay > c.cfg.Limits.PerDay
		if c.dayRefused {
			out[i] = planner.Day{Channel: c.cfg.ID, Why: []safety.Code{safety.BadVolume}}
			continue
		}
		out[i] = planned[i]
	}
	return out
}

// sound says whether a planned run can be one: its volume within per_run, and its time no longer than that volume takes.
func (c *channelState) sound(r planner.Run) bool {
	return r.Volume > 0 && r.Volume <= c.cfg.Limits.PerRun && r.Duration > 0 && r.Duration <= c.cfg.Limits.RunTime &&
		c.rate.VolumeIn(r.Duration)+c.offset <= r.Volume+1
}

// planConditions speaks of a plan that was refused: nothing else would be noticed of it for a day.
func (t *turn) planConditions(c *channelState, add adder) {
	if c.dayRefused || c.runRefused {
		add("plan-refused-"+c.cfg.ID, Warning, "the plan of channel %s came to a volume that cannot be, and was refused: nothing is given by it; look at its target, its supplement's strength and its last tests, and dose by hand until then", c.cfg.ID)
	}
}
