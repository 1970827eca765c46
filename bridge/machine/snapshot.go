package machine

import (
	"slices"
	"time"

	"aliquot/planner"
	"aliquot/safety"
)

// Snapshot shows the state as the outside may see it. It shares no memory with the state.
func Snapshot(s *State) SiteView {
	v := SiteView{At: s.clock.Wall().UTC(), Site: s.site.Name, Version: s.site.Version, NextTick: maybeTime(s.nextTick),
		LastPlan: maybeTime(s.lastPlan), LedgerRows: s.seq, Why: []BlockView{}, Systems: []SystemView{}, Quantities: []QuantityView{},
		Channels: []ChannelView{}, Containers: []ContainerView{}, Probes: []ProbeView{}, Nodes: []NodeView{}, Interlocks: []InterlockView{}, Alerts: []AlertView{}}
	v.HoldUntil = s.holdUntil(Scope{})
	v.Why = s.siteBlocks()
	v.Ready = len(v.Why) == 0
	for i := range s.systems {
		y := &s.systems[i]
		v.Systems = append(v.Systems, s.systemView(y))
		for j := range y.cfg.Targets {
			v.Quantities = append(v.Quantities, s.quantityView(y, j))
		}
	}
	for i := range s.channels {
		v.Channels = append(v.Channels, s.channelView(&s.channels[i]))
	}
	for i := range s.contents {
		v.Containers = append(v.Containers, s.containerView(&s.contents[i]))
	}
	for i := range s.probes {
		v.Probes = append(v.Probes, s.probeView(&s.probes[i]))
	}
	for i := range s.nodes {
		n := &s.nodes[i]
		nv := NodeView{ID: n.cfg.ID, Style: string(n.cfg.Style), Online: n.up, Needs: n.cfg.AutoOff > 0}
		if n.proof != nil && s.proven(n) {
			nv.Proven = maybeTime(n.proof.at)
		}
		if n.cfg.Style == Supply && n.supply.seen {
			on := n.supply.on
			nv.On = &on
		}
		v.Nodes = append(v.Nodes, nv)
	}
	for i, l := range s.site.Interlocks {
		blocked, noData := s.locks[i].Blocks(l.Rule)
		v.Interlocks = append(v.Interlocks, InterlockView{Name: l.Name, Active: blocked, NoData: noData})
	}
	for i, a := range s.alerts {
		if a.Raised {
			v.Alerts = append(v.Alerts, a.reminded(s.reminder(i).count))
		}
	}
	return v
}

// holdUntil is when the last hold on exactly this scope ends; nil if there is none.
func (s *State) holdUntil(scope Scope) *time.Time {
	var ends safety.Elapsed
	for _, i := range s.held.like(scope) {
		if h := &s.holds[i]; h.Scope == scope {
			ends = max(ends, h.ends)
		}
	}
	if ends <= s.clock.Now() {
		return nil
	}
	return maybeTime(s.clock.Wall().Add(time.Duration(ends-s.clock.Now()) * time.Millisecond).UTC())
}

// sinceMidnight is the local day's beginning on the axis of true time.
func (s *State) sinceMidnight() safety.Elapsed {
	now := s.clock.Wall().In(s.site.Zone)
	midnight := time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, s.site.Zone)
	return s.clock.Now() - safety.Elapsed(now.Sub(midnight)/time.Millisecond)
}

// siteBlocks lists what stands in the way of everything.
func (s *State) siteBlocks() []BlockView {
	out := []BlockView{}
	add := func(on bool, code safety.Code, text string) {
		if on {
			out = append(out, BlockView{Code: code, Text: text})
		}
	}
	add(s.ledgerBad != "", safety.LedgerFault, "the ledger cannot be written: "+s.ledgerBad)
	add(!s.linkUp, safety.LinkDown, "there is no connection to the broker")
	add(s.linkUp && !s.owner.sure, safety.SecondOwner, s.ownerText())
	add(!s.clock.Trusted(), safety.ClockUntrusted, s.clock.Distrust())
	add(s.stopping, safety.Stopping, "the service is stopping")
	for _, k := range s.standing {
		add(k.Scope == Scope{}, k.code, k.text)
	}
	return out
}

func (s *State) systemBlocks(y *systemState) []BlockView {
	out := []BlockView{}
	for _, i := range s.stands.like(Scope{System: y.cfg.ID}) {
		if k := &s.standing[i]; k.Scope.System == y.cfg.ID {
			out = append(out, BlockView{Code: k.code, Text: k.text})
		}
	}
	return out
}

func (s *State) quantityView(y *systemState, target int) QuantityView {
	g := y.cfg.Targets[target]
	e := y.filter.At(s.clock.Wall(), g.Quantity)
	v := QuantityView{System: y.cfg.ID, Quantity: string(g.Quantity), Unit: g.Quantity.Unit(), Target: g.Target, Band: g.Band,
		TestsUsed: e.TestsUsed, TestsSetAside: e.TestsSetAside}
	if e.Known {
		level := e.LevelNow()
		v.Level, v.LevelSD = &level, &e.LevelSD
		v.ConsumptionPerDay, v.ConsumptionSD = &e.Consumption, &e.ConsumptionSD
		hours := e.PendingOver.Hours()
		v.Pending, v.PendingHours = &e.Pending, &hours
		if !e.OffsetSeen.IsZero() {
			v.ProbeOffset, v.ProbeOffsetSD = &e.Offset, &e.OffsetSD
		}
		v.LastTest = maybeTime(e.LastAccepted)
		v.LastValue = &e.Last.Value
	}
	if e.Held != nil {
		value := e.Held.Value
		v.Unconfirmed = &value
	}
	v.advised(y, target, e, s.clock.Wall())
	return v
}

func (s *State) channelView(c *channelState) ChannelView {
	v := ChannelView{ID: c.cfg.ID, System: c.cfg.System, Container: c.cfg.Container, Node: c.cfg.Node, Supply: c.cfg.Supply,
		Running: c.open != nil, Calibrated: maybeTime(c.calibratedAt), Provisional: c.provisional, Primed: c.primed,
		PlannedMLPerDay: c.day.PerDay.Millilitres(), Window24hHiML: s.mayHaveMoved(c, false).Millilitres(),
		PerDayML: c.cfg.Limits.PerDay.Millilitres(), TotalHiML: c.totalHi.Millilitres(), TotalLoML: c.totalLo.Millilitres(),
		RunSeconds: c.ranFor.Seconds(), TubingLifeSeconds: c.tubingLife(), LastRun: maybeTime(c.lastRun), LastOutcome: string(c.lastOutcome)}
	if c.open != nil {
		v.Run = c.open.Run
	}
	if c.rate > 0 {
		rate := c.rate.MillilitresPerMinute()
		v.RateMLPerMin, v.OffsetML, v.Trials = &rate, c.offset.Millilitres(), len(c.trials)
		if v.Trials > 1 {
			cv := rounded(100 * c.cv)
			v.CVPercent = &cv
		}
	} else {
		v.Calibrated = nil
	}
	h := c.handover
	v.TrialsKept = h.trials
	v.PlacementChecked, v.TestRun, v.Commissioned = maybeTime(h.placed), maybeTime(h.tried), maybeTime(h.commissioned)
	v.Withheld = s.channelBlocks(c)
	v.LockedOut = slices.ContainsFunc(v.Withheld, func(b BlockView) bool { return b.Code.Lockout() })
	v.HoldUntil = s.holdUntil(Scope{Channel: c.cfg.ID})
	v.TodayML = c.book.Middle(s.sinceMidnight(), false).Millilitres()
	v.Next, v.Course = s.nextRun(c), s.courseView(c)
	if a := c.capAhead; a != nil {
		v.CapExpected, v.CapCode = maybeTime(a.At), a.Code
	}
	return v
}

// channelBlocks lists why the channel would not run now, whatever its next slot owes. What only orders runs among
// each other is left out.
func (s *State) channelBlocks(c *channelState) []BlockView {
	out := []BlockView{}
	over := s.courseOver(c)
	if code := s.unplanned(c); code != "" && !(offCourse(code) && c.cfg.Course.Declared()) {
		out = append(out, BlockView{Code: code, Text: s.unplannedText(c, code)})
	}
	for _, b := range safety.Blocks(s.askSmallest(c), s.facts(c)) {
		switch b.Code {
		case safety.ChannelBusy, safety.RestTime, safety.KeptApart, safety.BelowSmallestRun:
			continue
		case safety.NotPrimed, safety.NotCalibrated, safety.ContainerEmpty, safety.DayCap:
			if over { // nobody needs to see to what will not run again
				continue
			}
		}
		v := BlockView{Code: b.Code, Text: b.Text}
		if b.Until > 0 {
			// Whole seconds: the axis is one of milliseconds, and a moment that trembles would be published anew each time.
			v.Until = maybeTime(s.clock.Wall().Add(time.Duration(b.Until-s.clock.Now()) * time.Millisecond).UTC().Round(time.Second))
		}
		out = append(out, v)
	}
	return out
}

func (s *State) unplannedText(c *channelState, code safety.Code) string {
	switch code {
	case safety.NoTest:
		return "there is no test of " + string(c.cfg.Quantity) + " to plan from: enter one"
	case safety.AboveBand:
		return string(c.cfg.Quantity) + " is above its band; nothing is given until it has come down"
	case safety.Treatment:
		return "the system is in treatment; nothing is raised"
	case safety.CourseNotBegun, safety.CourseOver:
		return "it shares the volume of " + c.cfg.ShareOf + ", whose course has not begun or is over"
	}
	return "the plan gives nothing (" + string(code) + ")"
}

func (s *State) askSmallest(c *channelState) safety.Ask {
	w := c.smallest()
	w.longest, w.worst = s.worstCase(c, w.duration, w.volume, w.rate)
	w.worst = max(w.worst, w.commanded(c).WorstIn(w.longest))
	return w.ask(c)
}

func (s *State) nextRun(c *channelState) *PlannedRun {
	if !c.hasNext || c.rate == 0 || c.day.PerDay == 0 {
		return nil
	}
	slot := c.next
	if c.due != nil {
		slot = c.due.slot
	}
	run, _, ok := planner.RunAt(s.planChannel(c, s.clock.Wall()), c.day.PerDay, slot)
	if !ok {
		return nil
	}
	return &PlannedRun{At: slot.At, VolumeML: run.Volume.Millilitres(), Seconds: run.Duration.Seconds()}
}

func (s *State) containerView(k *containerState) ContainerView {
	v := ContainerView{ID: k.cfg.ID, Supplement: k.supplement, CapacityML: k.cfg.Capacity.Millilitres(), StopML: k.cfg.Stop.Millilitres(),
		RemainingMinML: max(0, k.min).Millilitres(), RemainingMaxML: max(0, k.max).Millilitres(), DaysLeft: s.daysLeft(k), DaysLeftLow: s.daysLeftLow(k),
		Low: s.low(k), Empty: k.leastLeft() <= k.cfg.Stop}
	k.levelView(&v)
	return v
}

func (s *State) low(k *containerState) bool {
	days := s.daysLeft(k)
	return days != nil && k.cfg.Warn > 0 && *days*24 < k.cfg.Warn.Hours()
}

func (s *State) probeView(p *probeState) ProbeView {
	v := ProbeView{ID: p.cfg.ID, Quantity: string(p.cfg.Quantity), Unit: p.cfg.Quantity.Unit(), Good: p.good && p.apart == "", Why: p.whyNot()}
	if p.seen {
		v.Seen = maybeTime(p.wall)
	}
	if p.good {
		value := p.value
		v.Value = &value
	}
	return v
}

// retryEvery is how often a slot that is withheld is tried again. Whatever happens meanwhile looks at it at once.
const retryEvery = 5 * time.Second

// NextWake is the monotonic time at which something is due; the shell wakes at it, and at least every 15 s.
func NextWake(s *State) time.Duration {
	const most = 15 * time.Second
	if s.moreSlots {
		return s.now.Mono
	}
	at := s.now.Mono + most
	// What lies in the past was looked at in the last step already: only what is to come is worth waking for.
	soon := func(d time.Duration) {
		if d > 0 {
			at = min(at, s.now.Mono+max(10*time.Millisecond, d))
		}
	}
	wallUntil := func(t time.Time) { soon(t.Sub(s.now.Wall)) }
	axisUntil := func(e safety.Elapsed) { soon(time.Duration(e-s.clock.Now()) * time.Millisecond) }
	if s.linkUp && !s.owner.sure && s.owner.foreign == "" {
		soon(500 * time.Millisecond)
	}
	if !s.nextTick.IsZero() {
		wallUntil(s.nextTick)
	}
	for i := range s.channels {
		c := &s.channels[i]
		switch {
		case c.due != nil:
			soon(retryEvery)
		case c.hasNext:
			wallUntil(c.next.At)
		}
		if c.offUntil > s.clock.Now() {
			soon(time.Second)
		}
		if r := c.open; r != nil {
			axisUntil(r.nextLook(s.node(r.Node).cfg.Style))
		}
	}
	for _, h := range s.holds {
		axisUntil(h.ends)
	}
	for i := range s.nodes {
		if due, ok := s.supplyDue(&s.nodes[i]); ok {
			soon(due - s.now.Mono)
		}
	}
	return at
}

// nextLook is when a run's silence means something.
func (r *openRun) nextLook(style Style) safety.Elapsed {
	switch {
	case !r.started:
		return r.elapsed + elapsed(safety.AckWait)
	case style == BoundedRun:
		return r.startedAt + safety.Elapsed(r.Duration) + elapsed(safety.StopWait)
	case r.offSent:
		return r.startedAt + safety.Elapsed(r.Duration) + elapsed(stuckAfter)
	case r.Purpose == Prove:
		return r.startedAt + safety.Elapsed(r.Longest) + elapsed(stuckAfter)
	}
	return r.startedAt + safety.Elapsed(r.Duration)
}
