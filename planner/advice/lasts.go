package advice

import (
	"aliquot/planner"
	"aliquot/planner/estimate"
	"aliquot/planner/units"
	"aliquot/safety"
)

// More gives by how much the daily volume of each channel may exceed its plan if the use is at the upper end of its
// interval, in channel order: never beyond per_day, and 0 for what is not driven by tests. Followers of one quantity
// take equal parts, shares of a channel go with it.
func More(in planner.Input, planned []planner.Day) []safety.Microlitres {
	out := make([]safety.Microlitres, len(in.Channels))
	for i := range in.Channels {
		c := &in.Channels[i]
		if c.Mode == planner.Follow {
			out[i] = within(c, planned[i].PerDay, moreUsed(in, c))
		}
	}
	for i := range in.Channels {
		c := &in.Channels[i]
		for k := range in.Channels {
			if m := &in.Channels[k]; c.Mode == planner.Share && m.ID == c.ShareOf {
				out[i] = within(c, planned[i].PerDay, c.ShareRatio*out[k].Millilitres())
			}
		}
	}
	return out
}

// within keeps a volume and what may come on top (mL a day) below per_day. A channel without a plan gives nothing more.
func within(c *planner.ChannelState, planned safety.Microlitres, ml float64) safety.Microlitres {
	if planned <= 0 || !(ml > 0) {
		return 0
	}
	return max(0, min(safety.Microlitres(min(ml, 1e9)*1000), c.PerDay-planned))
}

// moreUsed is the volume, mL a day, of a channel's part of what may be used beyond the estimate.
func moreUsed(in planner.Input, c *planner.ChannelState) float64 {
	e, litres := found(in, c.System, c.Quantity)
	followers := 0.0
	for i := range in.Channels {
		if o := &in.Channels[i]; o.Mode == planner.Follow && o.System == c.System && o.Quantity == c.Quantity {
			followers++
		}
	}
	strength := c.Strength[c.Quantity]
	if e == nil || !e.Known || !(strength > 0) {
		return 0
	}
	return sure * e.ConsumptionSD * litres / (strength * followers)
}

func found(in planner.Input, system string, q units.Quantity) (*estimate.Estimate, float64) {
	for i := range in.Systems {
		if s := &in.Systems[i]; s.ID == system {
			for j := range s.Estimates {
				if s.Estimates[j].Quantity == q {
					return &s.Estimates[j], s.NetLitres
				}
			}
		}
	}
	return nil, 0
}

// DosesOf is what a quantity of a system gets by a plan.
func DosesOf(in planner.Input, planned []planner.Day, system string, q units.Quantity) Doses {
	var d Doses
	_, litres := found(in, system, q)
	for i := range in.Channels {
		c := &in.Channels[i]
		if c.System != system || !(litres > 0) || planned[i].PerDay <= 0 {
			continue
		}
		d.Planned += planned[i].PerDay.Millilitres() * c.Strength[q] / litres
		d.Followed = d.Followed || (c.Mode == planner.Follow && c.Quantity == q)
	}
	return d
}
