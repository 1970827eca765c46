package machine

import (
	"fmt"

	"aliquot/planner/seawater"
	"aliquot/planner/units"
	"aliquot/safety"
)

// AlkalineEffect is what a channel's supplement does to pH. AtOnce 0: nothing, or it is not known.
type AlkalineEffect struct {
	Salt   seawater.Salt // carbon per equivalent of what acts at once
	AtOnce float64       // dKH in 1 L for 1 mL that act at once
}

// measureRuns bounds the planned runs of every channel by the pH that is measured now.
func (s *State) measureRuns() {
	for i := range s.channels {
		c := &s.channels[i]
		c.gentle = s.measuredGentle(c)
	}
}

// measuredGentle is the largest planned run whose pH step stays within the default at the pH that a fresh probe shows and
// the estimated alkalinity, or its target where no test says (H-26); 0: nothing is measured, or no run of the salt
// reaches the step.
func (s *State) measuredGentle(c *channelState) safety.Microlitres {
	e := c.cfg.Alkaline
	y := s.system(c.cfg.System)
	if !(e.AtOnce > 0) || y == nil {
		return 0
	}
	if _, ok := s.measured(y, units.PH); !ok {
		return 0
	}
	at := s.clock.Wall()
	dkh, ok := y.level(units.Alkalinity, at)
	for _, g := range y.cfg.Targets {
		if !ok && g.Quantity == units.Alkalinity {
			dkh = g.Target
		}
	}
	sys, before, ok := s.carbonate(y, dkh, at)
	if !ok {
		return 0
	}
	rise, bounded, err := sys.LargestRiseDKH(before, e.Salt, seawater.DefaultStep)
	if err != nil || !bounded {
		return 0
	}
	v, err := safety.MillilitresDown(rise * y.cfg.NetLitres / e.AtOnce)
	if err != nil {
		return 0
	}
	return max(1, v)
}

// gentlest is the smaller of the two bounds, so that a probe never allows more than its absence does; 0: there is none.
func (c *channelState) gentlest() safety.Microlitres {
	switch a, b := c.cfg.Gentle, c.gentle; {
	case a == 0:
		return b
	case b == 0:
		return a
	default:
		return min(a, b)
	}
}

// gentleNote says that the measured pH makes a channel's planned runs smaller; empty where it does not.
func (s *State) gentleNote(c *channelState) string {
	at := s.clock.Wall()
	now := s.planChannel(c, at).PerRun
	other := *c
	other.gentle = 0
	if now >= s.planChannel(&other, at).PerRun {
		return ""
	}
	ph, _ := s.measured(s.system(c.cfg.System), units.PH)
	return fmt.Sprintf("channel %s: planned runs are held to %s, since pH is %.2f: a run is to move it by at most %g", c.cfg.ID, now, ph, seawater.DefaultStep)
}
