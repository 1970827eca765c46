package faultsim

import (
	"fmt"
	"math/rand/v2"
	"time"

	"aliquot/bridge/agenda"
	"aliquot/bridge/machine"
	"aliquot/bridge/node"
	"aliquot/safety"
)

// Options say how a scenario is lived through.
type Options struct {
	Tamper Tamper // nil: nothing is tampered with
	Keep   int    // how many of the last lines of the trace are kept
	Whole  bool   // every process folds its whole ledger, as the service does, not only what is new since the last one
}

// Tamper stands between the machine and the world. The mutations that prove that the checker bites are tampers; so no
// mutation has a place in production code. The zero value of Untouched changes nothing.
type Tamper interface {
	Site(*machine.Site) *machine.Site                                   // what the machine is told of the site
	Rows([]machine.Row) []machine.Row                                   // what a new process reads back
	Clock(process int, i safety.Instant) safety.Instant                 // what the machine sees of the clocks
	Effects(e machine.Event, effects []machine.Effect) []machine.Effect // what is done of what the machine says
	Unsent(machine.SendRun) bool                                        // a run that cannot be sent is sent at the next connection
}

// Untouched changes nothing.
type Untouched struct{}

// Site is the site.
func (Untouched) Site(s *machine.Site) *machine.Site { return s }

// Rows are the rows.
func (Untouched) Rows(r []machine.Row) []machine.Row { return r }

// Clock is the clock.
func (Untouched) Clock(_ int, i safety.Instant) safety.Instant { return i }

// Effects are the effects.
func (Untouched) Effects(_ machine.Event, effects []machine.Effect) []machine.Effect { return effects }

// Unsent runs stay unsent.
func (Untouched) Unsent(machine.SendRun) bool { return false }

// world is everything in a trace.
type world struct {
	agenda.Agenda
	s       Scenario
	o       Options
	tamper  Tamper
	site    *machine.Site
	raised  *machine.Site // the configuration while a cap of it is raised, else nil
	sick    *sick
	jugs    jugs
	blank   *machine.Blank // of blankOf
	blankOf *machine.Site
	now     time.Duration // true time since the start
	end     time.Duration
	chance  *rand.Rand // of the network

	hosts  []*host // the daemon's, then the second one's
	births int
	copies int // of the ledger
	nodes  []*pump
	broker broker
	net    network
	keeper keeper
	tank   tank
	looks  int // of the probes
	off    int // reasons for which somebody wants the supply off
	wasFed bool

	check checker
	diary diary
	stats Result
}

// Run lives through a scenario. It ends at the first violation.
func Run(s Scenario, o Options) Result {
	w, err := newWorld(s, o)
	if err != nil {
		return Result{Violation: &Violation{Rule: "scenario", Text: err.Error()}}
	}
	w.begin()
	for w.now < w.end && w.check.broken == nil {
		w.turn()
	}
	if w.check.broken == nil {
		w.check.liveness(w)
	}
	return w.result()
}

func newWorld(s Scenario, o Options) (*world, error) {
	if !(s.Days >= 1 && s.Days <= 366) || s.Zone == nil {
		return nil, fmt.Errorf("a scenario has 1 to 366 days and a zone, found %d days", s.Days)
	}
	w := &world{s: s, o: o, tamper: o.Tamper, site: coveOf(s), end: time.Duration(s.Days) * 24 * time.Hour, chance: rand.New(rand.NewPCG(s.Seed, 2))}
	if w.tamper == nil {
		w.tamper = Untouched{}
	}
	w.diary = newDiary(o.Keep)
	w.check = newChecker(w.site)
	w.tank, w.jugs, w.sick = newTank(), newJugs(w.site), &sick{}
	w.site.Planner = w.sick
	if err := w.plugIn(); err != nil {
		return nil, err
	}
	w.hosts = []*host{{w: w, index: 0, synced: true, rate: 1}}
	w.keeper = keeper{w: w, chance: rand.New(rand.NewPCG(s.Seed, 3)), tested: map[string]time.Duration{}, due: map[string]string{}, fills: map[string]string{}, out: map[string]int{}}
	w.net.ph = 8.2
	for _, spec := range specs(s) { // they must compile for every process to come
		if _, err := node.Compile(spec); err != nil {
			return nil, err
		}
	}
	return w, nil
}

// begin starts everything and puts the faults on the agenda.
func (w *world) begin() {
	w.broker.up = true
	for _, n := range w.nodes {
		w.say(n, n.sim.Connect(w.trueTime()))
	}
	w.hosts[0].boot("")
	w.probes()
	w.levels()
	w.keeper.begin()
	if w.s.Tail >= LeastTail {
		w.Add(w.end-24*hour, func() {
			w.check.tail = w.now
			w.measure()
		})
	}
	for i, f := range w.s.Faults {
		w.Add(f.At, func() { w.strike(i, f) })
	}
}

// turn goes to the next moment at which something happens, and lets it happen.
func (w *world) turn() {
	at, what := w.end, func() {}
	if next, ok := w.Next(); ok && next < at {
		at, what = next, func() { w.Take()() }
	}
	for _, h := range w.hosts {
		if wake, ok := h.wakeAt(); ok && wake < at {
			at, what = wake, h.wake
		}
	}
	for _, n := range w.nodes {
		if wake, ok := n.sim.NextWake(); ok {
			if due := wake.Sub(w.s.Start); due < at {
				at, what = due, func() { w.say(n, n.sim.Advance(w.trueTime())) }
			}
		}
	}
	w.now = max(w.now, at)
	w.check.excuses(w)
	what()
	w.check.excuses(w)
}

func (w *world) after(d time.Duration, do func()) { w.Add(w.now+d, do) }

func (w *world) trueTime() time.Time { return w.s.Start.Add(w.now).UTC() }

func (w *world) percent(n int) bool { return n > 0 && w.chance.IntN(100) < n }

func (w *world) channelAt(node string, output int) int {
	for i := range w.site.Channels {
		if c := &w.site.Channels[i]; c.Node == node && c.Output == output {
			return i
		}
	}
	return -1
}

func (w *world) channel(id string) int {
	for i := range w.site.Channels {
		if w.site.Channels[i].ID == id {
			return i
		}
	}
	return -1
}

func (w *world) note(format string, args ...any) { w.diary.note(w.now, format, args...) }
