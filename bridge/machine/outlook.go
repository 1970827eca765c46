package machine

import (
	"math"
	"slices"
	"time"

	"aliquot/planner"
	"aliquot/planner/advice"
	"aliquot/safety"
)

// Outlook is what lies ahead of a site for as long as nobody does anything to it: what containers last, and what falls due.
// It goes on with the volumes that are planned today; it is no simulation of the tank.
type Outlook struct {
	At         time.Time        `json:"at"`
	Containers []ContainerAhead `json:"containers"`
	Quantities []QuantityAhead  `json:"quantities"`
	Channels   []ChannelAhead   `json:"channels"`
	Proofs     []ProofAhead     `json:"proofs"`
}

// ContainerAhead is how long a container lasts. Times are null where nothing is planned from it, or where nobody has said yet
// what it holds.
type ContainerAhead struct {
	ID         string   `json:"container"`
	Supplement string   `json:"supplement"`
	Cautions   []string `json:"cautions"`
	Known      bool     `json:"known"` // somebody has said what it holds
	CapacityML float64  `json:"capacity_ml"`
	StopML     float64  `json:"stop_ml"`
	LeastML    float64  `json:"remaining_min_ml"`
	MostML     float64  `json:"remaining_max_ml"`
	// PlanPerDayML is taken by the plan, HighPerDayML if as much is used as may be (the upper end of 90 %), and
	// CapPerDayML never exceeded whatever tests say.
	PlanPerDayML float64 `json:"plan_ml_per_day"`
	HighPerDayML float64 `json:"high_ml_per_day"`
	CapPerDayML  float64 `json:"cap_ml_per_day"`
	// Empty is when it comes to its stop by the plan and the least that it can hold.
	DaysLeft      *float64   `json:"days_left"`
	Empty         *time.Time `json:"empty"`
	EmptyEarliest *time.Time `json:"empty_earliest"` // the least that it can hold, the most that may be used
	EmptyLatest   *time.Time `json:"empty_latest"`   // the most that it can hold, by the plan
	// EmptyAtCaps: no sooner than this, whatever is planned. A cap holds in any 24 h, so that two may meet within a moment.
	EmptyAtCaps *time.Time `json:"empty_at_caps"`

	at         time.Time // from which the days of the draws count
	plan, high []draw    // by channel; nil: as much every day
}

// Takes is what is taken between two moments, mL: by the plan, and if as much is used as may be. What a course takes ends
// with it.
func (k *ContainerAhead) Takes(from, to time.Time) (plan, high float64) {
	since := func(t time.Time) float64 { return t.Sub(k.at).Hours() / 24 }
	sum := func(list []draw, perDay float64) (ml float64) {
		if list == nil {
			return perDay * max(0, to.Sub(from).Hours()/24)
		}
		for _, d := range list {
			if days := min(since(to), d.end) - max(since(from), d.begin); days > 0 {
				ml += days * d.perDay
			}
		}
		return ml
	}
	return sum(k.plan, k.PlanPerDayML), sum(k.high, k.HighPerDayML)
}

// Lasts is until when so many mL last from a moment on, if as much is used as may be; false if they last for years.
func (k *ContainerAhead) Lasts(from time.Time, ml float64) (time.Time, bool) {
	begin := from.Sub(k.at).Hours() / 24
	list := []draw{{k.HighPerDayML, 0, math.Inf(1)}}
	if k.high != nil {
		list = slices.Clone(k.high)
		for i := range list {
			list[i].begin, list[i].end = max(0, list[i].begin-begin), list[i].end-begin
		}
	}
	n := daysFor(ml, list)
	if !(n < aheadMost) {
		return time.Time{}, false
	}
	return from.Add(days(n)), true
}

// QuantityAhead is when the tests of a quantity grow old. Null: not watched, or never tested.
type QuantityAhead struct {
	System     string        `json:"system"`
	Quantity   string        `json:"quantity"`
	LastTest   *time.Time    `json:"last_test"`
	Due        *time.Time    `json:"test_due"`
	Stale      *time.Time    `json:"stale"`   // from then on nothing is corrected by it
	Ancient    *time.Time    `json:"ancient"` // from then on the volume does not rise
	Followed   []string      `json:"followed"`
	StaleAfter time.Duration `json:"-"` // 0: never
}

// ChannelAhead is when what a channel rests on grows old.
type ChannelAhead struct {
	ID             string     `json:"channel"`
	PlannedML      float64    `json:"planned_ml_per_day"`
	CalibrationOld *time.Time `json:"calibration_old"`
	TubingWorn     *time.Time `json:"tubing_worn"`
	Follows        bool       `json:"follows"`
	// CourseBegins and CourseEnds are when a course does by its days and the plan; left out where none is declared, or it did.
	CourseBegins *time.Time `json:"course_begins,omitempty"`
	CourseEnds   *time.Time `json:"course_ends,omitempty"`
	// Blocked is why it would not run now, as far as rows tell.
	Blocked []WithheldView `json:"blocked"`
}

// ProofAhead is when the proof that a relay goes off by itself is no longer believed; null: there is none.
type ProofAhead struct {
	Node    string     `json:"node"`
	Expires *time.Time `json:"expires"`
}

// Ahead looks ahead from a moment, which must not lie before the last row. The state is not changed.
func Ahead(folded *State, at time.Time) Outlook {
	s := folded.copyForPreview(at)
	s.measureRuns()
	in := s.planInput(at)
	days := s.dayVolumes(in)
	more := advice.More(in, days)
	s.setDays(days)
	for i := range s.channels {
		s.channels[i].more = more[i]
	}
	o := Outlook{At: at.UTC(), Containers: []ContainerAhead{}, Quantities: []QuantityAhead{}, Channels: []ChannelAhead{}, Proofs: []ProofAhead{}}
	for i := range s.contents {
		o.Containers = append(o.Containers, s.containerAhead(&s.contents[i], at))
	}
	for i := range s.systems {
		for _, g := range s.systems[i].cfg.Targets {
			o.Quantities = append(o.Quantities, s.quantityAhead(&s.systems[i], g))
		}
	}
	for i := range s.channels {
		o.Channels = append(o.Channels, s.channelAhead(&s.channels[i], at))
	}
	for i := range s.nodes {
		n := &s.nodes[i]
		if n.cfg.AutoOff <= 0 {
			continue
		}
		p := ProofAhead{Node: n.cfg.ID}
		if n.proof != nil && n.proof.fingerprint == n.cfg.Fingerprint {
			p.Expires = maybeTime(n.proof.at.Add(safety.ProofAge).UTC())
		}
		o.Proofs = append(o.Proofs, p)
	}
	return o
}

func (s *State) containerAhead(k *containerState, at time.Time) ContainerAhead {
	v := ContainerAhead{ID: k.cfg.ID, Supplement: k.supplement, Cautions: []string{}, Known: k.max > 0, CapacityML: k.cfg.Capacity.Millilitres(),
		StopML: k.cfg.Stop.Millilitres(), LeastML: max(0, k.min).Millilitres(), MostML: max(0, k.max).Millilitres()}
	for i := range s.site.Supplements {
		if p := &s.site.Supplements[i]; p.ID == k.supplement {
			v.Cautions = append(v.Cautions, p.Cautions...)
		}
	}
	for _, i := range s.index.from[k.cfg.ID] {
		c := &s.channels[i]
		v.PlanPerDayML += c.day.PerDay.Millilitres()
		v.HighPerDayML += (c.day.PerDay + c.more).Millilitres()
		v.CapPerDayML += c.cfg.Limits.PerDay.Millilitres()
	}
	if !v.Known {
		return v
	}
	v.DaysLeft = s.daysLeft(k)
	v.at = at
	v.plan = s.draws(k, func(c *channelState) safety.Microlitres { return c.day.PerDay })
	v.high = s.draws(k, func(c *channelState) safety.Microlitres { return c.day.PerDay + c.more })
	v.Empty, v.EmptyLatest = runsOut(at, v.LeastML-v.StopML, v.plan), runsOut(at, v.MostML-v.StopML, v.plan)
	v.EmptyEarliest = runsOut(at, v.LeastML-v.StopML, v.high)
	v.EmptyAtCaps = runsOut(at, v.LeastML-v.StopML-v.CapPerDayML, s.draws(k, func(c *channelState) safety.Microlitres { return c.cfg.Limits.PerDay }))
	return v
}

// aheadMost is how far anything is looked ahead: a date in years says nothing.
const aheadMost = 3650 // days

// runsOut is when so many mL are used up; nil if they never are, or in many years only.
func runsOut(at time.Time, ml float64, draws []draw) *time.Time {
	days := daysFor(ml, draws)
	if !(days < aheadMost) {
		return nil
	}
	return maybeTime(at.Add(time.Duration(days * float64(24*time.Hour))).UTC().Truncate(time.Minute))
}

func (s *State) quantityAhead(y *systemState, g planner.Target) QuantityAhead {
	v := QuantityAhead{System: y.cfg.ID, Quantity: string(g.Quantity), Followed: []string{}, StaleAfter: g.Test.StaleAfter}
	for _, i := range s.index.into[y.cfg.ID] {
		if c := &s.channels[i]; c.follows() && c.cfg.Quantity == g.Quantity {
			v.Followed = append(v.Followed, c.cfg.ID)
		}
	}
	last, _ := y.filter.Tested(g.Quantity)
	if last.IsZero() {
		return v
	}
	v.LastTest = maybeTime(last)
	if d := g.Test.DueEvery; d > 0 {
		v.Due = maybeTime(last.Add(d).UTC())
	}
	if d := g.Test.StaleAfter; d > 0 {
		v.Stale, v.Ancient = maybeTime(last.Add(d).UTC()), maybeTime(last.Add(2*d).UTC())
	}
	return v
}

func (s *State) channelAhead(c *channelState, at time.Time) ChannelAhead {
	v := ChannelAhead{ID: c.cfg.ID, PlannedML: c.day.PerDay.Millilitres(), Follows: c.follows(), Blocked: []WithheldView{}}
	for _, b := range s.previewBlocks(c) {
		v.Blocked = append(v.Blocked, WithheldView{c.cfg.ID, b.Code, b.Text})
	}
	if c.cfg.Course.Declared() && !s.courseOver(c) {
		d := s.drawOf(c, c.day.PerDay)
		if d.begin > 0 {
			v.CourseBegins = maybeTime(at.Add(days(d.begin)).UTC().Round(time.Minute))
		}
		if d.end < aheadMost {
			v.CourseEnds = maybeTime(at.Add(days(d.end)).UTC().Round(time.Minute))
		}
	}
	if c.rate > 0 && !c.calibratedAt.IsZero() {
		_, ran := c.calibrationAge(at)
		old := c.calibratedAt.Add(calibrationDays)
		if worn := s.ranThrough(c, at, calibrationHours-ran); worn != nil && worn.Before(old) {
			old = *worn
		}
		v.CalibrationOld = maybeTime(old.UTC())
	}
	if life := c.cfg.Line.TubingLife; life > 0 {
		v.TubingWorn = s.ranThrough(c, at, life-c.ranFor.Duration())
	}
	return v
}

// ranThrough is when the pump has run for so much longer by the plan.
func (s *State) ranThrough(c *channelState, at time.Time, left time.Duration) *time.Time {
	if c.rate <= 0 {
		return nil
	}
	return runsOut(at, left.Minutes()*c.rate.MillilitresPerMinute(), []draw{s.drawOf(c, c.day.PerDay)})
}
