package main

import "aliquot/bridge/machine"

// alkaline is what the machine works a bound of runs out from, at the pH that a probe shows.
func (a acidity) alkaline() machine.AlkalineEffect {
	return machine.AlkalineEffect{Salt: a.salt, AtOnce: a.atOnce}
}
