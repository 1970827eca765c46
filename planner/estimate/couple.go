package estimate

import (
	"math"

	"aliquot/planner/units"
)

// Calcification takes alkalinity, calcium, strontium and a little magnesium together (stock.CalciumPerDKH and its
// neighbours have the sources): what tests say of the use of alkalinity, the quantity that is tested most often and most
// exactly, says something of the others' as well.

// coupling is how much of a relative change passes on where nothing is known of the follower's own use: the rest is
// uptake of alkalinity by nitrification, reactors and whatever does not calcify. Our own choice.
func coupling(q units.Quantity) float64 {
	switch q {
	case units.Calcium, units.Strontium:
		return 0.9
	case units.Magnesium:
		return 0.5
	}
	return 0
}

// passOn moves the use of everything that calcifies by the relative change that a test brought to that of alkalinity, as
// far as the follower's own use is the less sure of the two. It moves no level and makes nothing surer.
func (f *Filter) passOn(leader *track, before belief) {
	after := leader.belief()
	least := leader.prior.floor
	if before.use < least || after.use < least {
		return
	}
	unsure := before.uu / (before.use * before.use)
	change := math.Log(after.use / before.use)
	for i := range f.tracks {
		if k := &f.tracks[i]; k != leader && k.known {
			k.follow(change, unsure)
		}
	}
}

// follow takes in a relative change (natural logarithm) of the use of alkalinity; unsure is the relative variance that it
// had before.
func (k *track) follow(change, unsure float64) {
	share := coupling(k.spec.Quantity)
	b := k.belief()
	if share == 0 || b.use < k.prior.floor {
		return
	}
	own := b.uu / (b.use * b.use)
	factor := math.Exp(share * own / (own + unsure) * min(mostPassed, max(-mostPassed, change)))
	k.mix.each(func(c *cell) {
		c.mean[use] *= factor
		c.mean[usual] *= factor
	})
	if k.doubt != nil {
		k.doubt.believer.follow(change, unsure)
	}
}

// mostPassed bounds the change that one test can pass on: a factor of 2. Our own choice.
const mostPassed = 0.693
