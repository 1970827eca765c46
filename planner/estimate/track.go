package estimate

import (
	"math"
	"time"
)

// track is the model of one quantity: the level falls by the use, the use is a random walk. A Kalman filter
// on [level, use]; p.. are the covariances.
type track struct {
	spec  Spec
	prior prior
	sd    float64 // repeatability of a test

	at            time.Time // everything below is as of this time
	known         bool
	level, use    float64
	pLL, pLU, pUU float64
	agility       float64 // scales the use's random walk; rises when tests keep surprising
	caught        float64 // how far unknown runs may have lifted the level above its mean

	pending pool // dosed, and not in the level yet

	// balanced is the level had the deliveries just met the use. It serves until the second test, while the
	// use is only a guess.
	balanced float64

	used, aside    int
	last, previous Reading
	overshoot      bool

	// doubt is what is believed if the held test is true: nil if none is held.
	doubt *doubt
}

// doubt is a held test and the model that took it in. It lives on beside the other until the next test says
// which of the two was right.
type doubt struct {
	test     Test
	shift    float64       // test less prediction; scaled by what a water change leaves
	since    time.Duration // from the last accepted test to this one
	believer track         // has no doubt of its own
}

// advance moves the track to t. Times before its own change nothing.
func (k *track) advance(t time.Time) {
	if k.doubt != nil {
		k.doubt.believer.advance(t)
	}
	d := t.Sub(k.at)
	if d <= 0 {
		return
	}
	k.appear(t)
	k.at = t
	if !k.known {
		return
	}
	days := float64(d) / float64(24*time.Hour)
	k.level = max(0, k.level-k.use*days)
	walk := k.prior.drift * k.prior.drift * k.agility * days
	k.pLL += days*(days*k.pUU-2*k.pLU) + k.prior.noise*k.prior.noise*days + walk*days*days/3
	k.pLU -= days*k.pUU + walk*days/2
	k.pUU += walk
	k.maybeEndOvershoot()
}

func (k *track) maybeEndOvershoot() {
	if k.level <= k.spec.Target {
		k.overshoot = false
	}
}

func (k *track) dose(r Rise) {
	if !finite(r.Mean) || !finite(r.Lo) || !finite(r.Hi) {
		return
	}
	if k.doubt != nil {
		k.doubt.believer.dose(r)
	}
	if r.Over > 0 {
		k.pending = k.pending.add(r)
		return
	}
	if !k.known {
		return // there is no level yet that a dose could move
	}
	k.level = max(0, k.level+r.Mean)
	k.pLL += spread(r)
	if r.Unknown {
		k.caught += max(0, r.Hi-r.Mean)
	}
}

// spread is the largest variance that anything within lo..hi with this mean can have (Bhatia and Davis 2000, Am. Math.
// Monthly 107:353): right for "all or nothing", cautious for a tolerance.
func spread(r Rise) float64 { return max(0, (r.Hi-r.Mean)*(r.Mean-r.Lo)) }

func (k *track) dilute(fraction float64, mix float64, mixKnown bool) {
	keep := 1 - fraction
	if k.doubt != nil {
		k.doubt.believer.dilute(fraction, mix, mixKnown)
		k.doubt.shift *= keep
	}
	k.pending = k.pending.dilute(keep)
	if !k.known {
		return
	}
	spread := fraction * k.scale()
	if mixKnown {
		k.level = keep*k.level + fraction*mix
		k.balanced = keep*k.balanced + fraction*mix
		spread /= 4 // batches of a salt mix differ (common practice); a quarter is our own choice
	}
	k.pLL = keep*keep*k.pLL + spread*spread
	k.pLU *= keep
	k.caught *= keep
	k.maybeEndOvershoot()
}

// scale is a distance that matters for this quantity.
func (k *track) scale() float64 {
	if math.IsInf(k.prior.outlier, 1) {
		return 5 * k.sd
	}
	return k.prior.outlier
}

func (k *track) shake(s shake) {
	if k.doubt != nil {
		k.doubt.believer.shake(s)
	}
	if !k.known {
		return
	}
	level := s.level * k.scale()
	use := s.use * max(math.Abs(k.use), k.prior.useSD/4)
	k.pLL += level * level
	k.pUU += use * use
}

// update is one measurement z of the level with variance r.
func (k *track) update(z, r float64) {
	s := k.pLL + r
	innovation := z - k.level
	gainL, gainU := k.pLL/s, k.pLU/s
	k.level = max(0, k.level+gainL*innovation)
	k.use += gainU * innovation
	k.pUU = max(0, k.pUU-gainU*k.pLU)
	k.pLU -= gainL * k.pLU
	k.pLL -= gainL * k.pLL
	k.caught *= 1 - gainL
	k.adapt(innovation * innovation / s)
	k.believe()
}

// believe brings a use that cannot be back to the nearest that can, and the level with it as far as the two
// are tied: without this two noisy tests would let a level rise by itself for ever.
func (k *track) believe() {
	use := max(k.use, k.prior.leastUse)
	if most := k.spec.MaxUse; most > 0 {
		use = min(use, most)
	}
	if use != k.use && k.pUU > 0 {
		k.level = max(0, k.level+k.pLU/k.pUU*(use-k.use))
	}
	k.use = use
}

// adapt lets the use wander faster while tests keep lying further from the prediction than they should. The
// normalised surprise has a mean of 1 in a model that fits. Weight and bounds are our own choice.
func (k *track) adapt(surprise float64) {
	const weight, least, most = 0.15, 0.5, 6
	k.agility = min(most, max(least, (1-weight)*k.agility+weight*min(surprise, 9)))
}

// jump makes room for a change by distance that the model did not see coming: half of it (in variance) as a
// step of the level, half as a use that had changed since the last accepted test.
func (k *track) jump(distance float64) {
	days := max(1, float64(k.at.Sub(k.last.At))/float64(24*time.Hour))
	half := distance * distance / 2
	k.pLL += 2 * half
	k.pLU -= half / days
	k.pUU += half / (days * days)
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
