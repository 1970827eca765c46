package machine

import (
	"time"

	"aliquot/planner/estimate"
	"aliquot/planner/units"
)

// watchEvery is how often the estimator is told what a probe reads: means of quarters of an hour err alike.
const watchEvery = time.Hour

// watch tells the estimator what a probe reads that streams a quantity with a target: the first one of its system. A mean that was
// written down after something else counts from then on; nothing is put back into the past for it.
func (s *State) watch(p *probeState, b ProbeMean) {
	y := s.system(p.cfg.System)
	if y == nil || p.cfg.Quantity == units.Switch {
		return
	}
	for i := range y.cfg.Targets {
		if y.cfg.Targets[i].Quantity != p.cfg.Quantity || s.watcher(y, p.cfg.Quantity) != p.cfg || b.Until.Sub(y.watched[i]) < watchEvery {
			continue
		}
		y.watched[i] = b.Until
		at := b.Until
		if n := len(y.inputs); n > 0 && at.Before(y.inputs[n-1].at) {
			at = y.inputs[n-1].at
		}
		y.add(input{at: at, kind: inputProbe, said: &said{test: estimate.Test{At: at, Quantity: p.cfg.Quantity, Value: b.Mean}}})
	}
}

// watcher is the first probe of a system that streams a quantity; nil if none does.
func (s *State) watcher(y *systemState, q units.Quantity) *Probe {
	for _, i := range s.index.probes[y.cfg.ID] {
		if p := s.probes[i].cfg; p.Quantity == q && !p.Unheard {
			return p
		}
	}
	return nil
}
