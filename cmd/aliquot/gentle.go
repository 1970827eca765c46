package main

import (
	"aliquot/config"
	"aliquot/planner/acidity"
	"aliquot/planner/seawater"
	"aliquot/safety"
)

// acidityOf gives what a supplement does to the pH of a system at once. ok is false where that is not known or nothing:
// a label's claim says nothing of salts, and some waters are outside the formulas.
func acidityOf(y config.System, p config.Supplement) (e acidity.Effect, ok bool) {
	e, err := acidity.Of(y.Tank(), p.Parts())
	return e, err == nil && e.Acts()
}

// gentle is the largest planned run whose pH step stays within the default; 0: no run of the salt reaches it.
func gentle(e acidity.Effect) safety.Microlitres {
	ml, bounded, err := e.Largest(seawater.DefaultStep)
	if err != nil || !bounded {
		return 0
	}
	v, err := safety.MillilitresDown(ml)
	if err != nil {
		return 0
	}
	return v
}
