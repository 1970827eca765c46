package faultsim

import (
	"fmt"
	"math"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// checker stands outside: it knows what truly flowed and when, what went over the wire, which rows are durable, and
// the site's limits.
type checker struct {
	site     *machine.Site
	broken   *Violation
	flows    []flows             // by channel
	doses    [][]window          // by ledger and target, into the tank
	caps     [][]pouring         // by ledger and channel
	total    []float64           // µL into the tank, by channel
	planned  []float64           // the least daily volume that was planned while the tail is measured, µL, by channel
	measured []float64           // µL, likewise
	ids      map[string]bool     // of the runs on the wire
	decided  map[string]decision // when each was made
	reserved map[*ledger]map[string]machine.RunReserved
	raised   map[string]bool          // critical alerts in the ledger
	ended    map[string]time.Duration // when one was last stored as over
	standing standings
	stops    map[*process]map[int]bool // outputs that this connection told to stop
	lastSent []time.Duration           // on the wire, by host
	lastDose []time.Duration           // by channel
	slots    map[string]time.Duration
	holds    []heldUntil
	// of a supply relay: since when its lockout stands, 0: it does not; when a person last switched it on; and when something
	// last hindered the service from opening it, or from seeing that it must
	cutAt, closed, noCut, noSight time.Duration
	tail                          time.Duration // since when the tail is measured; 0: it is not
}

// decision is when a run was decided, and whether the kernel vouched for the clock then. It may cease to while the disk is
// slow: the run leaves within RunTTL all the same.
type decision struct {
	at     time.Duration
	synced bool
}

// pouring keeps what went into the tank and what into vessels apart.
type pouring struct{ tank, vessel window }

// flows is what flowed from a channel last.
type flows struct {
	last *flight
	to   time.Duration // the end of the last flow that was a daemon's
}

type heldUntil struct {
	scope machine.Scope
	until time.Duration
}

func newChecker(site *machine.Site) checker {
	n := len(site.Channels)
	c := checker{site: site, flows: make([]flows, n), total: make([]float64, n), planned: make([]float64, n), measured: make([]float64, n), ids: map[string]bool{}, decided: map[string]decision{},
		reserved: map[*ledger]map[string]machine.RunReserved{}, raised: map[string]bool{}, ended: map[string]time.Duration{}, stops: map[*process]map[int]bool{}, lastSent: []time.Duration{-hour, -hour},
		lastDose: make([]time.Duration, n), slots: map[string]time.Duration{}}
	for i := range site.Channels {
		c.flows[i].to, c.lastDose[i], c.planned[i] = -24*hour, -24*hour, math.Inf(1)
	}
	for range 2 {
		c.doses = append(c.doses, make([]window, len(site.Systems[0].Targets)))
		c.caps = append(c.caps, make([]pouring, n))
	}
	return c
}

// fail notes the first violation.
func (c *checker) fail(rule, format string, args ...any) {
	if c.broken == nil {
		c.broken = &Violation{Rule: rule, Text: fmt.Sprintf(format, args...)}
	}
}

func (w *world) violated(rule, format string, args ...any) {
	if w.check.broken == nil {
		w.check.broken = &Violation{At: w.now, Rule: rule, Text: fmt.Sprintf(format, args...)}
		w.note("VIOLATION of %s: %s", rule, w.check.broken.Text)
	}
}

// poured takes what truly left an outlet.
func (c *checker) poured(w *world, f *flight, i int, from, to time.Duration, ul float64) {
	if f == nil || i < 0 {
		w.violated("INV-2", "liquid left an outlet that no run was sent to, %.0f µL", ul)
		return
	}
	name := c.site.Channels[i].ID
	c.fed(w, f, i, to)
	if f.stranger {
		return
	}
	if !f.flowing {
		f.flowing, f.from = true, from
		c.begins(w, f, i)
	}
	c.flows[i].last = f
	// The clock of a node counts whole milliseconds.
	most := f.from + f.Longest.Duration() + 20*time.Millisecond
	if to > most {
		if !f.broken {
			w.violated("INV-2", "run %s of %s flowed for %s, the longest was %s", short(f.Run), name, to-f.from, f.Longest.Duration())
			return
		}
		if from >= most {
			return
		}
		ul *= float64(most-from) / float64(to-from)
		to = most
	}
	c.flows[i].to = to
	c.apart(w, f, i)
	c.count(w, f, i, pour{from, to, ul})
}

// count holds the caps against what flowed (INV-1).
func (c *checker) count(w *world, f *flight, i int, p pour) {
	ch := &c.site.Channels[i]
	cap, limit, name := &c.caps[f.host][i].tank, ch.Limits.PerDay, "per_day"
	if f.Into == machine.IntoVessel {
		cap, limit, name = &c.caps[f.host][i].vessel, ch.Limits.AttendedPerDay, "attended.per_day"
	}
	if sum := cap.add(p); sum > float64(limit)+1 {
		w.violated("INV-1", "%s gave %.0f µL within 24 h of true time, %s is %d µL", ch.ID, sum, name, limit)
	}
	if f.Into == machine.IntoVessel {
		return
	}
	c.total[i] += p.ul
	if c.tail > 0 {
		c.measured[i] += p.ul
	}
	for j, t := range c.site.Systems[0].Targets {
		per := ch.Strength[t.Quantity] / c.site.Systems[0].NetLitres / 1000
		if per == 0 || t.MaxDose <= 0 {
			continue
		}
		if sum := c.doses[f.host][j].add(pour{p.from, p.to, p.ul * per}); sum > t.MaxDose*(1+1e-6) {
			w.violated("INV-1", "%s was raised by %.4g %s within 24 h of true time, max_dose is %g", t.Quantity, sum, t.Quantity.Unit(), t.MaxDose)
		}
	}
}

// begins looks at a run that begins to flow: its rest, by what truly flowed before.
func (c *checker) begins(w *world, f *flight, i int) {
	ch := &c.site.Channels[i]
	w.note("%s begins to give run %s", ch.ID, short(f.Run))
	last := c.flows[i].last
	if rest := f.from - c.flows[i].to; !f.attended() && last != nil && last.copy == f.copy && rest < ch.Limits.Rest {
		w.violated("REST", "%s runs %s after its last run, its rest is %s", ch.ID, rest, ch.Limits.Rest)
	}
}

// apart looks at what flowed, against the last run of every channel that must not be near it (H-25). Either of the two
// may have begun first: whichever pours later is held against the other.
func (c *checker) apart(w *world, f *flight, i int) {
	ch := &c.site.Channels[i]
	for _, a := range c.site.KeepApart {
		if !contains(a.Channels, ch.ID) {
			continue
		}
		for _, id := range a.Channels {
			j := w.channel(id)
			other := c.flows[j].last
			if j == i || other == nil || other.copy != f.copy {
				continue
			}
			if gap := max(f.from-c.flows[j].to, other.from-c.flows[i].to); gap < a.Gap {
				w.violated("H-25", "%s flows from %s, %s from %s to %s: kept apart are %s", ch.ID, f.from, id, other.from, c.flows[j].to, a.Gap)
			}
		}
	}
}

func contains(list []string, v string) bool {
	for _, x := range list {
		if x == v {
			return true
		}
	}
	return false
}

// pour is liquid that left an outlet.
type pour struct {
	from, to time.Duration
	ul       float64
}

// window is what flowed in the last 24 h.
type window struct {
	pours []pour
	sum   float64
}

// add takes the next pour, in the order of their ends, and gives the largest sum of a closed window of 24 h that the pour
// can have made the largest: one that ends with it, or one that begins with an earlier one and ends within it.
func (w *window) add(p pour) float64 {
	n := len(w.pours)
	if n > 0 && w.pours[n-1].to == p.from {
		w.pours[n-1].to, w.pours[n-1].ul = p.to, w.pours[n-1].ul+p.ul
	} else {
		w.pours = append(w.pours, p)
	}
	w.sum += p.ul
	left := p.to - safety.Window
	for w.pours[0].to <= left {
		w.sum -= w.pours[0].ul
		w.pours = w.pours[1:]
	}
	first, last := w.pours[0], w.pours[len(w.pours)-1]
	most := w.sum - first.ul*share(first, first.from, left)
	if first.from > last.from-safety.Window && first.from < left {
		most = max(most, w.sum-last.ul*share(last, first.from+safety.Window, last.to))
	}
	return most
}

// share is the part of a pour that lies between two moments.
func share(p pour, from, to time.Duration) float64 {
	if p.to <= p.from {
		return 0
	}
	return max(0, float64(min(p.to, to)-max(p.from, from))/float64(p.to-p.from))
}
