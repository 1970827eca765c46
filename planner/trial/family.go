package trial

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// Family is a kind of tank with a kind of keeper.
type Family string

// Families. Mixed takes the tank, the pump, the wander and the keeper each from any of the others.
const (
	Steady  Family = "steady"
	Growing Family = "growing"
	Moody   Family = "moody"
	Coarse  Family = "coarse"
	Mixed   Family = "mixed"
)

// Families gives all of them in a fixed order.
func Families() []Family { return []Family{Steady, Growing, Moody, Coarse, Mixed} }

var pure = []Family{Steady, Growing, Moody, Coarse}

// ParseFamily finds a family by its name.
func ParseFamily(name string) (Family, error) {
	for _, f := range Families() {
		if string(f) == name {
			return f, nil
		}
	}
	return "", fmt.Errorf("no family %q; there are %v", name, Families())
}

// part picks the family that a part of a trial is drawn from. It asks r as often for every family.
func (f Family) part(r *rand.Rand) Family {
	drawn := pure[r.IntN(len(pure))]
	if f == Mixed {
		return drawn
	}
	return f
}

// drawWater draws a tank of a family as it is at the start of a trial: this is also the prior of whoever knows the
// family and nothing else.
func drawWater(f Family, r *rand.Rand, o Options) water {
	w := water{target: target}
	drawUse(f.part(r), r, &w)
	drawWander(f.part(r), r, &w)
	drawPump(f.part(r), r, &w, o)
	w.growth *= o.growthTimes()
	if o.FlatDay {
		w.daySwing = 0
	}
	w.level = target + between(r, -2, 2)
	w.settle(r)
	return w
}

func drawUse(f Family, r *rand.Rand, w *water) {
	w.daySwing, w.lightFrom, w.lightLong = between(r, 0.2, 0.8), 7+r.IntN(6), 9+r.IntN(3)
	least, most := 0.3, 3.0
	switch f {
	case Growing:
		w.law, w.lawAt = power, between(r, 0.5, 2)
		w.growth, most = between(r, 0.003, 0.01), 1.5
	case Moody:
		w.law, w.lawAt = saturating, between(r, 2, 20)
		w.growth, least, most = between(r, 0, 0.004), 0.5, 4
	case Coarse:
		w.law, w.lawAt = linear, between(r, 0, 4)
		w.growth, most = between(r, 0, 0.006), 2
	default:
		w.law, w.lawAt = linear, between(r, 1, 5)
		w.growth = between(r, 0, 0.003)
	}
	w.size = least * math.Pow(most/least, r.Float64())
}

func drawWander(f Family, r *rand.Rand, w *water) {
	switch f {
	case Growing:
		w.wander, w.wanderSD, w.wanderDay = swelling, between(r, 0.05, 0.2), between(r, 20, 60)
		w.stepRate = between(r, 0, 1) / Days
	case Moody:
		w.wander, w.wanderSD, w.wanderDay = meanReverting, between(r, 0.15, 0.35), between(r, 5, 15)
		w.stepRate = between(r, 1, 4) / Days
	case Coarse:
		w.wander, w.wanderSD, w.wanderDay = kinked, between(r, 0.1, 0.3), between(r, 7, 21)
		w.stepRate = between(r, 0, 2) / Days
	default:
		w.wander, w.wanderSD, w.wanderDay = meanReverting, between(r, 0.05, 0.2), between(r, 10, 30)
	}
}

// drawPump draws how far the true rise is from the told one: rate, net volume and strength each have an error.
func drawPump(f Family, r *rand.Rand, w *water, o Options) {
	rateSD, volumeSD, strengthSD := between(r, 0.02, 0.05), between(r, 0.02, 0.05), between(r, 0.01, 0.03)
	w.gain = math.Exp(rateSD*r.NormFloat64() + volumeSD*r.NormFloat64() + strengthSD*r.NormFloat64())
	w.gain *= 1 + o.ToldVolumeOff
	switch f {
	case Growing, Moody:
		w.flowSD = between(r, 0.002, 0.008)
	default:
		w.wear = between(r, 0, 0.1) / 90
	}
}
