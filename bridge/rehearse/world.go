package rehearse

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"sort"
	"time"

	"aliquot/bridge/agenda"
	"aliquot/bridge/machine"
	"aliquot/safety"
)

// world is everything in a rehearsal.
type world struct {
	o     Options
	state machine.State
	mono  time.Duration
	end   time.Duration
	agenda.Agenda

	broker  broker
	waters  []*water
	vessels map[string]*vessel // by channel
	boxes   map[string]float64 // true contents of the containers, µL
	keeper  keeper
	rec     recorder
	off     bool               // the service is without power
	stuck   map[string]float64 // readings that probes repeat
	trouble error              // a bug of the rehearsal or its options: it ends at once
}

// Run rehearses. An error means that the options do not fit together; how it went, good or bad, is in the Result.
func Run(o Options) (Result, error) {
	w, err := newWorld(o)
	if err != nil {
		return Result{}, err
	}
	w.begin()
	for w.mono < w.end && w.trouble == nil {
		w.turn()
	}
	w.look()
	w.lookBack()
	if w.trouble != nil {
		return Result{}, w.trouble
	}
	return w.result(), nil
}

func newWorld(o Options) (*world, error) {
	if !(o.Scenario.Days >= 1 && o.Scenario.Days <= 366) {
		return nil, fmt.Errorf("rehearse: %d days, allowed are 1 to 366", o.Scenario.Days)
	}
	if len(o.Waters) != len(o.Site.Systems) {
		return nil, errors.New("rehearse: every system needs its water")
	}
	site := *o.Site
	site.ClockTrust = safety.TrustDeclared
	o.Site = &site
	w := &world{o: o, state: machine.New(o.Site), end: time.Duration(o.Scenario.Days) * 24 * time.Hour,
		vessels: map[string]*vessel{}, boxes: map[string]float64{}, stuck: map[string]float64{}}
	for i := range o.Site.Systems {
		y, err := newWater(o, i)
		if err != nil {
			return nil, err
		}
		w.waters = append(w.waters, y)
	}
	for _, c := range o.Site.Channels {
		w.vessels[c.ID] = &vessel{}
	}
	for range o.Nodes {
		w.broker.online = append(w.broker.online, true)
	}
	w.keeper = keeper{w: w, chance: rand.New(rand.NewPCG(o.Scenario.Seed, 7)), waiting: map[string]func(machine.RunEvent){}}
	w.rec = newRecorder(o)
	return w, nil
}

// begin starts the service, the nodes, the probes and the keeper, and puts what the scenario says on the agenda.
func (w *world) begin() {
	w.step(machine.Booted{Instance: "rehearsal"})
	w.broker.up = true
	w.step(machine.LinkChanged{Up: true})
	for i := range w.o.Nodes {
		w.say(i, w.o.Nodes[i].Sim.Connect(w.wall()))
		w.beatOf(i)
	}
	for i := range w.o.Site.Probes {
		w.probe(i)
	}
	w.sample()
	for d := 1; d <= w.o.Scenario.Days; d++ {
		w.Add(time.Duration(d)*24*time.Hour, func() { w.dayOver(d) })
	}
	for _, out := range w.o.Scenario.Outages {
		w.Add(out.From, func() { w.fails(out.Node) })
		w.Add(out.To, func() { w.returns(out.Node) })
	}
	w.faults()
	w.keeper.begin()
}

// turn goes to the next moment at which something happens, and lets it happen.
func (w *world) turn() {
	at := w.end
	if !w.off {
		at = machine.NextWake(&w.state)
	}
	what := w.woke
	if next, ok := w.Next(); ok && next <= at {
		at, what = next, w.appointed
	}
	for i := range w.o.Nodes {
		if wake, ok := w.o.Nodes[i].Sim.NextWake(); ok {
			// A moment between two milliseconds would be no different one.
			if due := wake.Sub(w.o.Scenario.Start); due <= at {
				at, what = due, func() { w.nodeWakes(i) }
			}
		}
	}
	w.mono = max(w.mono, at)
	what()
}

func (w *world) woke()      { w.step(machine.Woke{}) }
func (w *world) appointed() { w.Take()() }

func (w *world) after(d time.Duration, do func()) { w.Add(w.mono+d, do) }

func (w *world) wall() time.Time { return w.o.Scenario.Start.Add(w.mono).UTC() }

func (w *world) instant() safety.Instant {
	return safety.Instant{Wall: w.wall(), Mono: w.mono, Synced: true}
}

// step lets the machine decide and does what it says. Effects may cause events of their own, which follow at once.
func (w *world) step(e machine.Event) {
	if w.off {
		return
	}
	var effects []machine.Effect
	w.state, effects = machine.Step(w.state, w.instant(), e)
	for _, next := range w.perform(effects) {
		w.step(next)
	}
}

// perform does what the machine says, in order, as the service does.
func (w *world) perform(effects []machine.Effect) (next []machine.Event) {
	for _, e := range effects {
		switch e := e.(type) {
		case machine.Append:
			w.rec.append(e.Rows)
		case machine.SendRun:
			if !w.sendRun(e) {
				next = append(next, machine.SendFailed{Run: e.Run})
			}
		case machine.StopRuns:
			if c := w.codec(e.Node); c != nil {
				topic, payload := c.Stop(e)
				w.publish(message{topic: topic, payload: payload})
			}
		case machine.ClearRetained:
			if c := w.codec(e.Node); c != nil {
				w.publish(message{topic: c.Clear(e), retained: true})
			}
		case machine.WriteOwner:
			w.own(machine.OwnerSeen{Instance: e.Instance, Epoch: e.Epoch, At: e.At})
		case machine.ClearOwner:
			w.own(machine.OwnerSeen{Gone: true})
		case machine.Answer:
			w.keeper.answer = e.Answered
		case machine.Happened:
			w.happened(e)
		case machine.Problem:
			w.rec.problem(w.mono, e)
		case machine.ShowAlert:
			w.rec.alert(e.AlertView)
		}
	}
	return next
}

func (w *world) happened(e machine.Happened) {
	switch data := e.Data.(type) {
	case machine.WithheldEvent:
		w.rec.withheld(e.At, data)
	case machine.RunEvent:
		if e.Kind != "run_ended" {
			return
		}
		w.rec.ended(data)
		if then := w.keeper.waiting[data.Run]; then != nil {
			delete(w.keeper.waiting, data.Run)
			w.after(0, func() { then(data) })
		}
	case machine.LockoutEvent:
		w.rec.lockout(e.At, data)
	}
}

func (w *world) dayOver(d int) {
	for _, drift := range w.o.Scenario.Drifts {
		w.wear(drift, float64(d)/float64(w.o.Scenario.Days))
	}
	if d%int(afterwardsEvery/(24*time.Hour)) == 0 && d < w.o.Scenario.Days {
		w.lookBack()
	}
	if w.o.Progress != nil && !w.o.Progress(d, w.o.Scenario.Days) {
		w.end = w.mono
	}
}

// wear brings a drift to its present share.
func (w *world) wear(d Drift, progress float64) {
	for _, c := range w.o.Site.Channels {
		if c.ID != d.Channel {
			continue
		}
		for i := range w.o.Nodes {
			n := &w.o.Nodes[i]
			if n.Codec.ID() != c.Node {
				continue
			}
			k := sort.SearchInts(n.Outputs, c.Output)
			n.Sim.SetRate(w.wall(), k+1, n.Rates[k]*(1+d.Share*progress))
		}
	}
}
