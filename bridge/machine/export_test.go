package machine

import (
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"aliquot/planner"
	"aliquot/planner/estimate"
	"aliquot/planner/stock"
	"aliquot/planner/units"
	"aliquot/safety"
)

// Durable writes down everything in a state that comes from the ledger alone, one part a line, so that a live state
// and the fold of its rows can be compared. Live parts (links, nodes, probes, timers, the plan) are left out.
func Durable(s *State) string {
	var b strings.Builder
	say := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	say("seq %d epoch %d instance %s starts %v answers %d", s.seq, s.epoch, s.instance, s.starts, len(s.answers))
	say("trusted %s %d", s.trusted, s.trustedAt)
	say("standing %+v", s.standing)
	say("accepted %v bounds %v", s.accepted, s.bounds)
	for _, a := range s.alerts {
		say("alert %s %d", mustJSON(a), a.silentEnds)
	}
	for _, h := range s.holds {
		if h.ends > s.clock.Now() {
			say("hold %+v", h)
		}
	}
	for i := range s.channels {
		c := &s.channels[i]
		say("channel %s rate %d tol %d prov %v cal %v primed %v returned %v active %v", c.cfg.ID, c.rate, c.tolerance, c.provisional, c.calibratedAt, c.primed, c.returnedAt, c.activeAt)
		say("  handover %+v", c.handover)
		say("  carry %d volumes %v unknowns %v row %d", c.carryNL, c.volumes, c.unknowns, c.unknownRow)
		say("  ceiling %s", ceilingText(s, c))
		if c.inForce != nil {
			say("  in force %s", *c.inForce)
		}
		say("  total %d %d course %d ran %d last %v %s", c.totalHi, c.totalLo, c.courseHi, c.ranFor, c.lastRun, c.lastOutcome)
		say("  book %+v", c.book)
		if c.open != nil {
			say("  open %+v at %v %d", c.open.RunReserved, c.open.at, c.open.elapsed)
		}
	}
	for i := range s.contents {
		k := &s.contents[i]
		say("container %s %s %d..%d half %d", k.cfg.ID, k.supplement, k.min, k.max, k.halfUntil)
	}
	for i := range s.systems {
		y := &s.systems[i]
		say("system %s low %v inputs %d %s", y.cfg.ID, y.lowTests, len(y.inputs), mustJSON(y.filter.All(s.clock.Wall())))
		say("  uses %v", y.uses)
	}
	for i := range s.nodes {
		if p := s.nodes[i].proof; p != nil {
			say("proof %s %+v", s.nodes[i].cfg.ID, *p)
		}
	}
	for i := range s.locks {
		if s.site.Interlocks[i].Rule.Latch {
			say("latch %s %v", s.site.Interlocks[i].Name, s.locks[i].Active)
		}
	}
	return b.String()
}

// ceilingText says above what a followed volume may not rise now.
func ceilingText(s *State, c *channelState) string {
	if v := s.planChannel(c, s.clock.Wall()).Ceiling; v != nil {
		return v.String()
	}
	return "none"
}

func mustJSON(v any) string {
	b, err := json.Marshal(v)
	if err != nil {
		panic(err)
	}
	return string(b)
}

// SameMoment gives a folded state the clock of a live one, so that what depends on the present can be compared.
func SameMoment(folded, live State) State {
	folded.now, folded.clock = live.now, live.clock
	return folded
}

// Elapsed is the present place on the true time axis.
func Elapsed(s *State) safety.Elapsed { return s.clock.Now() }

// OneSystem is the part of the state that an estimator lives in, for comparing ways to feed it.
type OneSystem struct{ y systemState }

// NewOneSystem starts one.
func NewOneSystem(cfg *planner.System) *OneSystem {
	return &OneSystem{newSystemState(cfg, time.UTC, nil)}
}

// DoseAt and TestAt feed the estimator as rows would.
func (o *OneSystem) DoseAt(at time.Time, q units.Quantity, rise float64, over time.Duration) {
	o.y.add(input{at: at, kind: inputDose, rises: []estimate.Rise{{Quantity: q, Mean: rise, Lo: .95 * rise, Hi: 1.05 * rise, Over: over}}})
}

// TestAt gives the verdict on a test.
func (o *OneSystem) TestAt(at time.Time, q units.Quantity, v float64) estimate.Result {
	return o.y.add(input{at: at, kind: inputTest, said: &said{test: estimate.Test{At: at, Quantity: q, Value: v}}})
}

// Believes writes down what is believed at a moment.
func (o *OneSystem) Believes(at time.Time) string { return mustJSON(o.y.filter.All(at)) }

// Forgetful makes every input that comes out of order start from the base, without the shortcut.
func (o *OneSystem) Forgetful() { o.y.near, o.y.nearAt = nil, 0 }

// Ceiling is what a channel's daily volume may not rise above at a moment.
func Ceiling(s *State, channel string, at time.Time) string {
	if v := s.channel(channel).ceiling(at); v != nil {
		return v.String()
	}
	return "none"
}

// LargestPlanned is the largest planned run of a channel in a preview, LargestLive that of a running machine.
func LargestPlanned(s *State, channel string, at time.Time) safety.Microlitres {
	p := s.copyForPreview(at)
	p.measureRuns()
	return LargestLive(p, channel)
}

// LargestLive is the bound by which planned runs go now.
func LargestLive(s *State, channel string) safety.Microlitres {
	c := *s.channel(channel)
	c.rate = 1_000_000
	return s.planChannel(&c, s.clock.Wall()).PerRun
}

// Balanced is the part of the state that compares uses.
type Balanced struct{ y systemState }

// NewBalanced starts one.
func NewBalanced(cfg *planner.System) *Balanced { return &Balanced{newSystemState(cfg, time.UTC, nil)} }

// Judge takes uses with their sd and says whether an alert stands, and whether the uses cannot be true.
func (b *Balanced) Judge(ca, caSD, alk, alkSD float64) (raised, wrong bool) {
	b.y.judge(stock.Uses{Alkalinity: stock.Use{PerDay: alk, SD: alkSD}, Calcium: stock.Use{PerDay: ca, SD: caSD}})
	return b.y.unbalanced, b.y.balance.Wrong
}

// Believed is what is believed of a quantity of a system at a moment.
func Believed(s *State, system string, q units.Quantity, at time.Time) estimate.Estimate {
	return s.system(system).filter.At(at, q)
}

// Predicted is what a test of a quantity would be compared with at a moment. The state is not changed.
func Predicted(s *State, system string, q units.Quantity, at time.Time, sd float64) estimate.Result {
	y := s.system(system)
	return y.filter.Clone().Test(estimate.Test{At: at, Quantity: q, Value: y.cfg.Targets[0].Target, SD: sd})
}
