package machine

import (
	"fmt"
	"math"

	"aliquot/safety"
)

// Two probes of one water that differ by more than probesApart are both without a reading, until they differ by no more than
// probesAgree: nobody but the keeper can say which of them is wrong (H-32). Only pH is known to be the same everywhere in a
// system to that; the numbers are our own choice.
const (
	probesApart = 0.2
	probesAgree = 0.15
)

// compareProbes holds the pH probes of each system against each other.
func (t *turn) compareProbes() {
	for _, pair := range t.index.pairs {
		for _, i := range pair {
			t.probes[i].wasApart = t.probes[i].apart != ""
		}
	}
	for _, pair := range t.index.pairs {
		t.probes[pair[0]].apart, t.probes[pair[1]].apart = "", ""
	}
	for _, pair := range t.index.pairs {
		t.comparePair(&t.probes[pair[0]], &t.probes[pair[1]])
	}
}

func (t *turn) comparePair(a, b *probeState) {
	if !t.rawReading(a).Good || !t.rawReading(b).Good {
		return
	}
	most := probesApart
	if a.wasApart && b.wasApart {
		most = probesAgree
	}
	if math.Abs(a.value-b.value) <= most+1e-9 {
		return
	}
	a.apart = fmt.Sprintf("it says %.2f, probe %s %.2f", a.value, b.cfg.ID, b.value)
	b.apart = fmt.Sprintf("it says %.2f, probe %s %.2f", b.value, a.cfg.ID, a.value)
}

// rawReading is what a probe says now, whatever another one says.
func (s *State) rawReading(p *probeState) safety.Reading {
	return safety.Reading{Value: p.value, Good: p.good && s.now.Mono-p.mono <= p.cfg.StaleAfter}
}

// lockReading is what an interlock goes by. One that does not block without a reading goes by its own probe all the same:
// doubt of a high reading must not set free what that reading blocks.
func (s *State) lockReading(l *Interlock) safety.Reading {
	p := s.probe(l.Probe)
	if l.Rule.IgnoreStale && !s.preview {
		return s.rawReading(p)
	}
	return s.reading(p)
}

func (p *probeState) pairConditions(add adder) {
	if p.apart != "" {
		add("probe-apart-"+p.cfg.ID, Warning, "probe %s does not agree with another one of the same water (%s): neither counts as a reading, and what needs one waits; calibrate both, and take the bad one out of the configuration", p.cfg.ID, p.apart)
	}
}

// whyNot says why the probe has no reading; empty if it has one.
func (p *probeState) whyNot() string {
	if p.why == "" {
		return p.apart
	}
	return p.why
}
