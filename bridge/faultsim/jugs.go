package faultsim

import (
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// jugs are what the containers hold in truth, and what the sensors below some of them say of it.
type jugs struct {
	left  []float64 // µL, by container
	stuck []float64 // what a stuck sensor goes on to say, µL; negative: it is not stuck
	off   []float64 // by how much a sensor is off, µL
	drift []float64 // µL that off grows by at each reading
}

func newJugs(site *machine.Site) jugs {
	n := len(site.Containers)
	j := jugs{left: make([]float64, n), stuck: make([]float64, n), off: make([]float64, n), drift: make([]float64, n)}
	for i := range j.stuck {
		j.stuck[i] = -1
	}
	return j
}

// jugOf is the number of a container.
func (w *world) jugOf(id string) int {
	for i := range w.site.Containers {
		if w.site.Containers[i].ID == id {
			return i
		}
	}
	return 0
}

// draws takes from a container what left an outlet of its channel.
func (w *world) draws(channel int, ul float64) {
	if channel >= 0 {
		left := &w.jugs.left[w.jugOf(w.site.Channels[channel].Container)]
		*left = max(0, *left-ul)
	}
}

// filled is a container that somebody has filled to the brim.
func (w *world) filled(id string) {
	i := w.jugOf(id)
	w.jugs.left[i] = float64(w.site.Containers[i].Capacity)
}

// levels has the sensors say what they see every ten minutes.
func (w *world) levels() {
	w.after(10*time.Minute, w.levels)
	j := &w.jugs
	for i := range w.site.Containers {
		c := &w.site.Containers[i]
		if !c.Level {
			continue
		}
		j.off[i] += j.drift[i]
		v := j.left[i] + j.off[i]
		if j.stuck[i] >= 0 {
			v = j.stuck[i]
		}
		for _, h := range w.hosts {
			if h.p != nil && h.p.linkUp {
				w.hear(h.p, item{event: machine.LevelRead{Container: c.ID, Volume: safety.Microlitres(v)}})
			}
		}
	}
}

// sensorFails is a level sensor that sticks, falls or drifts. N of one that drifts is in mL per reading.
func (w *world) sensorFails(f Fault) {
	i := w.jugOf(w.site.Channels[w.channel(f.Target)].Container)
	j := &w.jugs
	switch f.Kind {
	case LevelStuck:
		w.during(f, func() { j.stuck[i] = j.left[i] }, func() { j.stuck[i] = -1 })
	case LevelFalls:
		w.during(f, func() { j.off[i] = -j.left[i] }, func() { j.off[i] = 0 })
	case LevelDrifts:
		w.during(f, func() { j.drift[i] = float64(f.N) * 1000 }, func() { j.drift[i], j.off[i] = 0, 0 })
	}
}
