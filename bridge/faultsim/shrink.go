package faultsim

import "time"

// Shrink looks for a smaller scenario that breaks the same rule: fewer faults, shorter ones, fewer days. It runs at
// most tries scenarios. A scenario that breaks nothing is given back as it is.
func Shrink(s Scenario, o Options, tries int) Scenario {
	first := Run(s, o)
	if first.Violation == nil {
		return s
	}
	k := shrinking{o: o, rule: first.Violation.Rule, left: tries, best: s}
	if days := int(first.Violation.At/(24*time.Hour)) + 1; days < s.Days && first.Violation.Rule != "LIVENESS" {
		smaller := s
		smaller.Days, smaller.Tail = days, 0
		k.try(smaller)
	}
	k.drop()
	k.simplify()
	return k.best
}

type shrinking struct {
	o    Options
	rule string
	left int
	best Scenario
}

// try keeps a scenario that breaks the same rule.
func (k *shrinking) try(s Scenario) bool {
	if k.left == 0 {
		return false
	}
	k.left--
	if r := Run(s, k.o); r.Violation == nil || r.Violation.Rule != k.rule {
		return false
	}
	k.best = s
	return true
}

// drop leaves faults out, half of them at first, one at a time at last.
func (k *shrinking) drop() {
	for size := max(1, len(k.best.Faults)/2); ; size = max(1, size/2) {
		fewer := false
		for at := 0; at < len(k.best.Faults) && k.left > 0; {
			s := k.best
			s.Faults = append(append([]Fault(nil), s.Faults[:at]...), s.Faults[min(len(s.Faults), at+size):]...)
			if k.try(s) {
				fewer = true
			} else {
				at += size
			}
		}
		if k.left == 0 || size == 1 && !fewer {
			return
		}
	}
}

// simplify shortens what is left and switches off what does not matter.
func (k *shrinking) simplify() {
	for i := range k.best.Faults {
		for k.best.Faults[i].For > time.Minute {
			s := k.best
			s.Faults = append([]Fault(nil), s.Faults...)
			s.Faults[i].For /= 2
			if !k.try(s) {
				break
			}
		}
	}
	for i := range k.best.flags() {
		s := k.best
		if on := s.flags()[i].on; *on {
			*on = false
			k.try(s)
		}
	}
}
