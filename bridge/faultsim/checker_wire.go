package faultsim

import (
	"math"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner"
	"aliquot/safety"
)

// born takes note of a new process.
func (c *checker) born(p *process) { c.stops[p] = map[int]bool{} }

// connected begins a connection: every output has to be told to stop before anything runs (INV-11).
func (c *checker) connected(p *process) { c.stops[p] = map[int]bool{} }

// decides looks at what a step decided before anything is done about it: when runs were made, and that a stop that
// somebody asked for goes out at once.
func (c *checker) decides(p *process, e machine.Event, effects []machine.Effect) {
	for _, e := range effects {
		if run, ok := e.(machine.SendRun); ok {
			c.decided[run.Run] = decision{p.h.w.now, p.h.synced}
		}
	}
	a, ok := e.(machine.Asked)
	if !ok || a.Request.Verb != machine.VerbStop {
		return
	}
	told := 0
	for _, e := range effects {
		if _, stop := e.(machine.StopRuns); !stop {
			break
		}
		told++
	}
	if told < len(c.site.Channels) && a.Request.All {
		p.h.w.violated("INV-11", "somebody asked for a stop, and it does not come first")
	}
}

// stopped takes a stop that was handed over.
func (c *checker) stopped(w *world, p *process, s machine.StopRuns) {
	if i := w.channelAt(s.Node, s.Output); i >= 0 && s.Run == "*" {
		c.stops[p][i] = true
	}
}

// sent looks at every run as it is handed to the connection.
func (c *checker) sent(w *world, p *process, f *flight) {
	l := &p.h.ledger
	if row, ok := c.reserved[l][f.Run]; !ok || row != f.RunReserved {
		w.violated("INV-4, H-06", "run %s of %s is sent without its row on disk", f.Run, f.Channel)
	}
	if c.ids[f.Run] {
		w.violated("INV-3, H-09", "run %s of %s is sent a second time", f.Run, f.Channel)
	}
	c.ids[f.Run] = true
	if wait := w.now - c.decided[f.Run].at; wait > safety.RunTTL {
		w.violated("INV-5, H-04", "run %s of %s leaves %s after it was decided, at most %s is allowed", f.Run, f.Channel, wait, safety.RunTTL)
	}
	if f.channel < 0 {
		w.violated("INV-2", "a run for an output that there is not: %s %d", f.Node, f.Output)
		return
	}
	c.finite(w, f)
	c.gate(w, p, f)
	c.one(w, p)
	if f.Purpose == machine.Dose && f.host == 0 { // a copy's slots are its own
		c.slot(w, f)
	}
}

// finite holds the limits of one run (INV-2, INV-8).
func (c *checker) finite(w *world, f *flight) {
	l := c.site.Channels[f.channel].Limits
	switch {
	case f.Volume < 1 || f.Duration < 1 || f.Longest < f.Duration || f.Longest > safety.RunMax:
		w.violated("INV-2, INV-8", "a run of %d µL and %d ms, at most %d ms", f.Volume, f.Duration, f.Longest)
	case f.Into == machine.IntoVessel && (!f.attended() || f.Worst > l.AttendedPerRun):
		w.violated("INV-8, INV-14", "a %s run of %d µL at worst into a vessel, attended.per_run is %d µL", f.Purpose, f.Worst, l.AttendedPerRun)
	case f.Purpose == machine.Dose && f.Moved(f.Duration) > f.Volume+1:
		w.violated("INV-8, H-35", "a planned run of %d µL in %d ms, in which the pump moves %d µL", f.Volume, f.Duration, f.Moved(f.Duration))
	case f.Into != machine.IntoVessel && (f.Volume > l.PerRun || f.Duration > l.RunTime):
		w.violated("INV-8", "a run of %d µL in %d ms into the tank, per_run is %d µL, run_time %d ms", f.Volume, f.Duration, l.PerRun, l.RunTime)
	}
}

// gate asserts that nothing stands in the way of a run (INV-7, INV-11, INV-14).
func (c *checker) gate(w *world, p *process, f *flight) {
	h := p.h
	for i, ch := range c.site.Channels {
		if !c.stops[p][i] {
			w.violated("INV-11, H-05", "%s runs although %s was not told to stop since the connection was made", f.Channel, ch.ID)
		}
	}
	if !c.decided[f.Run].synced {
		w.violated("INV-7, H-11, H-14", "%s runs although nobody vouches for the clock", f.Channel)
	}
	if h.index > 0 {
		return // the second daemon's own rows are not followed
	}
	if text := c.standing.over(&c.site.Channels[f.channel]); text != "" {
		w.violated("INV-7", "%s runs although %s", f.Channel, text)
	}
	for _, held := range c.holds {
		if w.now < held.until-vouched && (held.scope.Channel == "" || held.scope.Channel == f.Channel) {
			w.violated("INV-7, H-42", "%s runs during a hold that ends in %s", f.Channel, held.until-w.now)
		}
	}
}

// vouched is how far a clock can be off for which the kernel vouches (ClockSlip): over a restart the axis gains that too.
const vouched = time.Second

// one asserts that no two daemons command the site at a time (INV-6): a second one may take over, but the first must
// then be silent for as long as the other's owner record lives.
func (c *checker) one(w *world, p *process) {
	if p.hung.out || !w.broker.up {
		return
	}
	me := p.h.index
	other := 1 - me
	if since := w.now - c.lastSent[other]; since < takeOver {
		w.violated("INV-6, H-07", "two daemons send runs within %s", since)
	}
	if c.lastSent[me] < c.lastSent[other] && w.now-c.lastSent[me] < safety.OwnerStale {
		w.violated("INV-6, H-07", "two daemons send runs in turn within %s", w.now-c.lastSent[me])
	}
	c.lastSent[me] = w.now
}

// takeOver is what lies at least between the last run of one daemon and the first of another: the time from writing
// the owner record to believing it, less what the messages take.
const takeOver = 1500 * time.Millisecond

// fewest is the shortest time between two slots that both run: half of the closest slots' interval, the other being a
// quarter of it late at most (INV-10). Where a clock's change by half an hour brings slots together it is less.
const fewest = 20 * time.Minute

// slot asserts that no slot is served twice, and that nothing missed is caught up.
func (c *checker) slot(w *world, f *flight) {
	key := f.Channel + "@" + f.Slot
	if at, twice := c.slots[key]; twice {
		w.violated("INV-10, H-12", "slot %s is served at %s and again", key, at)
	}
	c.slots[key] = w.now
	if since := w.now - c.lastDose[f.channel]; since < fewest {
		w.violated("INV-10, H-10", "%s is dosed by plan %s after the last time", f.Channel, since)
	}
	c.lastDose[f.channel] = w.now
}

// alerted asserts that a critical alert is in the ledger before it is told (INV-13). A new connection is told all alerts, and
// the same step may find that one is over.
func (c *checker) alerted(w *world, p *process, a machine.AlertView) {
	if at, over := c.ended[a.Name]; over && at == w.now {
		return
	}
	if p.h.index == 0 && !p.h.ledger.failed && a.Raised && a.Level == machine.Critical && !c.raised[a.Name] {
		w.violated("INV-13", "alert %s is told before it is stored", a.Name)
	}
}

// liveness asserts that the plan was kept in a tail without faults: at least 95 % of the smallest daily volume that was
// planned in the measured day. Where the caps are small or a channel does not run every day it says nothing.
func (c *checker) liveness(w *world) {
	if w.s.Tail < LeastTail || c.tail == 0 || w.s.Greedy {
		return
	}
	w.stats.Lives = true
	for i, ch := range c.site.Channels {
		if ch.Mode == planner.Fixed {
			continue
		}
		// What is below the smallest run is owed to a later slot; in the night in which the clock goes back a slot is
		// missing from 24 h.
		owed := float64(ch.Limits.SmallestRun)
		if w.offset(c.tail) != w.offset(w.now) {
			owed += c.planned[i] / 8
		}
		// Whatever is planned, no more than per_run at each slot is given.
		slots := len(ch.Calendar.Slots(w.s.Start.Add(c.tail), w.s.Start.Add(w.now)))
		c.planned[i] = min(c.planned[i], float64(slots)*float64(ch.Limits.PerRun))
		owed = max(owed, min(c.gathered(&c.site.Channels[i], slots, c.planned[i]), float64(ch.Limits.PerRun)))
		if !(c.measured[i] >= .95*c.planned[i]-owed) {
			w.violated("LIVENESS", "%s gave %.0f µL in the last day without faults, at least %.0f µL were planned", ch.ID, c.measured[i], c.planned[i])
		}
	}
}

// gathered is what slots of a relay with a timer of its own may owe to later ones, µL: every run counts as all that the
// timer lets through, and where per_day has not room for so many the runs are fewer and larger, or one has to wait.
func (c *checker) gathered(ch *machine.Channel, slots int, planned float64) float64 {
	for _, n := range c.site.Nodes {
		if n.ID != ch.Node || n.AutoOff == 0 {
			continue
		}
		worst := 1.15 * ch.Tolerance.Above(ch.NominalRate.VolumeIn(n.AutoOff)).Millilitres() * 1000 // calibrated a little faster
		if runs := math.Floor(float64(ch.Limits.PerDay) / worst); runs <= float64(slots) {
			return 1.1 * planned / max(1, runs)
		}
	}
	return 0
}

// offset is that of local time, s.
func (w *world) offset(at time.Duration) int {
	_, seconds := w.s.Start.Add(at).In(w.s.Zone).Zone()
	return seconds
}

// measure looks every hour of the measured day for what is planned.
func (w *world) measure() {
	w.after(hour, w.measure)
	p := w.hosts[0].p
	if p == nil {
		w.violated("LIVENESS", "no process lives in the tail")
		return
	}
	for i, v := range machine.Snapshot(&p.state).Channels {
		w.check.planned[i] = min(w.check.planned[i], v.PlannedMLPerDay*1000)
	}
}
