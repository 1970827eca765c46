package rehearse

import (
	"fmt"
	"math"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/simnode"
	"aliquot/planner/tank"
	"aliquot/planner/units"
)

// water is a system's tank.
type water struct {
	*tank.Tank
	cfg int // index of the system
}

// vessel stands under an outlet while the keeper primes and calibrates.
type vessel struct {
	under bool
	holds float64 // µL
}

func newWater(o Options, i int) (*water, error) {
	in := o.Waters[i]
	p := tank.Params{Seed: o.Scenario.Seed + uint64(i), NetLitres: in.NetLitres, Start: in.Start, Uptake: in.Uptake, OtherPerDay: in.Other}
	p.InARoom()
	p.MidLight, p.Life.LightHours = in.MidLight, in.LightLong.Hours()
	t, err := tank.New(p, o.Scenario.Start)
	if err != nil {
		return nil, fmt.Errorf("system %s: %w", o.Site.Systems[i].ID, err)
	}
	return &water{t, i}, nil
}

func (w *world) water(system string) *water {
	for i := range w.o.Site.Systems {
		if w.o.Site.Systems[i].ID == system {
			return w.waters[i]
		}
	}
	return nil
}

// moved takes what left a node's outputs out of the containers and puts it where the outlets are.
func (w *world) moved(i int) {
	n := &w.o.Nodes[i]
	for _, d := range n.Sim.Drain(nil) {
		for k := range w.o.Site.Channels {
			if c := &w.o.Site.Channels[k]; c.Node == n.Codec.ID() && c.Output == n.Outputs[d.Output-1] {
				w.pour(k, c, d)
			}
		}
	}
}

func (w *world) pour(k int, c *machine.Channel, d simnode.Delivery) {
	ul := min(d.Microlitres, w.boxes[c.Container]) // air comes after the last drop
	w.boxes[c.Container] -= ul
	if v := w.vessels[c.ID]; v.under {
		v.holds += ul
		return
	}
	supplement := w.supplementIn(c.Container)
	carbon, given := w.o.Carbon[supplement.ID]
	if !given {
		carbon = tank.AsBicarbonate
	}
	s := tank.Solution{Strength: supplement.Strength, CarbonPerEquivalent: carbon}
	if supplement.LateShare > 0 && supplement.AppearsOver > 0 {
		s.Late = tank.Late{Share: min(1, supplement.LateShare), Over: supplement.AppearsOver, CarbonPerEquivalent: lateCarbon}
	}
	if err := w.water(c.System).DoseVolume(d.To, s, ul/1000); err != nil && w.trouble == nil {
		w.trouble = fmt.Errorf("channel %s: %w", c.ID, err)
	}
	w.rec.given(k, d.To.Sub(w.o.Scenario.Start), ul)
}

// lateCarbon is mol of carbon for each eq of an organic salt: formate. Acetate would bring twice as much; which it is
// nobody knows here.
const lateCarbon = 1

func (w *world) supplementIn(container string) machine.Supplement {
	for _, k := range w.o.Site.Containers {
		for _, p := range w.o.Site.Supplements {
			if k.ID == container && p.ID == k.Supplement {
				return p
			}
		}
	}
	return machine.Supplement{}
}

// level is a true level now.
func (w *world) level(system string, q units.Quantity) float64 {
	t := w.water(system)
	t.Advance(w.wall())
	return t.Level(q)
}

// readEvery is how often a probe reads: often enough for it never to count as silent.
func readEvery(p machine.Probe) time.Duration {
	return max(time.Second, min(2*time.Minute, p.StaleAfter/3)).Truncate(time.Second)
}

func (w *world) probe(i int) {
	p := &w.o.Site.Probes[i]
	if w.broker.up {
		v, stuck := w.stuck[p.ID]
		if !stuck {
			v = w.reading(p)
		}
		w.step(machine.ProbeRead{Probe: p.ID, Value: v})
	}
	w.after(readEvery(*p), func() { w.probe(i) })
}

// reading is what a probe shows: the tank's, or for what a tank does not have something that no interlock minds.
func (w *world) reading(p *machine.Probe) float64 {
	if p.Quantity == units.Switch {
		for _, l := range w.o.Site.Interlocks {
			if l.Probe == p.ID && l.Rule.When.Equal && l.Rule.When.Value == 0 {
				return 1
			}
		}
		return 0
	}
	t := w.waters[0]
	if y := w.water(p.System); y != nil {
		t = y
	}
	t.Advance(w.wall())
	v := t.Probe(p.Quantity)
	if math.IsNaN(v) {
		wave := math.Sin(float64(w.mono) / float64(time.Hour)) // alive, so that it does not count as stuck
		return p.Low + (p.High-p.Low)*(0.5+0.02*wave)
	}
	return math.Round(v*1000) / 1000
}
