package main

import (
	"aliquot/bridge/machine"
	"aliquot/planner/acidity"
)

// alkaline is what the machine works a bound of runs out from, at the pH that a probe shows.
func alkaline(e acidity.Effect) machine.AlkalineEffect {
	return machine.AlkalineEffect{Salt: e.Salt(), AtOnce: e.AtOnce()}
}
