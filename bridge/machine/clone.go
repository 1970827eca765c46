package machine

import (
	"maps"
	"slices"

	"aliquot/planner"
)

// Clone is an independent copy: stepping one leaves the other as it is. What is never written to in place is shared, such
// as the site, bookings and what rows brought.
func (s *State) Clone() State {
	c := *s
	c.scratch = planner.Input{}
	c.starts, c.standing, c.holds = slices.Clone(s.starts), slices.Clone(s.standing), slices.Clone(s.holds)
	c.stands, c.held = s.stands.clone(), s.held.clone()
	c.answers, c.accepted = maps.Clone(s.answers), maps.Clone(s.accepted)
	c.probes, c.means, c.locks = slices.Clone(s.probes), slices.Clone(s.means), slices.Clone(s.locks)
	c.alerts, c.reminders = slices.Clone(s.alerts), slices.Clone(s.reminders)
	c.lots = slices.Clone(s.lots)
	c.alertAt, c.open, c.ways = maps.Clone(s.alertAt), maps.Clone(s.open), slices.Clone(s.ways)
	c.flaps = maps.Clone(s.flaps)
	for name, f := range c.flaps {
		f.raised = slices.Clone(f.raised)
		c.flaps[name] = f
	}
	c.channels = slices.Clone(s.channels)
	for i := range c.channels {
		c.channels[i].part()
	}
	c.contents = slices.Clone(s.contents)
	for i := range c.contents {
		c.contents[i].level.samples = slices.Clone(c.contents[i].level.samples)
	}
	c.systems = slices.Clone(s.systems)
	for i := range c.systems {
		c.systems[i].part()
	}
	c.nodes = slices.Clone(s.nodes)
	for i := range c.nodes {
		n := &c.nodes[i]
		n.retained, n.reports = maps.Clone(n.retained), slices.Clone(n.reports)
	}
	return c
}

// part gives a channel memory of its own.
func (c *channelState) part() {
	if c.open != nil {
		open := *c.open
		c.open = &open
	}
	if c.due != nil {
		due := *c.due
		c.due = &due
	}
	c.volumes, c.unknowns, c.lately = slices.Clone(c.volumes), slices.Clone(c.unknowns), slices.Clone(c.lately)
	c.given = slices.Clone(c.given)
}

// part gives a system memory of its own.
func (y *systemState) part() {
	y.filter, y.base = y.filter.Clone(), y.base.Clone()
	if y.near != nil {
		y.near = y.near.Clone()
	}
	y.inputs, y.uses = slices.Clone(y.inputs), slices.Clone(y.uses)
	y.advised, y.lowTests, y.strong, y.watched = slices.Clone(y.advised), slices.Clone(y.lowTests), slices.Clone(y.strong), slices.Clone(y.watched)
}

// Clone is an independent copy of a fold: rows added to one do not reach the other.
func (f *Fold) Clone() *Fold {
	c := *f
	c.s = f.s.Clone()
	return &c
}
