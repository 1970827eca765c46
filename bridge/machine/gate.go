package machine

import (
	"fmt"
	"time"

	"aliquot/safety"
)

// facts gathers all that a verdict on a channel rests on.
func (s *State) facts(c *channelState) safety.Facts {
	n := s.node(c.cfg.Node)
	k := s.container(c.cfg.Container)
	now := s.clock.Now()
	f := safety.Facts{
		Now:          now,
		LinkUp:       s.linkUp || s.preview,
		LedgerGood:   s.ledgerBad == "",
		ClockTrusted: s.clock.Trusted(),
		ClockText:    s.clock.Distrust(),
		OwnerSure:    s.owner.sure || s.preview,
		OwnerText:    s.ownerText(),
		NodeUp:       n.up || s.preview,
		NodeName:     n.cfg.ID,
		Calibrated:   c.rate > 0,
		Primed:       c.primed && !s.idle(c),
		NeedsProof:   n.cfg.AutoOff > 0,
		RunsApart:    n.cfg.Style == BoundedRun,
		Proven:       s.proven(n) || s.preview,
		Standing:     s.standingBlocks(c),
		Limits:       c.cfg.Limits,
		TankHi:       s.mayHaveMoved(c, false),
		VesselHi:     s.mayHaveMoved(c, true),
		Course:       c.cfg.Course,
		Today:        safety.LocalDay(s.clock.Wall(), s.site.Zone),
		CourseHi:     s.courseHi(c),
		RemainingMin: k.leastLeft() - s.overrunsFrom(k),
		EmptyAt:      k.cfg.Stop,
	}
	if k.halved(now) {
		f.Limits.PerDay /= 2
	}
	f.LatestEnd, f.Open = c.book.LatestEnd()
	f.Neighbours = s.neighbours(c)
	f.Quantities = s.quantityUse(c)
	return f
}

// idle says whether the channel has stood still for so long that its line counts as drained.
func (s *State) idle(c *channelState) bool {
	limit := max(safety.IdleMax, c.longestGap*3/2)
	return !c.activeAt.IsZero() && s.clock.Trusted() && s.clock.Wall().Sub(c.activeAt) > limit
}

func (s *State) proven(n *nodeState) bool {
	return n.proof != nil && n.proof.fingerprint == n.cfg.Fingerprint && s.clock.Wall().Sub(n.proof.at) <= safety.ProofAge
}

// standingBlocks lists what blocks a channel whatever run is asked for.
func (s *State) standingBlocks(c *channelState) []safety.Block {
	var out []safety.Block
	if s.stopping {
		out = append(out, safety.Block{Code: safety.Stopping, Text: "the service is stopping"})
	}
	for _, i := range s.stands.over(c) {
		if k := &s.standing[i]; k.covers(c) {
			out = append(out, safety.Block{Code: k.code, Text: k.text})
		}
	}
	for _, i := range s.held.over(c) {
		if h := &s.holds[i]; h.Scope.covers(c) && h.ends > s.clock.Now() {
			out = append(out, safety.Block{Code: safety.OnHold, Text: fmt.Sprintf("hold: %s, until %s", h.Reason, s.local(h.Until)), Until: h.ends})
		}
	}
	if n := s.node(c.cfg.Node); len(n.retained) > 0 {
		out = append(out, safety.Block{Code: safety.RetainedCommand, Text: fmt.Sprintf("a retained command lies on a command topic of node %s; it is being removed", n.cfg.ID)})
	}
	if b, blocked := s.supplyBlock(c); blocked {
		out = append(out, b)
	}
	out = append(out, s.interlockBlocks(c)...)
	if k := s.container(c.cfg.Container); k.supplement != k.cfg.Supplement {
		if c.follows() && s.strength(c)[c.cfg.Quantity] == 0 {
			out = append(out, safety.Block{Code: safety.ContainerMismatch, Text: fmt.Sprintf("container %s holds %s, which has no %s", k.cfg.ID, k.supplement, c.cfg.Quantity)})
		}
	}
	return out
}

func (s *State) interlockBlocks(c *channelState) []safety.Block {
	var out []safety.Block
	for _, i := range s.index.blocks[c.cfg.ID] {
		l := &s.site.Interlocks[i]
		blocked, noData := s.locks[i].Blocks(l.Rule)
		if !blocked || (noData && s.preview) {
			continue
		}
		text := fmt.Sprintf("interlock %s: its condition on probe %s holds", l.Name, l.Probe)
		if noData {
			text = fmt.Sprintf("interlock %s: probe %s has no good reading (%s)", l.Name, l.Probe, s.probe(l.Probe).whyNot())
		} else if l.Rule.Latch {
			text += "; it stays until somebody clears it"
		}
		out = append(out, safety.Block{Code: safety.InterlockActive, Text: text})
	}
	return out
}

func (c Scope) covers(k *channelState) bool {
	return c.Interlock == "" && (c.Supply == "" || c.Supply == k.cfg.Supply) && (c.Channel == "" || c.Channel == k.cfg.ID) && (c.System == "" || c.System == k.cfg.System)
}

func (s *State) neighbours(c *channelState) []safety.Neighbour {
	var out []safety.Neighbour
	for _, g := range s.index.apart[c.cfg.ID] {
		a := &s.site.KeepApart[g]
		for _, id := range a.Channels {
			if other := s.channel(id); other != nil && id != c.cfg.ID {
				at, open := other.book.LatestEnd()
				out = append(out, safety.Neighbour{Channel: id, Open: open, LatestEnd: at, Gap: a.Gap})
			}
		}
	}
	return out
}

// quantityUse sums, for every capped quantity of the channel's system, what all channels together may have done.
func (s *State) quantityUse(c *channelState) []safety.QuantityUse {
	y := s.system(c.cfg.System)
	var out []safety.QuantityUse
	for _, t := range y.cfg.Targets {
		per := s.strength(c)[t.Quantity] / y.cfg.NetLitres
		if t.MaxDose <= 0 || per == 0 {
			continue
		}
		use := safety.QuantityUse{Name: string(t.Quantity), Unit: t.Quantity.Unit(), PerMillilitre: per, Cap: t.MaxDose}
		for _, i := range s.index.into[c.cfg.System] {
			o := &s.channels[i]
			use.Used += s.mayHaveMoved(o, false).Millilitres() * s.strength(o)[t.Quantity] / y.cfg.NetLitres
		}
		out = append(out, use)
	}
	return out
}

func (s *State) local(t time.Time) string { return t.In(s.site.Zone).Format("2006-01-02 15:04") }

func contains(list []string, v string) bool {
	for _, x := range list {
		if x == v {
			return true
		}
	}
	return false
}
