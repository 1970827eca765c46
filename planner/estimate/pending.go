package estimate

import (
	"math"
	"time"
)

// constantsPerOver: what Rise.Over names is three time constants, after which 95 % (1 − e⁻³) has appeared. That the
// appearance is of first order is our own choice.
const constantsPerOver = 3

// negligible is a remainder of a pool (canonical unit) that is let go at once, far below what any test can see.
const negligible = 1e-9

// pool holds what was dosed and has not appeared in the water yet, such as the alkalinity of organic salts. Its methods
// give a new pool and leave the old one as it is, so that copies of a track share nothing that changes.
type pool struct{ parts []late }

// late is the part of a pool that appears over one time.
type late struct {
	over     time.Duration
	mean     float64 // still to appear
	caught   float64 // what unknown runs may have brought above the mean, still to appear
	variance float64 // of what is still to appear
}

// add takes in a rise with its Over.
func (p pool) add(r Rise) pool {
	more := late{over: r.Over, mean: r.Mean, variance: spread(r)}
	if r.Unknown {
		more.caught = max(0, r.Hi-r.Mean)
	}
	out := pool{parts: make([]late, 0, len(p.parts)+1)}
	found := false
	for _, l := range p.parts {
		if l.over == r.Over {
			l.mean, l.caught, l.variance = l.mean+more.mean, l.caught+more.caught, l.variance+more.variance
			found = true
		}
		out.parts = append(out.parts, l)
	}
	if !found {
		out.parts = append(out.parts, more)
	}
	return out
}

// advance lets a time pass, in which appeared is released: exactly, whatever steps the time is cut into.
func (p pool) advance(d time.Duration) (left pool, appeared late) {
	if len(p.parts) == 0 || d <= 0 {
		return p, late{}
	}
	for _, l := range p.parts {
		part := -math.Expm1(-constantsPerOver * float64(d) / float64(l.over))
		if math.Abs(l.mean)*(1-part) < negligible && l.caught*(1-part) < negligible {
			part = 1
		}
		appeared.mean += part * l.mean
		appeared.caught += part * l.caught
		appeared.variance += part * l.variance
		if part < 1 {
			left.parts = append(left.parts, l.keep(1-part, 1-part))
		}
	}
	return left, appeared
}

// dilute keeps a share of everything: a water change takes what has not appeared with it.
func (p pool) dilute(keep float64) pool {
	var out pool
	for _, l := range p.parts {
		out.parts = append(out.parts, l.keep(keep, keep*keep))
	}
	return out
}

func (l late) keep(share, ofVariance float64) late {
	l.mean, l.caught, l.variance = share*l.mean, share*l.caught, ofVariance*l.variance
	return l
}

// sum is everything that is still to appear; its over is the mean time constant, weighed by the amounts.
func (p pool) sum() late {
	var all late
	weighed, weights := 0.0, 0.0
	for _, l := range p.parts {
		all.mean += l.mean
		all.caught += l.caught
		all.variance += l.variance
		weights += max(0, l.mean)
		weighed += max(0, l.mean) * float64(l.over) / constantsPerOver
	}
	if weights > 0 {
		all.over = time.Duration(weighed / weights)
	}
	return all
}

// appear gathers what appears within a time from k.at on.
func (k *track) appear(d time.Duration) {
	var a late
	if k.pending, a = k.pending.advance(d); !k.known {
		return // the first test will see it
	}
	k.dosed += a.mean
	k.spread += a.variance
	k.caught += a.caught
}
