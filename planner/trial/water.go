package trial

import (
	"math"
	"math/rand/v2"
)

// law is how the use depends on the level. It is 1 at the target.
type law int

const (
	linear     law = iota // (A − a) / (T − a), like calcification in the saturation less one
	power                 // (A/T)^a
	saturating            // A/(A + a) · (T + a)/T
)

// wander is how the use strays around its size.
type wander int

const (
	meanReverting wander = iota // Ornstein-Uhlenbeck in the logarithm
	kinked                      // straight lines of the logarithm between random corners
	swelling                    // a slow sine of the logarithm
)

// nature is what a tank and its pump are; it stays for a trial.
type nature struct {
	law       law
	lawAt     float64 // a of law
	daySwing  float64 // 0..1: by how much of the mean the use of light hours exceeds it
	lightFrom int     // first of the light hours, of the day
	lightLong int     // how many

	growth    float64 // a day, until fullUse
	wander    wander
	wanderSD  float64 // of the logarithm
	wanderDay float64 // correlation time, mean length of a line, or period, in days
	stepRate  float64 // steps a day
	wear      float64 // share of the flow lost a day
	flowSD    float64 // random walk of the flow after one day
}

// fullUse is the use at which a tank has no room for more corals, dKH/day.
const fullUse = 4.5

// slowHours is how often what changes slowly is moved.
const slowHours = 6

// water is a tank with its pump at one hour. It is a value: a copy is another tank with the same past.
type water struct {
	nature
	target float64
	level  float64
	size   float64 // use at the target, dKH/day, before wander and steps
	gain   float64 // true rise for a told one
	stray  float64 // logarithm of the wander
	slope  float64 // kinked: of stray per slow step; swelling: phase
	left   int     // kinked: slow steps to the next corner
	shift  float64 // factor of the steps that were
	goal   float64 // shift when the present step is over
	ramp   float64 // change of shift per slow step
}

// settle draws the state that the wander has at the start, so that it neither starts nor ends quiet.
func (w *water) settle(r *rand.Rand) {
	w.shift, w.goal = 1, 1
	switch w.wander {
	case meanReverting:
		w.stray = w.wanderSD * r.NormFloat64()
	case kinked:
		w.stray = w.wanderSD * r.NormFloat64()
		w.corner(r)
	case swelling:
		w.slope = 2 * math.Pi * r.Float64()
	}
}

// corner chooses the next line of a kinked wander.
func (w *water) corner(r *rand.Rand) {
	length := w.wanderDay * (0.5 + r.Float64())
	w.left = max(1, int(length*24/slowHours))
	w.slope = (w.wanderSD*r.NormFloat64() - w.stray) / float64(w.left)
}

// useNow is the mean use of a day at the present level and state, dKH/day.
func (w *water) useNow() float64 { return w.strength() * w.lawOf(w.level) }

// strength is the use at the target, with wander and steps.
func (w *water) strength() float64 {
	stray := w.stray
	if w.wander == swelling {
		stray = w.wanderSD * math.Sqrt2 * math.Sin(w.slope)
	}
	return w.size * w.shift * math.Exp(stray)
}

func (w *water) lawOf(level float64) float64 {
	switch {
	case level <= 0:
		return 0
	case w.law == power:
		return math.Pow(level/w.target, w.lawAt)
	case w.law == saturating:
		return level / (level + w.lawAt) * (w.target + w.lawAt) / w.target
	}
	return max(0, (level-w.lawAt)/(w.target-w.lawAt))
}

// light is the factor of an hour of the day; its mean over a day is 1.
func (w *water) light(hour int) float64 {
	if since := (hour%24 - w.lightFrom + 24) % 24; since < w.lightLong {
		return 1 + w.daySwing
	}
	return 1 - w.daySwing*float64(w.lightLong)/float64(24-w.lightLong)
}

// pass lets hour `hour` pass, in which the pump gives what it calls toldRise. How often r is asked does not depend on
// the level.
func (w *water) pass(r *rand.Rand, hour int, toldRise float64) {
	if hour%slowHours == 0 {
		w.drift(r)
	}
	now := w.strength() * w.light(hour) / 24
	gained := toldRise * w.gain
	middle := w.level + (gained-now*w.lawOf(w.level))/2
	w.level = max(0, w.level+gained-now*w.lawOf(middle))
}

// drift moves what changes slowly by slowHours.
func (w *water) drift(r *rand.Rand) {
	const days = slowHours / 24.0
	w.size *= 1 + w.growth*days*max(0, 1-w.size/fullUse)
	w.gain *= 1 - w.wear*days
	if w.flowSD > 0 {
		w.gain *= 1 + w.flowSD*math.Sqrt(days)*r.NormFloat64()
	}
	switch w.wander {
	case meanReverting:
		keep := math.Exp(-days / w.wanderDay)
		w.stray = keep*w.stray + w.wanderSD*math.Sqrt(1-keep*keep)*r.NormFloat64()
	case kinked:
		w.stray += w.slope
		if w.left--; w.left <= 0 {
			w.corner(r)
		}
	case swelling:
		w.slope += 2 * math.Pi * days / w.wanderDay
	}
	w.maybeStep(r, days)
}

// maybeStep goes on with a step of the use, or begins one: 20 to 50 % up or down within a day or two.
func (w *water) maybeStep(r *rand.Rand, days float64) {
	if w.stepRate <= 0 {
		return
	}
	if w.shift != w.goal {
		w.shift += w.ramp
		if (w.shift-w.goal)*w.ramp >= 0 {
			w.shift = w.goal
		}
		return
	}
	if r.Float64() >= w.stepRate*days {
		return
	}
	by := between(r, 0.2, 0.5)
	up := r.Float64() < 0.5
	if w.shift > 1.6 {
		up = false
	} else if w.shift < 0.55 {
		up = true
	}
	if !up {
		by = -by
	}
	w.goal = w.shift * (1 + by)
	w.ramp = (w.goal - w.shift) / float64(int(between(r, 24, 54)/slowHours))
}

// change replaces a fraction of the water.
func (w *water) change(fraction, mix float64) { w.level += fraction * (mix - w.level) }

func between(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
