package machine

import (
	"fmt"
	"sort"
	"time"

	"aliquot/planner"
	"aliquot/safety"
)

// PlanView is the answer of `aliquot plan`: what is believed, and the runs that are intended within the horizon.
type PlanView struct {
	At        time.Time      `json:"at"`
	HorizonH  int            `json:"horizon_h"`
	Estimates []EstimateView `json:"estimates"`
	Runs      []IntendedRun  `json:"runs"`
	Withheld  []WithheldView `json:"withheld"`
	Notes     []string       `json:"notes"`
}

// EstimateView is what is believed of one quantity. Level and use are null before the first test.
type EstimateView struct {
	System            string   `json:"system"`
	Quantity          string   `json:"quantity"`
	Unit              string   `json:"unit"`
	Level             *float64 `json:"level"`
	LevelSD           *float64 `json:"level_sd"`
	ConsumptionPerDay *float64 `json:"consumption_per_day"`
	ConsumptionSD     *float64 `json:"consumption_sd"`
	TestsUsed         int      `json:"tests_used"`
	TestsSetAside     int      `json:"tests_set_aside"`
}

// IntendedRun is one run of a plan.
type IntendedRun struct {
	Channel  string    `json:"channel"`
	At       time.Time `json:"at"`
	VolumeML float64   `json:"volume_ml"`
	Seconds  float64   `json:"seconds"`
}

// WithheldView says why a channel, or some of its runs, are not in the plan.
type WithheldView struct {
	Channel string      `json:"channel"`
	Code    safety.Code `json:"code"`
	Text    string      `json:"text"`
}

const horizon = 24 * time.Hour

// Preview plans from a moment on, with every live condition assumed good: node, link, clock, owner, self-stop
// proof and disk. Interlocks count only where the history has a fresh enough reading. Runs are tried one after
// the other at the gate, as the daemon would, each taken to end as planned. The state is not changed.
func Preview(folded *State, at time.Time) PlanView {
	s := folded.copyForPreview(at)
	v := PlanView{At: at.UTC(), HorizonH: int(horizon.Hours()), Estimates: s.estimateViews(at), Runs: []IntendedRun{}, Withheld: []WithheldView{},
		Notes: []string{"node, link, clock, owner, self-stop proof, acceptance of the configuration and disk are assumed good"}}
	for i := range s.site.Interlocks {
		if note := s.previewInterlock(i); note != "" {
			v.Notes = append(v.Notes, note)
		}
	}
	s.measureRuns()
	v.Notes = append(v.Notes, s.chemistryNotes(at)...)
	in := s.planInput(at)
	v.Notes = append(v.Notes, s.adviceNotes(in)...)
	plan := planner.Plan(in)
	for _, w := range plan.Withheld {
		v.Withheld = append(v.Withheld, WithheldView(w))
	}
	v.Notes = append(v.Notes, plan.Notes...)
	held := map[WithheldView]bool{}
	for _, w := range v.Withheld {
		held[WithheldView{Channel: w.Channel, Code: w.Code}] = true
	}
	withhold := func(w WithheldView) {
		key := WithheldView{Channel: w.Channel, Code: w.Code}
		if !held[key] {
			held[key] = true
			v.Withheld = append(v.Withheld, w)
		}
	}
	for i := range s.channels {
		for _, b := range s.previewBlocks(&s.channels[i]) {
			withhold(WithheldView{s.channels[i].cfg.ID, b.Code, b.Text})
		}
	}
	for _, run := range s.admit(plan, withhold) {
		v.Runs = append(v.Runs, IntendedRun{Channel: run.Channel, At: run.Slot.At.UTC(), VolumeML: run.Volume.Millilitres(), Seconds: run.Duration.Seconds()})
	}
	return v
}

// copyForPreview copies what Preview changes.
func (s *State) copyForPreview(at time.Time) *State {
	p := *s
	p.preview = true
	p.channels = append([]channelState(nil), s.channels...)
	p.contents = append([]containerState(nil), s.contents...)
	p.locks = append([]safety.Interlock(nil), s.locks...)
	p.moveTo(at)
	return &p
}

// moveTo sets the clock of a preview. The axis of a history is its own wall time.
func (s *State) moveTo(at time.Time) {
	ms := safety.Elapsed(at.UnixMilli())
	s.now = safety.Instant{Wall: at, Synced: true}
	s.clock = safety.NewClock(safety.TrustDeclared, ms, at, ms).Advance(s.now)
}

// Estimates is what is believed of every quantity that has a target at a moment, which must not lie before the last
// row. The state is not changed.
func Estimates(s *State, at time.Time) []EstimateView { return s.estimateViews(at) }

func (s *State) estimateViews(at time.Time) []EstimateView {
	out := []EstimateView{}
	for i := range s.systems {
		y := &s.systems[i]
		for _, e := range y.estimates(nil, at) {
			v := EstimateView{System: y.cfg.ID, Quantity: string(e.Quantity), Unit: e.Quantity.Unit(), TestsUsed: e.TestsUsed, TestsSetAside: e.TestsSetAside}
			if e.Known {
				level := e.LevelNow()
				v.Level, v.LevelSD, v.ConsumptionPerDay, v.ConsumptionSD = &level, &e.LevelSD, &e.Consumption, &e.ConsumptionSD
			}
			out = append(out, v)
		}
	}
	return out
}

// previewInterlock judges an interlock by the newest reading of the history, and says so if there is none.
func (s *State) previewInterlock(i int) string {
	l := s.site.Interlocks[i]
	p := s.probe(l.Probe)
	r := s.reading(p)
	if !r.Good {
		return fmt.Sprintf("interlock %s is not judged: no reading of probe %s fresher than %s", l.Name, l.Probe, p.cfg.StaleAfter)
	}
	rule := l.Rule
	rule.WhenFor, rule.UntilFor = 0, 0
	s.locks[i] = s.locks[i].Look(rule, s.clock.Now(), r)
	return ""
}

// previewBlocks lists why a channel would not run at all, as far as a history can tell.
func (s *State) previewBlocks(c *channelState) []safety.Block {
	var out []safety.Block
	if code := s.unplanned(c); code == safety.NoTest && !c.returnedAt.IsZero() {
		out = append(out, safety.Block{Code: code, Text: "it came back into service and waits for a test"})
	}
	for _, b := range safety.Blocks(s.askSmallest(c), s.facts(c)) {
		switch b.Code {
		case safety.ChannelBusy, safety.RestTime, safety.KeptApart, safety.BelowSmallestRun, safety.DayCap, safety.QuantityCap:
			continue
		case safety.CourseNotBegun, safety.CourseOver: // of a plan's day some may belong to the course
			continue
		}
		if b.Until == 0 {
			out = append(out, b)
		}
	}
	return out
}

// admit takes the runs of a plan through the gate in the order of their times.
func (s *State) admit(plan planner.Output, withhold func(WithheldView)) []planner.Run {
	runs := append([]planner.Run(nil), plan.Runs...)
	sort.SliceStable(runs, func(i, j int) bool { return runs[i].Slot.At.Before(runs[j].Slot.At) })
	var out []planner.Run
	for n, run := range runs {
		c := s.channel(run.Channel)
		if code := s.unplanned(c); code == safety.NoTest && !c.returnedAt.IsZero() {
			continue
		}
		s.moveTo(run.Slot.At)
		w := wanted{purpose: Dose, into: IntoTank, volume: run.Volume, duration: run.Duration, rate: c.rate}
		w.longest, w.worst = s.worstCase(c, w.duration, w.volume, w.rate)
		v := safety.Permit(w.ask(c), s.facts(c))
		if !v.Allowed {
			withhold(WithheldView{run.Channel, v.Code, v.Text})
			continue
		}
		s.pretend(c, w, fmt.Sprintf("planned-%d", n))
		out = append(out, run)
	}
	return out
}

// pretend books a planned run as if it had ended as planned.
func (s *State) pretend(c *channelState, w wanted, id string) {
	now := s.clock.Now()
	commanded := w.ask(c).Commanded
	booking := safety.NewBooking(id, false, now, w.longest, commanded)
	hi, lo := safety.Account(commanded, safety.Finished, nil)
	c.book = c.book.Add(now, booking.Close(now+safety.Elapsed(w.duration), safety.Finished, hi, lo))
	s.container(c.cfg.Container).min -= hi
	c.courseHi += hi
	c.activeAt = s.now.Wall
}
