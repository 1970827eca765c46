package rehearse

import (
	"fmt"
	"math/rand/v2"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/tank"
	"aliquot/planner/units"
	"aliquot/safety"
)

// keeper is the person beside the tank. Whatever he wants he asks the machine for, as any keeper does, and he knows
// no more of the tank than his tests say.
type keeper struct {
	w       *world
	chance  *rand.Rand // a stream of the scenario's seed
	asked   int
	answer  machine.Answered                  // to the last request
	waiting map[string]func(machine.RunEvent) // for the end of a run
	tested  map[target]time.Duration          // when each quantity was due last
	changed time.Duration                     // when water was changed last
	ready   bool                              // every channel is primed and calibrated
	busy    bool                              // he stands at a pump
	bottles map[string]bool                   // refilled once at least
}

// target is a quantity of a system.
type target struct {
	system   string
	quantity units.Quantity
}

// dueEvery is how often the keeper tests where the configuration says nothing (common practice: twice a week).
const dueEvery = 3 * 24 * time.Hour

// evening is the local hour at which the keeper looks after the tank.
const evening = 19

// again is when the keeper repeats a test that nobody believes.
const again = 30 * time.Minute

func (k *keeper) begin() {
	k.tested, k.bottles = map[target]time.Duration{}, map[string]bool{}
	k.w.after(settle, func() {
		for i := range k.w.o.Site.Containers {
			k.refill(&k.w.o.Site.Containers[i])
		}
		k.commission(0, k.firstTests)
	})
	zone := k.w.o.Site.Zone
	start := k.w.o.Scenario.Start.In(zone)
	for d := 0; d <= k.w.o.Scenario.Days; d++ {
		at := time.Date(start.Year(), start.Month(), start.Day()+d, evening, 0, 0, 0, zone).Sub(start)
		if at >= time.Hour {
			k.w.Add(at, k.round)
		}
	}
}

// settle is what the service needs after a start until it owns its site.
const settle = 10 * time.Second

// ask sends a request and gives its answer.
func (k *keeper) ask(q machine.Request) machine.Answered {
	if k.w.off {
		return machine.Answered{Code: safety.LinkDown, Text: "there is no power"}
	}
	k.asked++
	q.Ref, q.By = fmt.Sprintf("rehearsal-%d", k.asked), "keeper"
	k.w.step(machine.Asked{Request: q})
	return k.answer
}

func (k *keeper) firstTests() {
	k.ready = true
	k.w.rec.commissioned = k.w.wall()
	for _, y := range k.w.o.Site.Systems {
		for _, g := range y.Targets {
			k.tested[target{y.ID, g.Quantity}] = k.w.mono
			k.test(y.ID, g.Quantity, g.Test.SD, 0)
		}
	}
	k.changed = k.w.mono
}

// round is what the keeper does in the evening.
func (k *keeper) round() {
	if k.w.off || k.w.o.Scenario.away(k.w.mono) {
		return
	}
	if k.ready {
		k.testWhatIsDue()
		k.changeWater()
	}
	view := machine.Snapshot(&k.w.state)
	for i, v := range view.Containers {
		if v.Low || v.Empty {
			k.refill(&k.w.o.Site.Containers[i])
		}
	}
	k.clear(view)
	if k.ready && !k.busy {
		k.primeWhatRanDry()
	}
}

// testWhatIsDue makes the tests whose time has come, but for those that are missed, and those that are wrong.
func (k *keeper) testWhatIsDue() {
	for _, y := range k.w.o.Site.Systems {
		for _, g := range y.Targets {
			at := target{y.ID, g.Quantity}
			wrong := k.mistake(at)
			every := g.Test.DueEvery
			if every == 0 {
				every = dueEvery
			}
			// Half a day of patience: the first test was made at another hour.
			due := k.w.mono-k.tested[at] >= every-12*time.Hour
			if !due && wrong == 0 {
				continue
			}
			k.tested[at] = k.w.mono
			if missed := k.chance.Float64() < k.w.o.Scenario.MissTests; missed && wrong == 0 {
				k.w.rec.missed(at)
				continue
			}
			k.test(y.ID, g.Quantity, g.Test.SD, wrong)
		}
	}
}

func (k *keeper) mistake(at target) float64 {
	sum := 0.0
	for _, m := range k.w.o.Scenario.WrongTests {
		if m.System == at.system && m.Quantity == at.quantity && m.Day == k.w.o.Scenario.day(k.w.mono) {
			sum += m.Error
		}
	}
	return sum
}

// resolution is the step of an ordinary kit's scale (common practice); for others half of what the tests repeat to,
// our own choice.
func resolution(q units.Quantity, sd float64) float64 {
	switch q {
	case units.Alkalinity:
		return 0.1
	case units.Calcium:
		return 5
	case units.Magnesium:
		return 10
	case units.Nitrate:
		return 1
	}
	return sd / 2
}

// test makes a test and enters it. One that the machine holds back is repeated.
func (k *keeper) test(system string, q units.Quantity, sd, mistake float64) {
	truth := k.w.level(system, q)
	step := resolution(q, sd)
	value := k.w.water(system).Test(q, tank.Kit{SD: sd, Resolution: step, Bias: mistake})
	value = tidy(value, step)
	a := k.ask(machine.Request{Verb: machine.VerbTest, System: system, Quantity: string(q), Value: &value, Unit: q.Unit()})
	if a.Code == safety.NeedsConfirm && mistake == 0 {
		a = k.ask(machine.Request{Verb: machine.VerbTest, System: system, Quantity: string(q), Value: &value, Unit: q.Unit(), Confirm: true})
	}
	k.w.rec.test(k.w.wall(), target{system, q}, value, truth, mistake, a)
	if a.OK && a.Code == safety.Unconfirmed {
		k.w.after(again, func() {
			if !k.w.o.Scenario.away(k.w.mono) {
				k.testOnce(system, q, sd)
			}
		})
	}
}

// testOnce repeats a test, and leaves it at that until the next evening.
func (k *keeper) testOnce(system string, q units.Quantity, sd float64) {
	truth := k.w.level(system, q)
	step := resolution(q, sd)
	value := tidy(k.w.water(system).Test(q, tank.Kit{SD: sd, Resolution: step}), step)
	a := k.ask(machine.Request{Verb: machine.VerbTest, System: system, Quantity: string(q), Value: &value, Unit: q.Unit()})
	k.w.rec.test(k.w.wall(), target{system, q}, value, truth, 0, a)
}

func (k *keeper) changeWater() {
	c := k.w.o.Scenario.Changes
	if c.Every <= 0 || k.w.mono-k.changed < c.Every-12*time.Hour {
		return
	}
	k.changed = k.w.mono
	for i := range k.w.o.Site.Systems {
		y := &k.w.o.Site.Systems[i]
		mix, told := map[units.Quantity]float64{}, map[string]machine.Measure{}
		for _, g := range y.Targets {
			mix[g.Quantity], told[string(g.Quantity)] = g.Target, machine.Measure{Value: g.Target, Unit: g.Quantity.Unit()}
		}
		if err := k.w.waters[i].WaterChange(k.w.wall(), c.Share, mix); err != nil && k.w.trouble == nil {
			k.w.trouble = err
		}
		litres := c.Share * y.NetLitres
		a := k.ask(machine.Request{Verb: machine.VerbWaterChange, System: y.ID, VolumeL: &litres, Mix: told})
		if !a.OK {
			k.w.rec.note(k.w.wall(), "a water change was not taken: "+a.Text)
		}
	}
}

// refill fills a container.
func (k *keeper) refill(c *machine.Container) {
	a := k.ask(machine.Request{Verb: machine.VerbRefill, Container: c.ID, Full: true, Confirm: true})
	if !a.OK {
		k.w.rec.note(k.w.wall(), fmt.Sprintf("container %s was not refilled: %s", c.ID, a.Text))
		return
	}
	k.w.boxes[c.ID] = float64(c.Capacity)
	if k.bottles[c.ID] {
		k.w.rec.refilled(c.ID)
	}
	k.bottles[c.ID] = true
}

// restoreSupplies clears supply relays that were opened, and switches them on.
func (k *keeper) restoreSupplies(view machine.SiteView) {
	done := map[string]bool{}
	for i, c := range view.Channels {
		id := k.w.o.Site.Channels[i].Supply
		for _, b := range c.Withheld {
			if b.Code == safety.SupplyCut && !done[id] {
				done[id] = true
				a := k.ask(machine.Request{Verb: machine.VerbClear, What: id})
				k.w.rec.note(k.w.wall(), fmt.Sprintf("the keeper looks at the pumps behind %s and clears it: %s", id, a.Text))
				k.w.switchOn(id)
			}
		}
	}
}

// clear looks at what latched, and clears it: in a rehearsal a look at the pump finds it whole.
func (k *keeper) clear(view machine.SiteView) {
	for _, c := range view.Channels {
		for _, b := range c.Withheld {
			if b.Code == safety.Fault {
				a := k.ask(machine.Request{Verb: machine.VerbClear, Channel: c.ID, Code: string(b.Code)})
				k.w.rec.note(k.w.wall(), fmt.Sprintf("the keeper looks at %s and clears %s: %s", c.ID, b.Code, a.Text))
			}
		}
	}
	k.restoreSupplies(view)
	for _, l := range view.Interlocks {
		if l.Active && !l.NoData {
			k.ask(machine.Request{Verb: machine.VerbClear, What: l.Name})
		}
	}
}
