package estimate

import "math"

// The explanations carried side by side. Each habit is a way in which a tank and a kit may behave; the weights of the
// cells say which of them the tests speak for. Grid values are this program's own choice.
var (
	// walks are standard deviations of the use's random walk after one day, as a share of the use.
	walks = [...]float64{0.02, 0.06, 0.15}
	// kits are true standard deviations of a test, as a multiple of the told one.
	kits = [...]float64{0.7, 1.1, 1.8}
	// habitPrior and kitPrior are their weights before any test.
	walkPrior = [len(walks)]float64{0.3, 0.5, 0.2}
	// stepRates is how often a day a use changes within a day or two: seldom where it hardly wanders.
	stepRates = [len(walks)]float64{1.0 / 200, 1.0 / 100, 1.0 / 40}
	kitPrior  = [len(kits)]float64{0.25, 0.5, 0.25}
)

// habits is the number of pairs of walk and kit; each has two cells: the newest test was good, or grossly wrong.
const habits = len(walks) * len(kits)

// Constants of the mixture, our own choice.
const (
	// grossShare of tests are grossly wrong (common practice: now and then one); their distance has a standard deviation
	// of grossSize outlier distances. What a keeper's own tests show of it is weighed against slipTests of these.
	grossShare = 0.04
	slipTests  = 12
	grossSize  = 1.3
	// stepSize is the relative standard deviation of a step of the use: one by a third is common, a doubling is not.
	stepSize = 0.4
	// forget is the part of a habit's weight that goes back to its prior at each test.
	forget = 0.02
	// A use comes back to the usual one in backDays by 63 %; it lies from it by usualSD at first, relative.
	backDays = 14.0
	usualSD  = 0.15
	// usualWalk is the relative standard deviation of the usual use after one day.
	usualWalk = 0.012
)

// mixture is what is believed of level, use and gain. cells[2h] and cells[2h+1] belong to habit h.
type mixture struct{ cells [2 * habits]cell }

// habit gives the walk and the kit of a cell.
func habit(i int) (walk, kit float64) {
	h := i / 2
	return walks[h/len(kits)], kits[h%len(kits)]
}

// stepChance is the probability that the use of a cell's habit made a step within some days.
func stepChance(i int, days float64) float64 {
	return -math.Expm1(-stepRates[i/2/len(kits)] * days)
}

func habitPrior(h int) float64 { return walkPrior[h/len(kits)] * kitPrior[h%len(kits)] }

// begin is what one first test says: a level with the variance of a test, and a use and a gain as before any.
func (m *mixture) begin(z, testSD, phase float64, p prior) {
	for i := range m.cells {
		_, kit := habit(i)
		c := cell{mean: [dims]float64{z + phase*p.use, p.use, p.use, 1}}
		uu := p.useSD * p.useSD
		c.cov[level][level], c.cov[use][use], c.cov[gain][gain] = kit*kit*testSD*testSD, uu, p.gainSD*p.gainSD
		c.both(use, usual, uu)
		c.cov[usual][usual] = uu + usualSD*usualSD*p.use*p.use
		c.weight = habitPrior(i/2) * (1 - grossShare)
		if i%2 == 1 {
			c.weight = habitPrior(i/2) * grossShare
			c.cov[level][level] += p.gross * p.gross
		}
		m.cells[i] = c
	}
}

func (m *mixture) move(by *motion) {
	for i := range m.cells {
		walk, _ := habit(i)
		m.cells[i].move(by, walk)
	}
}

// update takes in a test. Each cell is tried with and without a step of the use in the last days, and with a good and a
// gross test; what agrees on the test is merged again. gross is the share of gross tests: 0 if this one is known to be
// none.
func (m *mixture) update(z, testSD, phase, days, grossShare float64, p *prior) {
	total := 0.0
	var next mixture
	for h := range habits {
		_, kit := habit(2 * h)
		r := kit * kit * testSD * testSD
		var good, gross cell
		step := stepChance(2*h, days)
		for _, c := range m.cells[2*h : 2*h+2] {
			stepped := c
			c.weight *= 1 - step
			stepped.weight *= step
			stepped.shift(stepSize*max(math.Abs(c.mean[use]), p.floor), days)
			for _, from := range [...]cell{c, stepped} {
				good = merge(good, tried(from, z, r, phase, 1-grossShare))
				gross = merge(gross, tried(from, z, r+p.gross*p.gross, phase, grossShare))
			}
		}
		next.cells[2*h], next.cells[2*h+1] = good, gross
		total += good.weight + gross.weight
	}
	if !(total > 0) || math.IsInf(total, 0) {
		return // nothing explains the test: judge would have held it
	}
	next.settle(total, p)
	*m = next
}

// tried is a cell after a test that had a share of all tests.
func tried(c cell, z, r, phase, share float64) cell {
	c.weight *= share * c.update(z, r, phase)
	return c
}

// settle normalises the weights and lets each habit keep a little of its prior.
func (m *mixture) settle(total float64, p *prior) {
	for i := range m.cells {
		m.cells[i].weight /= total
	}
	for h := range habits {
		pair := m.cells[2*h : 2*h+2]
		now := pair[0].weight + pair[1].weight
		want := (1-forget)*now + forget*habitPrior(h)
		if now > 0 {
			pair[0].weight *= want / now
			pair[1].weight *= want / now
		}
		pair[0].bound(p.leastUse, p.mostUse)
		pair[1].bound(p.leastUse, p.mostUse)
	}
}

// belief is the mean and the covariance of a mixture.
type belief struct {
	level, use, gain float64
	ll, uu, gg       float64
	useNow           float64 // at the present level
	varNow           float64
}

func (m *mixture) belief(by *motion) belief {
	var b belief
	total := 0.0
	for i := range m.cells {
		c := &m.cells[i]
		total += c.weight
		b.level += c.weight * c.mean[level]
		b.use += c.weight * c.mean[use]
		b.gain += c.weight * c.mean[gain]
		f, _ := by.at(c.mean[level])
		b.useNow += c.weight * c.mean[use] * f
	}
	if !(total > 0) {
		return belief{}
	}
	b.level, b.use, b.gain, b.useNow = b.level/total, b.use/total, b.gain/total, b.useNow/total
	for i := range m.cells {
		c := &m.cells[i]
		w := c.weight / total
		f, _ := by.at(c.mean[level])
		dl, dn, dg := c.mean[level]-b.level, c.mean[use]*f-b.useNow, c.mean[gain]-b.gain
		b.ll += w * (c.cov[level][level] + dl*dl)
		b.uu += w * (c.cov[use][use] + (c.mean[use]-b.use)*(c.mean[use]-b.use))
		b.gg += w * (c.cov[gain][gain] + dg*dg)
		b.varNow += w * (f*f*c.cov[use][use] + dn*dn)
	}
	return b
}

// grossWeight is the probability that the newest test was grossly wrong.
func (m *mixture) grossWeight() float64 {
	gross, total := 0.0, 0.0
	for i := range m.cells {
		total += m.cells[i].weight
		if i%2 == 1 {
			gross += m.cells[i].weight
		}
	}
	if !(total > 0) {
		return 0
	}
	return gross / total
}

func (m *mixture) each(f func(*cell)) {
	for i := range m.cells {
		f(&m.cells[i])
	}
}
