package estimate

import (
	"math"
	"time"
)

// track is the model of one quantity: a mixture over level, use and gain. Runs are gathered within a part of a day
// and moved together: see span.
type track struct {
	spec  Spec
	prior prior
	sd    float64 // repeatability of a test, as told

	at     time.Time // everything below is as of this time, but for the doses gathered since
	seen   time.Time // the latest time that the track was told
	known  bool
	mix    mixture
	dosed  float64 // told rise of runs since at
	spread float64 // and the variance that uncertain ones of them bring
	caught float64 // how far unknown runs may have lifted the level above its mean

	pending pool // dosed, and not in the level yet

	// balanced is the level had the deliveries just met the use. It serves until the second test, while the
	// use is only a guess.
	balanced float64

	// raised is by how much the last accepted test raised the use, per day: see Estimate.UseRaised.
	raised float64

	used, aside    int
	slips          float64 // of used and refuted tests: how many were grossly wrong, each by its probability
	refuted        int
	first          time.Time // of the first accepted test
	last, previous Reading
	bias           float64 // BiasSD of the last accepted test: however many of its kind follow, they do not make it smaller
	overshoot      bool

	stream stream // with a probe besides

	// doubt is what is believed if the held test is true: nil if none is held.
	doubt *doubt
}

// doubt is a held test and the model that took it in. It lives on beside the other until the next test says
// which of the two was right.
type doubt struct {
	test     Test
	shift    float64       // test less prediction; scaled by what a water change leaves
	since    time.Duration // from the last accepted test to this one
	judged   Result        // of the test when it came
	believer track         // has no doubt of its own
}

// span is how long runs are gathered before the cells are moved. Within it a system is all but linear.
const span = 6 * time.Hour

// Gathered says whether runs at both times are moved together, so that their order does not matter but for the last bit.
func Gathered(a, b time.Time) bool { return a.Truncate(span).Equal(b.Truncate(span)) }

// reach makes sure that t is not later than the present span: doses of it can be gathered.
func (k *track) reach(t time.Time) {
	if k.doubt != nil {
		k.doubt.believer.reach(t)
	}
	k.seen = latest(k.seen, t)
	if t.Sub(k.at) >= span {
		k.moveTo(t.Truncate(span))
	}
}

// advance moves the track to t, or to the latest time that it was told, and lets the gathered doses in.
func (k *track) advance(t time.Time) {
	if k.doubt != nil {
		k.doubt.believer.advance(t)
	}
	k.seen = latest(k.seen, t)
	k.moveTo(k.seen)
}

func latest(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// moveTo moves the mixture, a day at most at a time.
func (k *track) moveTo(t time.Time) {
	for {
		d := max(0, t.Sub(k.at))
		if k.known {
			d = min(d, 24*time.Hour)
		}
		k.appear(d)
		if k.known {
			m := k.motion()
			m.days, m.dosed, m.spread = float64(d)/float64(24*time.Hour), k.dosed, k.spread
			if m.days > 0 || m.dosed != 0 || m.spread != 0 {
				k.mix.move(&m)
				if k.stream.on {
					k.stream.move(&m, streamDrift*k.scale())
				}
				k.dosed, k.spread = 0, 0
			}
		}
		k.at = k.at.Add(d)
		if !t.After(k.at) {
			break
		}
	}
	k.maybeEndOvershoot()
}

func (k *track) motion() motion {
	p, growth := &k.prior, k.prior.growth
	still := k.daysSinceTest() >= growthDays
	if still {
		growth = 0
	}
	return motion{still: still, growth: growth, slope: p.slope, target: k.spec.Target, back: backDays, usual: usualWalk, floor: p.floor, gainVar: p.gainWalk * p.gainWalk, noise: p.noise * p.noise}
}

func (k *track) belief() belief {
	m := k.motion()
	return k.mix.belief(&m)
}

func (k *track) level() float64 { return k.belief().level }

func (k *track) maybeEndOvershoot() {
	if k.overshoot && k.level() <= k.spec.Target {
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
	k.dosed += r.Mean
	k.spread += spread(r)
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
		k.balanced = keep*k.balanced + fraction*mix
		spread /= 4 // batches of a salt mix differ (common practice); a quarter is our own choice
	}
	k.mix.each(func(c *cell) {
		added := fraction * c.mean[level]
		if mixKnown {
			added = fraction * mix
		}
		c.dilute(keep, added, spread*spread)
	})
	if k.stream.on {
		added := fraction * k.stream.belongs.mean[level]
		if mixKnown {
			added = fraction * mix
		}
		k.stream.dilute(keep, added, spread*spread)
	}
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
	far := s.level * k.scale()
	k.each(func(c *cell) {
		wider := s.use * max(math.Abs(c.mean[use]), k.prior.floor)
		c.cov[level][level] += far * far
		c.cov[use][use] += wider * wider
	})
}

// jump makes room for a change by distance that the model did not see coming: half of it (in variance) as a
// step of the level, half as a use that had changed since the last accepted test.
func (k *track) jump(distance float64) {
	days := max(1, k.daysSinceTest())
	half := distance * distance / 2
	k.each(func(c *cell) {
		c.cov[level][level] += 2 * half
		c.both(level, use, -half/days)
		c.both(level, usual, -half/days)
		c.cov[use][use] += half / (days * days)
		c.cov[usual][usual] += half / (days * days)
		c.both(use, usual, half/(days*days))
	})
}

// each does the same to every cell, that of a probe's stream included.
func (k *track) each(f func(*cell)) {
	k.mix.each(f)
	if k.stream.on {
		f(&k.stream.belongs)
	}
}

func (k *track) daysSinceTest() float64 {
	return max(0, float64(k.at.Sub(k.last.At))/float64(24*time.Hour))
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
