package machine

import (
	"fmt"
	"math"
	"time"

	"aliquot/planner/units"
	"aliquot/safety"
)

// stepLimit is how far a reading may move within a minute and still be believed (H-32); 0: any distance.
func stepLimit(q units.Quantity) float64 {
	switch q {
	case units.PH:
		return 0.3
	case units.Alkalinity:
		return 1
	case units.Temperature:
		return 2
	}
	return 0
}

// stuckSpan is the span that a living probe leaves within its stuck_after (H-32).
func stuckSpan(q units.Quantity) float64 {
	if q == units.PH {
		return 0.02
	}
	return 0
}

// probeRead takes one reading. A retained one is an old value and counts as none (H-31).
func (t *turn) probeRead(e ProbeRead) {
	p := t.probe(e.Probe)
	if p == nil {
		return
	}
	if e.Retained {
		return
	}
	why := p.implausible(e, t.now.Mono)
	label := "good"
	if why != "" {
		label = "bad"
	}
	t.do(Count{Metric: MetricReadings, Labels: [2]string{e.Probe, label}})
	p.seen, p.mono, p.wall, p.why, p.good = true, t.now.Mono, t.wall(), why, why == ""
	if e.Bad == "" {
		p.value = e.Value
	}
	if p.good {
		p.batch.add(t.wall(), e.Value)
	}
	t.watchPH(p)
}

// implausible says why a reading cannot be used, or is empty. It also keeps the memory that this needs.
func (p *probeState) implausible(e ProbeRead, now time.Duration) string {
	switch {
	case e.Bad != "":
		return e.Bad
	case !(e.Value >= p.cfg.Low && e.Value <= p.cfg.High):
		return fmt.Sprintf("%g is outside %g..%g %s", e.Value, p.cfg.Low, p.cfg.High, p.cfg.Quantity.Unit())
	}
	if limit := stepLimit(p.cfg.Quantity); limit > 0 && p.good {
		if allowed := limit * max(1, (now-p.mono).Minutes()); math.Abs(e.Value-p.value) > allowed {
			return fmt.Sprintf("it moved from %g to %g %s within %s", p.value, e.Value, p.cfg.Quantity.Unit(), (now - p.mono).Round(time.Second))
		}
	}
	return p.stuck(e.Value, now)
}

// stuck watches for a probe that has not moved for longer than anything alive would stand still.
func (p *probeState) stuck(v float64, now time.Duration) string {
	if p.cfg.StuckAfter == 0 || p.cfg.Quantity == units.Switch {
		return ""
	}
	low, high := min(p.flatLow, v), max(p.flatHigh, v)
	if !p.flat || high-low > stuckSpan(p.cfg.Quantity) {
		p.flat, p.flatLow, p.flatHigh, p.flatSince = true, v, v, now
		return ""
	}
	p.flatLow, p.flatHigh = low, high
	if still := now - p.flatSince; still >= p.cfg.StuckAfter {
		return fmt.Sprintf("it has stood at %g %s for %s", v, p.cfg.Quantity.Unit(), still.Round(time.Minute))
	}
	return ""
}

func (b *batch) add(at time.Time, v float64) {
	if b.count == 0 {
		b.from = at
	}
	b.sum += v
	b.count++
}

// reading is what a probe says now. In a preview it is the newest mean of the history, if that is fresh enough.
func (s *State) reading(p *probeState) safety.Reading {
	if s.preview {
		fresh := !p.pastAt.IsZero() && s.clock.Wall().Sub(p.pastAt) <= p.cfg.StaleAfter
		return safety.Reading{Value: p.past, Good: fresh && p.past >= p.cfg.Low && p.past <= p.cfg.High}
	}
	r := s.rawReading(p)
	r.Good = r.Good && p.apart == ""
	return r
}

// batchEvery is of how long a time a mean is taken: a synced row for each reading would wear the card.
const batchEvery = 15 * time.Minute

// aloneAfter is how long after the beginning of its batch a mean is written though nothing else is. What a transaction costs the
// card is the transaction, not a row more in it: most means go with a run that begins or ends.
const aloneAfter = 2 * batchEvery

// lookAtProbes notices silence, lets the interlocks look, and ends the batches that are full.
func (t *turn) lookAtProbes() {
	full := false
	for i := range t.probes {
		p := &t.probes[i]
		if p.good && t.now.Mono-p.mono > p.cfg.StaleAfter {
			p.good, p.why = false, fmt.Sprintf("nothing since %s", t.local(p.wall))
		}
		full = full || (p.batch.count > 0 && t.wall().Sub(p.batch.from) >= batchEvery)
	}
	if full && t.clock.Trusted() {
		t.endBatches()
	}
	t.compareProbes()
	for i := range t.site.Interlocks {
		t.lookAtInterlock(i)
	}
}

// endBatches takes the means of what was read. They are rows only when they are written.
func (t *turn) endBatches() {
	for i := range t.probes {
		p := &t.probes[i]
		if b := p.batch; b.count > 0 {
			t.means = append(t.means, ProbeMean{Probe: p.cfg.ID, From: b.from, Until: p.wall, Mean: b.sum / float64(b.count), Count: b.count})
			p.batch = batch{}
		}
	}
}

// writeMeans writes means beside the other rows of this step, or alone when they have waited long enough.
func (t *turn) writeMeans() {
	if len(t.means) == 0 || !t.clock.Trusted() {
		return
	}
	if len(t.rows) == 0 {
		if t.wall().Sub(t.means[0].From) < aloneAfter {
			return
		}
		t.endBatches() // they are nearly full, and the next transaction is as far away again
	}
	t.flushMeans()
}

func (t *turn) flushMeans() {
	for _, m := range t.means {
		t.record(m, "")
	}
	t.means = nil
}

func (t *turn) lookAtInterlock(i int) {
	l := &t.site.Interlocks[i]
	before := t.locks[i]
	after := before.Look(l.Rule, t.clock.Now(), t.lockReading(l))
	t.locks[i] = after
	if before.Active == after.Active {
		return
	}
	t.log(Warn, "interlock", "interlock", l.Name, "active", after.Active)
	t.do(Happened{Kind: "interlock", At: t.wall(), Data: InterlockView{Name: l.Name, Active: after.Active, NoData: after.NoData}})
	if after.Active && l.Rule.Latch {
		t.record(Lockout{Scope: Scope{Interlock: l.Name}, Code: safety.InterlockActive, Text: "its condition was met"}, "")
	}
}
