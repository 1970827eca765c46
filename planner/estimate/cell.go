package estimate

import "math"

// What a cell believes in: the level, the use at the target, the use that it returns to, and the gain. The gain is what
// the system gets for 1 of what is told to be dosed: wrong volumes, strengths and rates all show in it.
const (
	level = iota
	use
	usual
	gain
	dims
)

// cell is one explanation of what was seen: a Gaussian, with its weight among the others.
type cell struct {
	weight float64
	mean   [dims]float64
	cov    [dims][dims]float64
}

// motion is what moves every cell alike over a span of time.
type motion struct {
	days    float64
	dosed   float64 // told rise of the level
	spread  float64 // variance that uncertain runs add to the level
	slope   float64 // relative change of the use for 1 of level away from the target
	target  float64
	still   bool    // the last test is old: no use rises by itself
	growth  float64 // of both uses, relative, per day
	back    float64 // days in which a use comes back to the usual one by 63 %
	usual   float64 // sd of the usual use's random walk after one day, relative
	floor   float64 // a use wanders as if it were at least this
	gainVar float64 // variance of the gain's random walk per day
	noise   float64 // variance per day of what is in no model
}

// leastFactor and mostFactor bound the factor by which a level away from the target changes the use: further out nobody
// knows it. Our own choice.
const (
	leastFactor = 0.7
	mostFactor  = 1.35
)

// at gives the factor by which the use at a level differs from the use at the target, and its slope there.
func (m *motion) at(level float64) (factor, slope float64) {
	factor = 1 + m.slope*(level-m.target)
	if factor < leastFactor || factor > mostFactor {
		return min(mostFactor, max(leastFactor, factor)), 0
	}
	return factor, m.slope
}

// move advances the cell by at most a day: level' = −use·(1 + slope·(level − target)) + gain·doses; the use wanders with a
// relative standard deviation walk after one day and comes back to the usual use, which wanders slowly. What changes the
// level changes the use within the same span; runs are taken to be spread over it.
func (c *cell) move(m *motion, walk float64) {
	factor, slope := m.at(c.mean[level])
	t, pull := m.days, max(0, c.mean[use])*slope
	keep, byUse, r := c.flow(m)
	x := &c.mean
	x[level] = max(0, x[level]+(x[gain]*m.dosed-x[use]*factor*t)*max(0, 1-pull*t/2))
	grown := 1 + m.growth*t
	comes := r * (x[usual] - x[use])
	if m.still {
		comes = min(0, comes)
	}
	x[use], x[usual] = (x[use]+comes)*grown, x[usual]*grown
	c.carry(keep, byUse, m.dosed, r)
	size := max(math.Abs(x[use]), m.floor)
	q, slow := walk*walk*size*size*t, m.usual*m.usual*size*size*t
	c.cov[level][level] += q*t*t/3 + m.noise*t + m.spread
	c.both(level, use, -q*t/2)
	c.cov[use][use] += q
	c.cov[usual][usual] += slow
	c.cov[gain][gain] += m.gainVar * t
}

// flow is how a motion carries what is believed: the level keeps a part of itself and takes byUse of the use, which comes back
// to the usual one by a part.
func (c *cell) flow(m *motion) (keep, byUse, back float64) {
	factor, slope := m.at(c.mean[level])
	return max(0, 1-max(0, c.mean[use])*slope*m.days), -factor * m.days, -math.Expm1(-m.days / m.back)
}

// carry is cov = f·cov·fᵀ with the few entries of f that are neither 0 nor 1: the level keeps a part of itself and takes
// byUse of the use and byGain of the gain; the use comes back by a part.
func (c *cell) carry(keep, byUse, byGain, back float64) {
	p := &c.cov
	var toLevel, toUse [dims]float64
	for j := range dims {
		toLevel[j] = keep*p[level][j] + byUse*p[use][j] + byGain*p[gain][j]
		toUse[j] = (1-back)*p[use][j] + back*p[usual][j]
	}
	p[level][level] = keep*toLevel[level] + byUse*toLevel[use] + byGain*toLevel[gain]
	p[use][use] = (1-back)*toUse[use] + back*toUse[usual]
	c.set(level, use, (1-back)*toLevel[use]+back*toLevel[usual])
	c.set(level, usual, toLevel[usual])
	c.set(level, gain, toLevel[gain])
	c.set(use, usual, toUse[usual])
	c.set(use, gain, toUse[gain])
}

func (c *cell) set(i, j int, v float64) { c.cov[i][j], c.cov[j][i] = v, v }

// both adds a covariance of two different beliefs.
func (c *cell) both(i, j int, v float64) {
	c.cov[i][j] += v
	c.cov[j][i] += v
}

// shift makes room for a use that changed by a relative amount (standard deviation size) at an unknown moment of the
// last days.
func (c *cell) shift(size, days float64) {
	v := size * size
	c.cov[level][level] += v * days * days / 3
	c.both(level, use, -v*days/2)
	c.both(level, usual, -v*days/2)
	c.cov[use][use] += v
	c.cov[usual][usual] += v
	c.both(use, usual, v)
}

// update takes in a measurement z with variance r of the level less the use of phase days, and gives the likelihood that it
// had.
func (c *cell) update(z, r, phase float64) (likelihood float64) {
	var row [dims]float64 // covariances with what is measured
	for i := range dims {
		row[i] = c.cov[level][i] - phase*c.cov[use][i]
	}
	s := row[level] - phase*row[use] + r
	y := z - (c.mean[level] - phase*c.mean[use])
	for i := range dims {
		c.mean[i] += row[i] / s * y
		for j := range dims {
			c.cov[i][j] -= row[i] * row[j] / s
		}
	}
	for i := range dims {
		c.cov[i][i] = max(0, c.cov[i][i])
	}
	c.mean[level] = max(0, c.mean[level])
	return math.Exp(-y*y/(2*s)) / math.Sqrt(2*math.Pi*s)
}

// dilute replaces water: keep of the level stays, added comes in with the new water, spread is a variance.
func (c *cell) dilute(keep, added, spread float64) {
	c.mean[level] = keep*c.mean[level] + added
	for i := range dims {
		c.cov[level][i] *= keep
		c.cov[i][level] *= keep
	}
	c.cov[level][level] += spread
}

// bound brings a use that cannot be back to the nearest that can, and the level with it as far as the two are tied:
// without this two noisy tests would let a level rise by itself for ever.
func (c *cell) bound(least, most float64) {
	u := min(most, max(c.mean[use], least))
	if u != c.mean[use] && c.cov[use][use] > 0 {
		c.mean[level] = max(0, c.mean[level]+c.cov[level][use]/c.cov[use][use]*(u-c.mean[use]))
	}
	c.mean[use] = u
	c.mean[usual] = min(most, max(c.mean[usual], least))
	c.mean[gain] = min(gainMost, max(gainLeast, c.mean[gain]))
}

// merge gives the one Gaussian with the mean and covariance of a and b together.
func merge(a, b cell) cell {
	w := a.weight + b.weight
	if !(w > 0) {
		a.weight = 0
		return a
	}
	p, q := a.weight/w, b.weight/w
	out := cell{weight: w}
	for i := range dims {
		out.mean[i] = p*a.mean[i] + q*b.mean[i]
		for j := range dims {
			out.cov[i][j] = p*a.cov[i][j] + q*b.cov[i][j] + p*q*(a.mean[i]-b.mean[i])*(a.mean[j]-b.mean[j])
		}
	}
	return out
}
