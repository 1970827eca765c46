package faultsim

import (
	"fmt"
	"math/rand/v2"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
	"aliquot/safety"
)

// keeper is the person beside the tank: brings the site into service, refills, tests, and clears what latched when the
// pump is found whole. He knows what the service shows him.
type keeper struct {
	w        *world
	chance   *rand.Rand
	refs     int
	tested   map[string]time.Duration
	due      map[string]string // by reference: the channel that was primed by it
	fills    map[string]string // by reference: the container that is filled
	careless int               // reasons for which he looks at nothing
	greedy   int
	out      map[string]int // channels that he wants out of service
	lost     time.Duration  // since when the ledger is in doubt
}

func (k *keeper) begin() {
	for at := 10 * time.Second; at < calm; at += 6 * time.Minute {
		k.w.Add(at, k.round)
	}
	for at := calm; at < k.w.end; at += k.pause(at) {
		k.w.Add(at, k.round)
	}
}

// pause between rounds: shorter where everything has to be put right again.
func (k *keeper) pause(at time.Duration) time.Duration {
	if at >= k.w.end-k.w.s.Tail {
		return 20 * time.Minute
	}
	return 3 * time.Hour
}

// ask sends a request over the network; now and then it comes twice (H-43).
func (k *keeper) ask(verb machine.Verb, q machine.Request) string {
	w := k.w
	k.refs++
	q.Verb, q.Ref, q.By = verb, fmt.Sprintf("k%d", k.refs), "keeper"
	times := 1
	if k.chance.IntN(20) == 0 {
		times = 3
	}
	w.note("the keeper asks for %s %s%s%s (%s)", verb, q.Channel, q.Container, q.Quantity, q.Ref)
	for range times {
		for _, h := range w.hosts[:1] {
			if h.p != nil && h.p.linkUp {
				w.hear(h.p, item{event: machine.Asked{Request: q}})
			}
		}
	}
	return q.Ref
}

// heard takes an answer.
func (k *keeper) heard(a machine.Answered) {
	k.w.note("answer to %s %s: %s", a.Ref, a.Verb, a.Code)
	if a.Verb == string(machine.VerbTest) && a.Code == safety.ClockUntrusted {
		clear(k.tested) // he tests again when he comes by
	}
	if id := k.fills[a.Ref]; id != "" && a.OK {
		delete(k.fills, a.Ref)
		k.w.filled(id)
	}
	if id := k.due[a.Ref]; id != "" && a.Code == safety.Started {
		delete(k.due, a.Ref)
		k.w.after(2*time.Minute, func() { k.ask(machine.VerbPrimed, machine.Request{Channel: id}) })
	}
}

// round is a look at everything.
func (k *keeper) round() {
	h := k.w.hosts[0]
	if h.p == nil || h.p.busy > 0 || !h.p.linkUp {
		return
	}
	view := machine.Snapshot(&h.p.state)
	for _, c := range view.Containers {
		if c.RemainingMinML < .4*c.CapacityML || c.LevelML != nil && *c.LevelML < .2*c.CapacityML {
			k.fills[k.ask(machine.VerbRefill, machine.Request{Container: c.ID, Full: true, Confirm: true})] = c.ID
		}
	}
	k.site(view)
	k.seesToFeed(view)
	k.tests(view)
	for i, c := range view.Channels {
		k.channel(i, c)
	}
}

// site clears what stands for everything.
func (k *keeper) site(view machine.SiteView) {
	doubt := false
	for _, b := range view.Why {
		switch b.Code {
		case safety.TooManyRestarts:
			k.ask(machine.VerbClear, machine.Request{All: true, Code: string(b.Code)})
		case safety.LedgerRestored:
			doubt = true
		}
	}
	switch {
	case !doubt:
		k.lost = 0
	case k.lost == 0:
		k.lost = k.w.now
	case k.w.now-k.lost > safety.Window+safety.LateMax+time.Minute:
		// He waits until what the ledger does not know of has left every window.
		k.ask(machine.VerbAccept, machine.Request{What: "ledger"})
	}
	for _, l := range view.Interlocks {
		if l.Active && l.Name == "leak" {
			k.ask(machine.VerbClear, machine.Request{What: l.Name})
		}
	}
}

// channel does the first thing that a channel needs.
func (k *keeper) channel(i int, c machine.ChannelView) {
	vessel := string(machine.IntoVessel)
	has := func(code safety.Code) bool {
		for _, b := range c.Withheld {
			if b.Code == code {
				return true
			}
		}
		return false
	}
	n := k.w.pump(c.Node)
	switch {
	case has(safety.Fault):
		if k.careless > 0 || len(n.faults) == 0 && n.away == 0 && n.hangs == 0 {
			k.ask(machine.VerbClear, machine.Request{Channel: c.ID, Code: string(safety.Fault)})
		}
	case has(safety.OutOfService):
		if k.out[c.ID] == 0 {
			k.ask(machine.VerbClear, machine.Request{Channel: c.ID, Code: string(safety.OutOfService)})
		}
	case has(safety.NoProof):
		k.ask(machine.VerbProve, machine.Request{Channel: c.ID, Into: vessel})
	case has(safety.NotCalibrated):
		rate := boardRate
		if c.Node == plug {
			rate = plugRate
		}
		ml := rate * n.factor() / 2
		k.ask(machine.VerbCalibrate, machine.Request{Channel: c.ID, Confirm: true, Trials: []machine.Trial{{Seconds: 30, MeasuredML: ml}, {Seconds: 30, MeasuredML: ml}, {Seconds: 30, MeasuredML: ml}}})
	case has(safety.NotPrimed):
		seconds := 30.0
		k.due[k.ask(machine.VerbPrime, machine.Request{Channel: c.ID, Into: vessel, Seconds: &seconds})] = c.ID
	}
}

// testEvery is how often he tests (common practice: twice a week).
const testEvery = 3 * 24 * time.Hour

func (k *keeper) tests(view machine.SiteView) {
	if k.w.now < calm-time.Hour {
		return
	}
	for _, u := range uses {
		at, tested := k.tested[string(u.quantity)]
		if !tested || k.w.now-at >= testEvery || k.wants(view, u.quantity) && k.w.now-at >= time.Hour {
			k.tested[string(u.quantity)] = k.w.now
			k.test(u.quantity, 1)
		}
	}
}

// wants says whether the service waits for a test.
func (k *keeper) wants(view machine.SiteView, q units.Quantity) bool {
	for _, v := range view.Quantities {
		if v.Quantity == string(q) && v.Unconfirmed != nil {
			return true
		}
	}
	for i, c := range view.Channels {
		for _, b := range c.Withheld {
			if b.Code == safety.NoTest && k.w.site.Channels[i].Quantity == q {
				return true
			}
		}
	}
	return false
}

// test enters what a kit shows, or what somebody reads off it by mistake.
func (k *keeper) test(q units.Quantity, mistake float64) {
	k.w.tank.advance(k.w.now)
	// The kit's error belongs to the test, whatever else was asked before.
	kit := rand.New(rand.NewPCG(k.w.s.Seed, 1<<32+uint64(k.w.now)+uint64(len(q))))
	value := k.w.tank.levels[q] * (1 + .01*kit.NormFloat64()) * mistake
	k.ask(machine.VerbTest, machine.Request{Quantity: string(q), Value: &value, Unit: q.Unit(), Confirm: true})
}

// greed asks for as much as there is, and goes on for as long as the fault lasts.
func (k *keeper) greed() {
	if k.greedy == 0 {
		return
	}
	k.w.after(time.Duration(1+k.chance.IntN(14))*time.Minute, k.greed)
	c := k.w.site.Channels[k.chance.IntN(len(k.w.site.Channels))]
	ml := .3 + 6*k.chance.Float64()
	q := machine.Request{Channel: c.ID, VolumeML: &ml}
	verb := machine.VerbRun
	switch k.chance.IntN(5) {
	case 0:
		q.Kind = string(machine.TestRun)
	case 1, 2:
		verb, q.Into = machine.VerbPrime, string(machine.IntoTank)
	case 3:
		verb, q.Into = machine.VerbPrime, string(machine.IntoVessel)
		ml *= 4
	}
	if k.careless > 0 {
		k.ask(machine.VerbClear, machine.Request{Channel: c.ID})
	}
	k.ask(verb, q)
}
