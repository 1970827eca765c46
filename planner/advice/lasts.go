package advice

import (
	"slices"

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
	systems, channels, followers := map[string]int{}, map[string]int{}, map[heading]float64{}
	for i := range in.Systems {
		systems[in.Systems[i].ID] = i
	}
	for i := range in.Channels {
		c := &in.Channels[i]
		channels[c.ID] = i
		if c.Mode == planner.Follow {
			followers[heading{c.System, c.Quantity}]++
		}
	}
	for i := range in.Channels {
		c := &in.Channels[i]
		if y, ok := systems[c.System]; ok && c.Mode == planner.Follow {
			out[i] = within(c, planned[i].PerDay, moreUsed(&in.Systems[y], c, followers[heading{c.System, c.Quantity}]))
		}
	}
	for i := range in.Channels {
		c := &in.Channels[i]
		if k, ok := channels[c.ShareOf]; ok && c.Mode == planner.Share {
			out[i] = within(c, planned[i].PerDay, c.ShareRatio*out[k].Millilitres())
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
func moreUsed(y *planner.SystemState, c *planner.ChannelState, followers float64) float64 {
	strength := c.Strength[c.Quantity]
	for _, e := range y.Estimates {
		if e.Quantity == c.Quantity && e.Known && strength > 0 {
			return sure * e.ConsumptionSD * y.NetLitres / (strength * followers)
		}
	}
	return 0
}

// DosesOf is what a quantity of a system gets by a plan of its channels. Those of other systems in it count as nothing.
func DosesOf(in planner.Input, planned []planner.Day, system string, q units.Quantity) Doses {
	var d Doses
	litres := 0.0
	for i := range in.Systems {
		if in.Systems[i].ID == system && has(in.Systems[i].Estimates, q) {
			litres = in.Systems[i].NetLitres
		}
	}
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

func has(list []estimate.Estimate, q units.Quantity) bool {
	return slices.ContainsFunc(list, func(e estimate.Estimate) bool { return e.Quantity == q })
}
