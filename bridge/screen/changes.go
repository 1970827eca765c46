package screen

import (
	"fmt"
	"strings"
	"time"

	"aliquot/bridge/machine"
)

// Changes says what became different between two looks at a site, one sentence each, in the order of the page. Levels and
// volumes that only drift are not news.
func Changes(before, after Seen, zone *time.Location) []string {
	d := differ{page: newPage(Ordinary, after.At, zone), after: after.View}
	if before.Link != after.Link {
		d.add("%s", choose(after.Link == "", "the broker is there again", "the broker is not there: "+after.Link))
	}
	if before.Service != after.Service {
		d.add("%s", map[Service]string{Online: "the service is online", Offline: "the service is OFFLINE: nothing is dosed", Unheard: "the service's topics are gone"}[after.Service])
	} else if before.Live() && !after.Live() && after.Link == "" {
		d.add("the service is silent: its last sign of life is of %s", d.when(after.Sign))
	}
	each(before.View.Alerts, after.View.Alerts, func(a machine.AlertView) string { return a.Name }, d.alert)
	each(before.View.Quantities, after.View.Quantities, func(q machine.QuantityView) string { return q.System + "/" + q.Quantity }, d.quantity)
	each(before.View.Channels, after.View.Channels, func(c machine.ChannelView) string { return c.ID }, d.channel)
	each(before.View.Containers, after.View.Containers, func(c machine.ContainerView) string { return c.ID }, d.container)
	each(before.View.Probes, after.View.Probes, func(x machine.ProbeView) string { return x.ID }, d.probe)
	each(before.View.Nodes, after.View.Nodes, func(n machine.NodeView) string { return n.ID }, d.node)
	each(before.View.Interlocks, after.View.Interlocks, func(l machine.InterlockView) string { return l.Name }, d.interlock)
	return d.out
}

type differ struct {
	*page
	after machine.SiteView
	out   []string
}

func (d *differ) add(format string, args ...any) { d.out = append(d.out, fmt.Sprintf(format, args...)) }

func choose(yes bool, a, b string) string {
	if yes {
		return a
	}
	return b
}

// each meets the things of two lists by their names: nil on the side where one is missing.
func each[T any](before, after []T, name func(T) string, visit func(old, now *T)) {
	find := func(list []T, id string) *T {
		for i := range list {
			if name(list[i]) == id {
				return &list[i]
			}
		}
		return nil
	}
	for i := range before {
		if find(after, name(before[i])) == nil {
			visit(&before[i], nil)
		}
	}
	for i := range after {
		visit(find(before, name(after[i])), &after[i])
	}
}

func (d *differ) alert(old, now *machine.AlertView) {
	switch {
	case now == nil:
		d.add("alert %s is over", old.Name)
	case old == nil || old.Level != now.Level:
		d.add("ALERT %s (%s): %s", now.Name, now.Level, now.Text)
	case !old.Acknowledged && now.Acknowledged:
		d.add("alert %s is acknowledged", now.Name)
	}
}

func (d *differ) quantity(old, now *machine.QuantityView) {
	if old == nil || now == nil {
		return
	}
	name := now.Quantity + " of " + now.System
	switch {
	case now.Unconfirmed != nil && (old.Unconfirmed == nil || *old.Unconfirmed != *now.Unconfirmed):
		d.add("%s: a test of %s %s is far from what was expected: test again", name, number(*now.Unconfirmed), now.Unit)
	case now.TestsUsed > old.TestsUsed:
		d.add("%s: a test was taken; the level is %s %s, the use %s a day (90 %%)", name, plusMinus(now.Level, now.LevelSD), now.Unit, plusMinus(now.ConsumptionPerDay, now.ConsumptionSD))
	}
	if was, is := inBand(*old), inBand(*now); was != is && is != "" && was != "" {
		d.add("%s is %s: %s %s (90 %%)", name, choose(is == "ok", "back in its band", is), plusMinus(now.Level, now.LevelSD), now.Unit)
	}
}

func (d *differ) channel(old, now *machine.ChannelView) {
	if old == nil || now == nil {
		return
	}
	switch {
	case now.Running && (!old.Running || old.Run != now.Run):
		d.add("channel %s runs", now.ID)
	case !now.Running && old.Running:
		d.add("channel %s: the run ended, %s; %s of %s mL in 24 h", now.ID, orUnknown(now.LastOutcome), number(now.Window24hHiML), number(now.PerDayML))
	case now.LastRun != nil && (old.LastRun == nil || now.LastRun.After(*old.LastRun)):
		d.add("channel %s ran: %s; %s of %s mL in 24 h", now.ID, orUnknown(now.LastOutcome), number(now.Window24hHiML), number(now.PerDayML))
	}
	if was, is := codes(*old), codes(*now); was != is {
		d.add("channel %s %s", now.ID, choose(is == "", "is free to run", "is withheld: "+is))
	}
	if number(old.PlannedMLPerDay) != number(now.PlannedMLPerDay) {
		d.add("channel %s: planned %s mL a day, before %s", now.ID, number(now.PlannedMLPerDay), number(old.PlannedMLPerDay))
	}
}

func codes(c machine.ChannelView) string {
	var out []string
	for _, b := range c.Withheld {
		out = append(out, string(b.Code))
	}
	return strings.Join(out, ", ")
}

func (d *differ) container(old, now *machine.ContainerView) {
	if old == nil || now == nil {
		return
	}
	if now.RemainingMinML > old.RemainingMinML+1 {
		d.add("container %s was filled: %s of %s mL", now.ID, number(now.RemainingMinML), number(now.CapacityML))
	}
	if was, is := fill(*old), fill(*now); was != is && is != "" {
		d.add("container %s is %s: %s mL, %s", now.ID, is, number(now.RemainingMinML), lasts(*now, d.after))
	}
}

func (d *differ) probe(old, now *machine.ProbeView) {
	if old != nil && now != nil && old.Good != now.Good {
		d.add("probe %s %s", now.ID, choose(now.Good, "has a good reading again", "has no good reading: "+now.Why))
	}
}

func (d *differ) node(old, now *machine.NodeView) {
	if old != nil && now != nil && old.Online != now.Online {
		d.add("node %s is %s", now.ID, choose(now.Online, "online", "OFFLINE"))
	}
	if now != nil && now.On != nil && (old == nil || old.On == nil || *old.On != *now.On) {
		d.add("supply relay %s is %s", now.ID, choose(*now.On, "on", "OFF"))
	}
}

func (d *differ) interlock(old, now *machine.InterlockView) {
	if old != nil && now != nil && old.Active != now.Active {
		d.add("interlock %s %s", now.Name, choose(now.Active, "BLOCKS", "is open"))
	}
}
