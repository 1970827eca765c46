package machine

import "aliquot/safety"

// An output that does not go off moves more with every second (H-01). What it moved is booked when it is seen off; until
// then it counts here, so that other channels of the system do not use up what it has taken of the caps.

// mayHaveMoved is the most that a channel can have moved in the last 24 h, up to now.
func (s *State) mayHaveMoved(c *channelState, vessel bool) safety.Microlitres {
	sum := c.book.Hi(s.clock.Now(), vessel)
	if r := c.open; r != nil && (r.Into == IntoVessel) == vessel {
		sum += s.overrun(c)
	}
	return sum
}

// overrun is what an open run may have moved beyond the time that was booked for it, at most what its container held.
func (s *State) overrun(c *channelState) safety.Microlitres {
	r := c.open
	if r == nil || !r.started || s.node(r.Node).cfg.Style != Switch {
		return 0
	}
	over := s.clock.Now() - r.startedAt - safety.Elapsed(r.Longest)
	if over <= 0 {
		return 0
	}
	rate := max(c.presentRate(), r.Rate)
	return min(c.tolerance.Above(rate.VolumeIn(safety.Milliseconds(over))), max(0, s.container(r.Container).max))
}

// overrunsFrom is what all channels that draw from a container may have taken beyond what is booked.
func (s *State) overrunsFrom(k *containerState) safety.Microlitres {
	var sum safety.Microlitres
	for _, i := range s.index.from[k.cfg.ID] {
		if c := &s.channels[i]; c.open != nil && c.open.Container == k.cfg.ID {
			sum += s.overrun(c)
		}
	}
	return sum
}
