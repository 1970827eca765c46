package machine

import (
	"time"

	"aliquot/planner"
	"aliquot/planner/estimate"
	"aliquot/safety"
)

// planInput gathers what a plan at a moment depends on.
func (s *State) planInput(at time.Time) planner.Input { return s.fillInput(planner.Input{}, at) }

// fillInput is planInput in the memory of an input that nobody needs any more.
func (s *State) fillInput(in planner.Input, at time.Time) planner.Input {
	in.At, in.Horizon = at, 24*time.Hour
	if in.Systems == nil {
		in.Systems = make([]planner.SystemState, len(s.systems))
		in.Channels = make([]planner.ChannelState, len(s.channels))
	}
	for i := range s.systems {
		y := &s.systems[i]
		in.Systems[i].System = *y.cfg
		in.Systems[i].Estimates = y.estimates(in.Systems[i].Estimates[:0], at)
	}
	for i := range s.channels {
		in.Channels[i] = s.planChannel(&s.channels[i], at)
	}
	return in
}

// estimates appends those of all targets to out.
func (y *systemState) estimates(out []estimate.Estimate, at time.Time) []estimate.Estimate {
	for _, t := range y.cfg.Targets {
		out = append(out, y.filter.At(at, t.Quantity))
	}
	return out
}

func (s *State) planChannel(c *channelState, at time.Time) planner.ChannelState {
	p := planner.ChannelState{Channel: c.cfg.Channel, Rate: c.rate, Offset: c.offset, RunsOn: c.runsOn, CarryNL: c.carryNL, Reference: c.dayReference(at), InForce: c.inForce,
		ServedThrough: c.served, Peak: c.peak, Ceiling: c.ceiling(at)}
	p.DoubtCeiling, p.CourseHi = s.doubtCeiling(c), s.courseHi(c)
	p.Strength, p.Tolerance = s.strength(c), c.tolerance
	if inside := s.inside(c); inside != nil {
		p.Limewater = inside.Limewater
	}
	// A planned run is bounded by its volume, by its time and by its pH step, whichever is least.
	p.PerRun = min(p.PerRun, max(0, safety.Microlitres(int64(c.rate)*int64(c.cfg.Limits.RunTime)/1e6)+c.offset))
	if n := s.node(c.cfg.Node); n != nil && n.cfg.AutoOff > 0 && c.rate > 0 {
		_, p.Worst = s.worstCase(c, 1, 0, c.rate)
	}
	if g := c.gentlest(); g > 0 {
		p.PerRun = min(p.PerRun, max(g, p.SmallestRun))
	}
	if k := s.container(c.cfg.Container); k.halved(s.clock.Now()) {
		p.PerDay /= 2
	}
	return p
}

// refreshEvery is how old the daily volumes of a fold may be between tests and water changes.
const refreshEvery = 6 * time.Hour

// refreshDays works the daily volumes of a fold out anew: an imported history does not carry them.
func (s *State) refreshDays(at time.Time) {
	if !s.daysStale && at.Sub(s.daysAt) < refreshEvery {
		return
	}
	s.daysAt, s.daysStale = at, false
	s.scratch = s.fillInput(s.scratch, at)
	s.setDays(s.dayVolumes(s.scratch))
}

func (s *State) setDays(days []planner.Day) {
	for i := range days {
		s.channels[i].day = days[i]
	}
}

// tick recomputes the plan when its schedule says so, and whenever something happened that a plan rests on.
func (t *turn) tick() {
	if !t.clock.Trusted() {
		return
	}
	now := t.wall()
	if t.nextTick.IsZero() || !now.Before(t.nextTick) || t.daysStale || t.goodEnds(now) {
		t.plan(now)
	}
}

func (t *turn) plan(now time.Time) {
	stale := t.daysStale
	t.daysStale, t.daysAt = false, now
	t.lastPlan = now
	t.nextTick = nextLocal(t.site.Tick, t.site.Zone, now)
	in := t.planInput(now)
	days := t.dayVolumes(in)
	t.setDays(days)
	for i := range t.channels {
		t.channels[i].notePlanned(t.clock.Now(), t.channels[i].day.PerDay)
	}
	if age := now.Sub(t.advisedAt); stale || t.advisedAt.IsZero() || age < 0 || age >= adviceEvery {
		t.advise(in, days)
	}
}

// nextLocal evaluates a schedule on local wall time. Where an hour is missing or doubled a tick may come early or
// twice, which does no harm: it only looks again.
func nextLocal(schedule planner.Schedule, zone *time.Location, now time.Time) time.Time {
	slot, ok := planner.Calendar{Schedule: schedule, Zone: zone}.NextAfter(now)
	if !ok {
		return now.Add(time.Hour)
	}
	return slot.At
}

// servedAtOnce is how many rows a step may have written when it serves one more slot; the next step goes on. All channels of a
// farm are due in the same second, and a stop must not wait for all of them (INV-11).
const servedAtOnce = 128

// serveSlots starts the runs whose slots have come. A slot that the gate refuses is tried again until its grace
// ends, then dropped: nothing missed is caught up (INV-10).
func (t *turn) serveSlots() {
	t.moreSlots = false
	if !t.clock.Trusted() {
		t.slotsLost = true
		return
	}
	for i := range t.channels {
		if t.slotsLost {
			t.seek(&t.channels[i])
		}
		if len(t.rows) >= servedAtOnce {
			t.moreSlots = true
			continue
		}
		t.serve(&t.channels[i])
	}
	t.slotsLost = false
}

// seek finds a channel's next slot by a wall time that is believed: what the clock said before that says nothing of
// slots. Those beyond the longest grace are gone.
func (t *turn) seek(c *channelState) {
	c.due = nil
	c.served = later(c.served, t.wall().Add(-safety.GraceMax))
	c.next, c.hasNext = c.cfg.NextAfter(c.served)
}

func (t *turn) serve(c *channelState) {
	now := t.wall()
	for c.hasNext && !now.Before(c.next.At) {
		if c.due != nil {
			t.drop(c)
		}
		c.due = &dueSlot{slot: c.next, until: c.next.At.Add(safety.Grace(c.next.Interval))}
		c.next, c.hasNext = c.cfg.NextAfter(c.next.At)
	}
	switch d := c.due; {
	case d == nil:
	case !d.slot.At.After(c.served):
		c.due = nil // served before: the clock went back, or the row is older than this process
	case now.After(d.until):
		t.drop(c)
	default:
		t.tryServe(c, d)
	}
}

// drop lets a slot go. It counts as served, so that it never comes back.
func (t *turn) drop(c *channelState) {
	d := c.due
	c.due = nil
	c.served = later(c.served, d.slot.At)
	if d.counted == "" || d.counted == safety.SlotServed {
		return
	}
	t.log(Warn, "slot missed", "channel", c.cfg.ID, "slot", d.slot.Key, "code", string(d.counted))
}

func (t *turn) tryServe(c *channelState, d *dueSlot) {
	if code := t.unplanned(c); code != "" {
		t.withhold(c, d, safety.Block{Code: code, Text: t.unplannedText(c, code)})
		return
	}
	// The smallest run stands for whatever this slot will owe: what blocks it blocks all.
	if v := t.verdict(c, t.want(c, c.smallest())); !v.Allowed {
		t.withhold(c, d, v.Block)
		return
	}
	run, carry, ok := t.site.planner().RunAt(t.planChannel(c, t.wall()), c.day.PerDay, d.slot)
	if c.runRefused = ok && !c.sound(run); c.runRefused { // H-35
		run, ok = c.plainShare(d.slot)
		carry = c.carryNL
	}
	if !ok {
		if carry != c.carryNL {
			t.record(SlotCarried{Channel: c.cfg.ID, Slot: d.slot.Key, CarryNL: carry}, "")
		}
		c.due = nil
		c.served = later(c.served, d.slot.At)
		return
	}
	w := t.want(c, wanted{purpose: Dose, into: IntoTank, slot: d.slot.Key, volume: run.Volume, duration: run.Duration,
		rate: c.rate, carryNL: carry, dayVolume: c.day.PerDay})
	if _, v := t.start(c, w); !v.Allowed {
		t.withhold(c, d, v.Block)
		return
	}
	c.due = nil
	c.served = later(c.served, d.slot.At)
}

// smallest is the smallest run that the channel could be asked for.
func (c *channelState) smallest() wanted {
	rate := max(1, c.presentRate())
	v := max(1, c.cfg.Limits.SmallestRun, c.offset+1)
	return wanted{purpose: Dose, into: IntoTank, volume: v, duration: max(1, rate.TimeFor(v-c.offset)), rate: rate}
}

// unplanned says why the plan gives the channel nothing, or is empty.
func (s *State) unplanned(c *channelState) safety.Code {
	if c.follows() && !c.returnedAt.IsZero() && !s.testedSince(c, c.returnedAt) {
		return safety.NoTest
	}
	if c.day.PerDay == 0 && len(c.day.Why) > 0 {
		return c.day.Why[0]
	}
	return ""
}

func (s *State) testedSince(c *channelState, at time.Time) bool {
	accepted, _ := s.system(c.cfg.System).filter.Tested(c.cfg.Quantity)
	return accepted.After(at)
}

// withhold counts and tells a reason once per slot. A course that is over misses nothing: its slots are let go without a word.
func (t *turn) withhold(c *channelState, d *dueSlot, b safety.Block) {
	if offCourse(b.Code) {
		c.due, c.served = nil, later(c.served, d.slot.At)
		return
	}
	if d.counted == b.Code {
		return
	}
	d.counted = b.Code
	t.do(Count{Metric: MetricWithheld, Labels: [2]string{c.cfg.ID, string(b.Code)}},
		Happened{Kind: "run_withheld", At: t.wall(), Data: WithheldEvent{Channel: c.cfg.ID, Slot: d.slot.Key, Code: b.Code, Text: b.Text}})
	t.log(Debug, "run withheld", "channel", c.cfg.ID, "slot", d.slot.Key, "code", string(b.Code), "text", b.Text)
}

// WithheldEvent is the payload of the event `run_withheld`.
type WithheldEvent struct {
	Channel string      `json:"channel"`
	Slot    string      `json:"slot"` // local wall time
	Code    safety.Code `json:"code"`
	Text    string      `json:"text"`
}
