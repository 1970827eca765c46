package machine

import (
	"fmt"
	"time"

	"aliquot/safety"
)

// A node's pumps may be fed through a supply relay: a second stop that does not depend on the first (H-01, H-21). It is
// opened where something flows that should not, and stays open: a person closes it, after having looked, and clears
// the lockout first, since a relay that is seen on while its lockout stands is opened again. It is never closed from here.

const (
	supplyOffs  = 30 * time.Second // for which a relay that should be open is told so once a second
	supplySlow  = time.Minute      // between tellings afterwards, also to one that is seen off: that it went on again may be lost
	supplyStays = 3 * time.Second  // after which one that is still seen on is an alert of its own
)

// supplyState is what a supply relay says, and what it was told. It is of this process.
type supplyState struct {
	seen, on bool          // what it said last over the connection that is up now
	told     time.Duration // when it was told last to go off; 0: not yet
	since    time.Duration // since when it was told to open, was seen on, or is out of sight
}

// cutSupply opens the supply relay of a channel's node, if there is one.
func (t *turn) cutSupply(c *channelState, why string) {
	if n := t.node(c.cfg.Supply); n != nil {
		t.openSupply(n, why+"; look at the pumps and the tank, clear this, then switch the supply relay on where it hangs")
	}
}

// openSupply latches a lockout for everything behind a supply relay, and tells it to go off.
func (t *turn) openSupply(n *nodeState, text string) {
	if t.supplyIsCut(n) {
		return
	}
	t.lockOut(Scope{Supply: n.cfg.ID}, safety.SupplyCut, text)
	n.supply.since = max(1, t.now.Mono)
	t.tellSupply(n)
}

func (t *turn) tellSupply(n *nodeState) {
	t.serial++
	n.supply.told = max(1, t.now.Mono)
	t.hurry(StopRuns{Node: n.cfg.ID, Output: SupplyOutput, Run: "*", Serial: t.serial})
}

// supplyIsCut says whether a supply relay has to be open.
func (s *State) supplyIsCut(n *nodeState) bool {
	for _, i := range s.stands.like(Scope{Supply: n.cfg.ID}) {
		if s.standing[i].code == safety.SupplyCut {
			return true
		}
	}
	return false
}

// supplySeen takes what a supply relay says of itself. Behind an open one nothing flows, whatever a node reports.
func (t *turn) supplySeen(n *nodeState, on bool) {
	was := n.supply
	n.supply.seen, n.supply.on = true, on
	if on {
		if !was.seen || !was.on {
			n.supply.since = max(1, t.now.Mono) // watchSupplies tells it to go off, if it has to be
		}
		return
	}
	for i := range t.channels {
		c := &t.channels[i]
		r := c.open
		if r == nil || c.cfg.Supply != n.cfg.ID {
			continue
		}
		t.stopOutput(c.cfg, r.Run)
	}
	t.unfed(n)
}

// unfed marks runs of which nothing is sure any more: their pumps may have lost their supply on the way.
func (t *turn) unfed(n *nodeState) {
	for i := range t.channels {
		if c := &t.channels[i]; c.open != nil && c.cfg.Supply == n.cfg.ID {
			c.open.unfed = true
		}
	}
}

// supplyOffline hears that a supply relay is gone: it may come back closed, and says so or not.
func (t *turn) supplyOffline(n *nodeState) {
	t.unfed(n)
	if t.supplyIsCut(n) {
		n.supply.seen, n.supply.since = false, max(1, t.now.Mono)
	}
}

// watchSupplies repeats itself to relays that should be open.
func (t *turn) watchSupplies() {
	for i := range t.nodes {
		n := &t.nodes[i]
		if at, ok := t.supplyDue(n); ok && t.linkUp && t.now.Mono >= at {
			t.tellSupply(n)
		}
	}
}

// supplyDue is when a supply relay is told next to go off; false if it need not be.
func (s *State) supplyDue(n *nodeState) (time.Duration, bool) {
	u := &n.supply
	switch {
	case n.cfg.Style != Supply || !s.supplyIsCut(n):
		return 0, false
	case u.told == 0:
		return s.now.Mono, true
	case !(u.seen && !u.on) && s.now.Mono-u.since <= supplyOffs:
		return u.told + time.Second, true
	}
	return u.told + supplySlow, true
}

// supplyBlock says why nothing runs behind a supply relay that nobody opened from here: where it is not seen on, a run
// would move nothing and count all the same, and the second stop may not be there.
func (s *State) supplyBlock(c *channelState) (safety.Block, bool) {
	n := s.node(c.cfg.Supply)
	if n == nil || s.preview || n.up && n.supply.seen && n.supply.on {
		return safety.Block{}, false
	}
	return safety.Block{Code: safety.SupplyOff, Text: n.supplyText()}, true
}

func (n *nodeState) supplyText() string {
	switch {
	case !n.up:
		return fmt.Sprintf("supply relay %s is not online", n.cfg.ID)
	case !n.supply.seen:
		return fmt.Sprintf("supply relay %s has not said whether it is on", n.cfg.ID)
	}
	return fmt.Sprintf("supply relay %s says that it is off: look at the pumps and the tank, then switch it on where it hangs", n.cfg.ID)
}

func (t *turn) supplyConditions(n *nodeState, add adder) {
	if n.cfg.Style != Supply || !t.linkUp {
		return
	}
	cut := t.supplyIsCut(n)
	switch {
	case cut && n.supply.seen && n.supply.on && t.now.Mono-n.supply.since > supplyStays:
		add("supply-stays-"+n.cfg.ID, Critical, "supply relay %s does not go off: cut the power of the pumps by hand", n.cfg.ID)
	case !cut && n.up && n.supply.seen && !n.supply.on:
		add("supply-off-"+n.cfg.ID, Warning, "%s; its channels do not run", n.supplyText())
	}
}

// askCut opens a supply relay because somebody wants it open: to try it, or because something looks wrong.
func (t *turn) askCut(q Request) reply {
	n := t.node(q.What)
	if n == nil || n.cfg.Style != Supply {
		return *unknownName("supply relay", q.What, t.supplies())
	}
	if t.supplyIsCut(n) {
		return reply{code: safety.NothingToDo, text: fmt.Sprintf("supply relay %s is open already; clear it, then switch it on where it hangs", n.cfg.ID)}
	}
	reason := "somebody opened it"
	if q.Reason != "" {
		reason += ": " + q.Reason
	}
	t.openSupply(n, reason+"; clear this, then switch the supply relay on where it hangs")
	return done(fmt.Sprintf("supply relay %s is told to go off; nothing runs behind it until it is cleared and switched on by hand", n.cfg.ID), nil)
}

// staysOn says whether an output is seen on although its time is over.
func (t *turn) staysOn(c *channelState) bool {
	r := c.open
	if r == nil || !r.started || t.node(r.Node).cfg.Style != Switch {
		return false
	}
	return t.clock.Now() >= t.expectedEnd(r)+elapsed(stuckAfter)
}

// clearSupply ends the lockout of a supply relay. What makes it necessary is looked at again at once.
func (t *turn) clearSupply(n *nodeState, q Request) reply {
	if !t.supplyIsCut(n) {
		return reply{code: safety.NothingToDo, text: fmt.Sprintf("supply relay %s was not opened from here", n.cfg.ID)}
	}
	for i := range t.channels {
		if c := &t.channels[i]; c.cfg.Supply == n.cfg.ID && t.staysOn(c) {
			return *no(safety.Fault, "output %d of node %s is still seen on; cut its power, until it is seen off or the service has started anew", c.cfg.Output, c.cfg.Node)
		}
	}
	t.record(Cleared{Scope: Scope{Supply: n.cfg.ID}, Code: safety.SupplyCut}, q.By)
	return done(fmt.Sprintf("cleared for supply relay %s; switch it on where it hangs, which is never done from here", n.cfg.ID), nil)
}

func (s *State) supplies() []string {
	var names []string
	for i := range s.nodes {
		if s.nodes[i].cfg.Style == Supply {
			names = append(names, s.nodes[i].cfg.ID)
		}
	}
	return names
}
