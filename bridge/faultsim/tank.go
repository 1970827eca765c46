package faultsim

import (
	"math"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
)

// tank is the cove's water: levels that doses raise, and that fall by a use that slows down with them. That is enough to give a keeper
// something to test; how well a site is kept is measured elsewhere.
type tank struct {
	at     time.Duration
	levels map[units.Quantity]float64
}

// uses are what the cove has at the start and what it uses of it a day, canonical units.
var uses = []struct {
	quantity      units.Quantity
	level, perDay float64
}{{units.Alkalinity, 8.1, .9}, {units.Calcium, 425, 6.5}, {units.Magnesium, 1310, .6}}

func newTank() tank {
	t := tank{levels: map[units.Quantity]float64{}}
	for _, u := range uses {
		t.levels[u.quantity] = u.level
	}
	return t
}

func (t *tank) advance(now time.Duration) {
	for _, u := range uses {
		t.levels[u.quantity] *= math.Exp(-u.perDay / u.level * (now - t.at).Hours() / 24)
	}
	t.at = now
}

func (t *tank) add(c *machine.Channel, ul float64) {
	for _, u := range uses {
		t.levels[u.quantity] += c.Strength[u.quantity] * ul / 1000 / coveLitres
	}
}

// probes say every eight minutes what they see, with the small daily swing of a living tank; the float less often.
func (w *world) probes() {
	w.looks++
	w.after(8*time.Minute, w.probes)
	if w.net.noProbe {
		return
	}
	ph := w.net.ph + .1*math.Sin(2*math.Pi*w.now.Hours()/24) + .002*float64(w.chance.IntN(10))
	w.read("ph", ph)
	switch {
	case w.net.leak:
		w.read("leak", 1)
	case w.looks%4 == 0:
		w.read("leak", 0)
	}
}

func (w *world) read(probe string, value float64) {
	for _, h := range w.hosts {
		if h.p != nil && h.p.linkUp {
			w.hear(h.p, item{event: machine.ProbeRead{Probe: probe, Value: value}})
		}
	}
}
