package machine

import (
	"time"

	"aliquot/planner"
	"aliquot/planner/advice"
	"aliquot/planner/estimate"
	"aliquot/safety"
)

// adviceEvery is how old advice may be that nothing has happened to since: it is worked out with a plan, and not with each
// of them.
const adviceEvery = 6 * time.Hour

// Spans over which a consumption is compared with what it was.
const (
	weekAgo  = 7 * 24 * time.Hour
	monthAgo = 28 * 24 * time.Hour
)

// quantityAdvice is what was last worked out about a quantity. It is known live only and decides over nothing.
type quantityAdvice struct {
	next  advice.Next
	since time.Time // the accepted test that next counts from
	held  bool      // whether a test waited for a second one
	trend *advice.Trend
	about []advice.Advice
}

// AdviceView is one sentence for the keeper.
type AdviceView struct {
	Kind advice.Kind `json:"kind"`
	Text string      `json:"text"`
}

// logUse keeps what is believed of the use after an accepted test. It rests on rows alone and their order, so that a fold
// and a running machine agree; a test that came late is judged with everything after it.
func (s *State) logUse(y *systemState, test estimate.Test) {
	at := y.inputs[len(y.inputs)-1].at
	for i, g := range y.cfg.Targets {
		if g.Quantity != test.Quantity {
			continue
		}
		if e := y.filter.At(at, g.Quantity); e.Known && e.TestsUsed >= advice.TestsFirst {
			y.uses[i] = y.uses[i].Add(advice.Use{At: at, PerDay: e.Consumption, SD: e.ConsumptionSD}, s.site.Zone)
		}
	}
}

// trendOf is nil where too little is known.
func (y *systemState) trendOf(target int, at time.Time) *advice.Trend {
	t, ok := y.uses[target].Trend(at)
	if !ok {
		return nil
	}
	return &t
}

// advise works the advice out anew, beside the daily volumes that were just planned.
func (t *turn) advise(in planner.Input, planned []planner.Day) {
	t.advisedAt = in.At
	for i := range t.systems {
		y := &t.systems[i]
		before := y.advised
		y.advised = make([]quantityAdvice, len(y.cfg.Targets))
		own, days := t.inputOf(in, planned, i)
		for j, g := range y.cfg.Targets {
			a := &y.advised[j]
			a.trend = y.trendOf(j, in.At)
			a.about = advice.About(in.Systems[i].Estimates[j], a.trend)
			a.next = advice.NextTest(in.At, y.filter, g, advice.DosesOf(own, days, y.cfg.ID, g.Quantity))
			e := in.Systems[i].Estimates[j]
			a.since, a.held = e.LastAccepted, e.Held != nil
			if j < len(before) {
				a.keepDue(before[j], in.At)
			}
		}
	}
	more := advice.More(in, planned)
	for i := range t.channels {
		t.channels[i].more, t.channels[i].capAhead = more[i], nil
	}
	for _, c := range t.capsAhead(in) {
		t.channel(c.Channel).capAhead = &c
	}
}

// inputOf is the part of an input and of its plan that is of one system.
func (s *State) inputOf(in planner.Input, planned []planner.Day, system int) (planner.Input, []planner.Day) {
	own, days := in, []planner.Day(nil)
	own.Systems, own.Channels = in.Systems[system:system+1], nil
	for _, i := range s.index.into[s.systems[system].cfg.ID] {
		own.Channels, days = append(own.Channels, in.Channels[i]), append(days, planned[i])
	}
	return own, days
}

// keepDue lets a moment that has come stand until there is a test: what is overdue would else be due anew with each plan.
func (a *quantityAdvice) keepDue(was quantityAdvice, now time.Time) {
	if !was.next.At.IsZero() && !was.next.At.After(now) && was.since.Equal(a.since) && was.held == a.held {
		a.next.At = was.next.At
	}
}

// nextTest is when the next test of a quantity is due: the earlier of when it is worth most and what due_every asks for,
// and why. It is zero before the first test, and where nobody asks and no advice was worked out yet.
func (y *systemState) nextTest(target int) advice.Next {
	var next advice.Next
	if target < len(y.advised) {
		next = y.advised[target].next
	}
	g := y.cfg.Targets[target]
	accepted, _ := y.filter.Tested(g.Quantity)
	if every := g.Test.DueEvery; every > 0 && !accepted.IsZero() {
		if at := accepted.Add(every); next.At.IsZero() || at.Before(next.At) {
			next = advice.Next{At: at, Why: advice.DueEvery(every)}
		}
	}
	return next
}

// capsAhead finds the channels that run into a cap. A day on which caps count half says nothing of later ones.
func (s *State) capsAhead(in planner.Input) []advice.Cap {
	var headings []advice.Heading
	for i := range s.systems {
		y := &s.systems[i]
		for j, g := range y.cfg.Targets {
			if trend := y.trendOf(j, in.At); trend != nil {
				headings = append(headings, advice.Heading{System: y.cfg.ID, Quantity: g.Quantity, Trend: *trend})
			}
		}
	}
	in.Channels = append([]planner.ChannelState(nil), in.Channels...)
	for i := range in.Channels {
		in.Channels[i].PerDay = s.channels[i].cfg.PerDay
	}
	return advice.Caps(in, headings)
}

// adviceNotes says in a plan what asks somebody to do something.
func (s *State) adviceNotes(in planner.Input) []string {
	var out []string
	for i := range s.systems {
		y := &s.systems[i]
		for j, g := range y.cfg.Targets {
			for _, a := range advice.About(in.Systems[i].Estimates[j], nil) {
				if a.Urgent() {
					out = append(out, string(g.Quantity)+" of "+y.cfg.ID+": "+a.Text)
				}
			}
		}
	}
	for _, c := range s.capsAhead(in) {
		out = append(out, c.Text(s.site.Zone))
	}
	return out
}

// advised adds to a view what was worked out, and how the consumption was earlier.
func (v *QuantityView) advised(y *systemState, target int, e estimate.Estimate, at time.Time) {
	if e.Known {
		low, high := advice.Interval(e)
		v.ConsumptionLow, v.ConsumptionHigh, v.Gain, v.GainSD = &low, &high, &e.Gain, &e.GainSD
	}
	v.ConsumptionWeekAgo, v.ConsumptionMonthAgo = y.usedAgo(target, at, weekAgo), y.usedAgo(target, at, monthAgo)
	v.Advice = []AdviceView{}
	next := y.nextTest(target)
	v.NextTest, v.NextTestWhy = maybeTime(next.At), next.Why
	if every := y.cfg.Targets[target].Test.DueEvery; every > 0 && e.Known {
		v.TestDue = maybeTime(e.LastAccepted.Add(every))
	}
	if target >= len(y.advised) {
		return
	}
	a := &y.advised[target]
	if t := a.trend; t != nil {
		slope, low, high := t.PerDay, t.Low(), t.High()
		v.TrendPerDay, v.TrendLow, v.TrendHigh = &slope, &low, &high
	}
	for _, one := range a.about {
		v.Advice = append(v.Advice, AdviceView(one))
	}
}

func (y *systemState) usedAgo(target int, at time.Time, d time.Duration) *float64 {
	u, ok := y.uses[target].Ago(at, d)
	if !ok {
		return nil
	}
	return &u.PerDay
}

// daysLeftLow is daysLeft if as much is used as may be.
func (s *State) daysLeftLow(k *containerState) *float64 {
	return s.lasts(k, func(c *channelState) safety.Microlitres { return c.day.PerDay + c.more })
}
