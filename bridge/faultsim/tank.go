package faultsim

import (
	"math"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
)

// tank is the cove's water: levels that doses raise and that fall by a constant use. That is enough to give a keeper
// something to test; how well a site is kept is measured elsewhere.
type tank struct {
	at     time.Duration
	levels map[units.Quantity]float64
}

// usePerDay is what the cove uses, canonical units.
var usePerDay = []struct {
	quantity units.Quantity
	perDay   float64
}{{units.Alkalinity, .9}, {units.Calcium, 6.5}, {units.Magnesium, .6}}

func newTank() tank {
	return tank{levels: map[units.Quantity]float64{units.Alkalinity: 8.1, units.Calcium: 425, units.Magnesium: 1310}}
}

func (t *tank) advance(now time.Duration) {
	for _, u := range usePerDay {
		t.levels[u.quantity] = max(0, t.levels[u.quantity]-u.perDay*(now-t.at).Hours()/24)
	}
	t.at = now
}

func (t *tank) add(c *machine.Channel, ul float64) {
	for _, u := range usePerDay {
		t.levels[u.quantity] += c.Strength[u.quantity] * ul / 1000 / coveLitres
	}
}

// probes say every five minutes what they see, with the small daily swing of a living tank.
func (w *world) probes() {
	w.after(5*time.Minute, w.probes)
	if w.net.noProbe {
		return
	}
	ph := w.net.ph + .1*math.Sin(2*math.Pi*w.now.Hours()/24) + .002*float64(w.chance.IntN(10))
	leak := 0.0
	if w.net.leak {
		leak = 1
	}
	for _, h := range w.hosts {
		if h.p != nil && h.p.linkUp {
			w.hear(h.p, item{event: machine.ProbeRead{Probe: "ph", Value: ph}})
			w.hear(h.p, item{event: machine.ProbeRead{Probe: "leak", Value: leak}})
		}
	}
}
