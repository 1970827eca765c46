package faultsim

import (
	"math/rand/v2"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/node"
	"aliquot/bridge/simnode"
	"aliquot/safety"
)

// feed is the supply relay of a scenario that has one: the pumps of both nodes hang behind it.
const feed = "feed"

// fedOnly are the faults of a supply relay itself.
var fedOnly = []dish{
	{NodeAway, 3, 10 * hour, nil, []string{feed}},
	{NodeHangs, 3, 3 * hour, nil, []string{feed}},
	{Reboot, 4, 0, nil, []string{feed}},
	{Deaf, 2, 5 * hour, nil, []string{feed}},
	{Mute, 2, 5 * hour, nil, []string{feed}},
	{StuckOn, 2, 5 * hour, nil, []string{feed}},
	{SwitchedOff, 2, 2 * hour, nil, []string{feed}},
	{CutByHand, 2, 0, nil, []string{feed}},
	{StuckOn, 3, 3 * hour, nil, []string{plug}}, // what it is for comes more often
	{DeafToTime, 3, 3 * hour, nil, []string{plug}},
}

// behindFeed puts the supply relay into a site.
func behindFeed(site *machine.Site) {
	site.Nodes = append(site.Nodes, machine.Node{ID: feed, Style: machine.Supply, Fingerprint: "feed-1"})
	for i := range site.Channels {
		site.Channels[i].Supply = feed
	}
}

func feedSpec() node.Spec {
	return node.Spec{ID: feed, Style: machine.Supply, Command: "cove/feed/set", Off: "off {{.Serial}}",
		State: node.State{Topic: "cove/feed/state", On: "ON", Off: "OFF"}, Online: node.Online{Topic: "cove/feed/online", Up: "1", Down: "0"}}
}

func newFeed(r *rand.Rand) (*simnode.Supply, error) {
	isOff := func(payload []byte) bool { on, _, ok := onOff(payload); return ok && !on }
	return simnode.NewSupply(simnode.SupplyOptions{Off: isOff, BootTime: time.Second, OffAtBoot: r.IntN(2) == 0})
}

// supply gives the relay, nil where the scenario has none.
func (w *world) supply() (*pump, *simnode.Supply) {
	for _, n := range w.nodes {
		if s, ok := n.sim.(*simnode.Supply); ok {
			return n, s
		}
	}
	return nil, nil
}

// feeds gives the pumps what the relay lets through.
func (w *world) feeds(n *pump) {
	s, ok := n.sim.(*simnode.Supply)
	if !ok {
		return
	}
	if on := s.Flowing(1); on != w.wasFed {
		w.wasFed = on
		if on {
			w.check.closed = w.now // by a person, or by itself after a restart
		}
	}
	for _, other := range w.nodes {
		if other != n {
			other.sim.Feed(w.trueTime(), s.Flowing(1))
			w.drain(other)
		}
	}
}

// switchFeed is a person at the relay.
func (w *world) switchFeed(on bool) {
	n, s := w.supply()
	if s == nil {
		return
	}
	w.note("somebody switches the supply %v", map[bool]string{true: "on", false: "off"}[on])
	if on {
		w.say(n, s.Close(w.trueTime()))
		return
	}
	w.say(n, s.Receive(w.trueTime(), simnode.Command{Output: 1, Payload: []byte("off 0")}))
}

// seesToFeed is the keeper's look at the supply relay: he clears it once nothing is wrong with the pumps, then switches it on.
// A careless one does the second without the first.
func (k *keeper) seesToFeed(view machine.SiteView) {
	n, s := k.w.supply()
	if s == nil {
		return
	}
	cut, off := false, false
	for _, b := range view.Channels[0].Withheld {
		cut, off = cut || b.Code == safety.SupplyCut, off || b.Code == safety.SupplyOff
	}
	switch {
	case cut && k.careless > 0:
		k.w.switchFeed(true)
	case cut && len(k.w.pump(plug).faults) == 0 && len(n.faults) == 0:
		k.ask(machine.VerbClear, machine.Request{What: feed})
	case !cut && off && k.w.off == 0: // it may be on, and its word was lost
		k.w.switchFeed(true)
	}
}

// What the checker holds against a service with a supply relay (H-01). A cut has to arrive within a few seconds where
// nothing hinders it; where something did, within the minute after which it is said again.
const (
	cutWithin   = 5 * time.Second
	againWithin = 65 * time.Second
	// an output that stays on is booked anew by a process that finds it so, and given its time once more
	noticedWithin = 150 * time.Second
)

// excused notes when something last stood between the service and the supply relay, or between the relay with the pump
// and the service. It is asked before each thing that happens.
func (c *checker) excuses(w *world) {
	n, _ := w.supply()
	if n == nil {
		return
	}
	p, net := w.hosts[0].p, &w.net
	deaf := p == nil || !p.alive() || !p.linkUp || p.hung.out || p.hung.in || p.busy > 0 || !w.broker.up || net.loseStops > 0 ||
		w.hosts[0].ledger.slow > 0 || w.hosts[0].ledger.failed || n.away > 0 || n.hangs > 0 || len(n.faults) > 0
	if deaf {
		c.noCut = w.now
	}
	if deaf || net.loseReports > 0 || net.delayReports > 0 || w.unseen(w.pump(plug)) {
		c.noSight = w.now
	}
}

// followCut keeps since when the supply relay has to be open.
func (c *checker) followCut(w *world) {
	for _, k := range c.standing {
		if k.code == safety.SupplyCut {
			if c.cutAt == 0 {
				c.cutAt = w.now
			}
			return
		}
	}
	c.cutAt = 0
}

// unseen says whether a relay may not tell what it does.
func (w *world) unseen(n *pump) bool {
	for _, f := range n.faults {
		switch f.Kind {
		case Deaf, Mute, DropsSaid:
			return true
		}
	}
	return n.away > 0 || n.hangs > 0
}

// fed looks at what flowed from an output behind the supply relay: nothing does while its lockout stands, and an output that
// stays on is cut off.
func (c *checker) fed(w *world, f *flight, i int, to time.Duration) {
	if _, s := w.supply(); s == nil || f == nil || i < 0 {
		return
	}
	again := c.closed + cutWithin
	if c.noSight >= c.closed-againWithin { // that it went on was perhaps not heard
		again = c.closed + againWithin
	}
	if c.cutAt > 0 && to > max(c.cutAt+cutWithin, again, c.noCut+againWithin) {
		w.violated("H-01", "%s flows %s after the supply relay was to be opened", c.site.Channels[i].ID, to-c.cutAt)
	}
	stays := f.from + f.Longest.Duration()
	if c.site.Channels[i].Node == plug && f.flowing && !f.stranger && to > max(stays, c.noSight, c.closed)+noticedWithin {
		w.violated("H-01", "%s flows %s beyond its time, and its supply relay is not opened", c.site.Channels[i].ID, to-stays)
	}
}
