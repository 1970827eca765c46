package trial

import (
	"math"
	"math/rand/v2"
	"time"

	"aliquot/planner/units"
)

// Quantities are those of a whole tank, in the order in which everything about it is given.
var Quantities = [...]units.Quantity{units.Alkalinity, units.Calcium, units.Magnesium}

const ions = len(Quantities) - 1 // calcium and magnesium

// calciumPerDKH is what calcification takes with 1 dKH: 20.04 mg/L with 2.8 dKH.
const calciumPerDKH = 20.04 / 2.8

// ion is calcium or magnesium: what a tank takes of it with its alkalinity, and who doses and tests it.
type ion struct {
	target float64
	level  float64
	share  float64 // taken for 1 dKH of the use of alkalinity, mg/L
	gain   float64 // true rise for a told one
	kit    kit
	every  float64 // least days between tests; made when alkalinity is tested
	usual  float64 // of new water
	mixSD  float64 // scatter of new water about it, and of what is told
	told   Told
}

// kind is what tanks and keepers are like as regards an ion. Own choice within what is common practice.
type kind struct {
	target, start        float64 // mg/L; the start is up to so much off
	kitLeast, kitMost    float64
	steps                []float64
	grossLeast, grossGap float64
	everyLeast, everyGap float64
	mixLeast, mixMost    float64
	mixSD                float64
	band, change, most   float64
}

var kinds = [ions]kind{
	{target: 420, start: 40, kitLeast: 5, kitMost: 12, steps: []float64{5, 10}, grossLeast: 30, grossGap: 70, everyLeast: 5, everyGap: 7,
		mixLeast: 390, mixMost: 450, mixSD: 5, band: 20, change: 20, most: 43},
	{target: 1320, start: 80, kitLeast: 15, kitMost: 35, steps: []float64{10, 20, 30}, grossLeast: 80, grossGap: 170, everyLeast: 10, everyGap: 15,
		mixLeast: 1250, mixMost: 1380, mixSD: 15, band: 40, change: 50, most: 30},
}

// drawIons draws calcium and magnesium beside a tank and its keeper. A part of the alkalinity goes elsewhere than into
// skeletons; magnesium goes with calcium.
func drawIons(r *rand.Rand, w *water, of Told) [ions]ion {
	var out [ions]ion
	taken := calciumPerDKH
	for i, k := range kinds {
		least, most := 0.85, 1.0
		if i > 0 {
			least, most = 0.02, 0.1
		}
		taken *= between(r, least, most)
		n := ion{target: k.target, level: k.target + between(r, -k.start, k.start), share: taken, usual: between(r, k.mixLeast, k.mixMost), mixSD: k.mixSD}
		n.gain = math.Exp(between(r, 0.02, 0.05)*r.NormFloat64() + between(r, 0.01, 0.03)*r.NormFloat64() + 0.03*r.NormFloat64())
		n.kit = kit{sd: between(r, k.kitLeast, k.kitMost), step: pick(r, k.steps...), gross: between(r, 0.02, 0.04)}
		n.every = k.everyLeast + k.everyGap*r.Float64()
		n.told = Told{Litres: of.Litres, StrengthDKHLitresPerML: of.StrengthDKHLitresPerML * taken, Target: k.target, Band: k.band,
			MaxRise: k.change, MaxFall: k.change, CapPerDay: k.most}
		if of.TestSD > 0 {
			n.told.TestSD = n.kit.sd
		}
		if base := n.share * w.strength() * between(r, baseLeast, baseMost); of.Base > 0 {
			n.told.Base = base
		}
		out[i] = n
	}
	return out
}

// reading draws what a test of it shows.
func (n *ion) reading(r *rand.Rand, k kind) float64 {
	e := n.kit.sd * r.NormFloat64()
	if r.Float64() < n.kit.gross {
		by := k.grossLeast + k.grossGap*r.Float64()
		if r.Float64() < 0.5 {
			by = -by
		}
		e += by
	}
	return n.kit.read(n.level, e)
}

// Whole is a policy that follows all Quantities of a tank. Calls come as to a Policy; which quantity is meant is its
// index in Quantities.
type Whole interface {
	Reset(told []Told)
	Test(at time.Time, which int, value float64)
	WaterChange(at time.Time, fraction float64, mix []float64)
	Dosed(at time.Time, rises []float64)
	Daily(at time.Time) []float64
	// Capped says of one that keeps below the caps by itself whether the last daily volume would have been larger without.
	Capped(which int) bool
	// Belief of one that believes nothing is false.
	Belief(at time.Time, which int) (Belief, bool)
}

// RunWhole plays a trial of all quantities: the tank and its keeper are those of Run, with calcium and magnesium beside.
func RunWhole(f Family, seed uint64, o Options, p Whole) [len(Quantities)]Score {
	w := drawWater(f, randomOf(f, seed, streamTank), o)
	k := drawKeeper(f, randomOf(f, seed, streamKeeper), o, &w)
	r := randomOf(f, seed, streamIons)
	t := whole{water: w, keeper: k, ions: drawIons(r, &w, k.told), rng: r, drift: randomOf(f, seed, streamDrift)}
	told := []Told{k.told}
	t.meters[0] = newMeter(target)
	for i := range t.ions {
		told = append(told, t.ions[i].told)
		t.meters[1+i] = newMeter(t.ions[i].target)
	}
	p.Reset(told)
	return t.play(p)
}

// whole is a trial of all quantities under way.
type whole struct {
	water  water
	keeper keeper
	ions   [ions]ion
	tested [ions]int // hour of the last test of each
	tests  [len(Quantities)]int
	rng    *rand.Rand // of tests and new water
	drift  *rand.Rand
	meters [len(Quantities)]*meter
	perDay [len(Quantities)]float64
}

func (t *whole) play(p Whole) [len(Quantities)]Score {
	next := 0
	for h := range hours {
		at, ask := Start.Add(time.Duration(h)*time.Hour), h%24 == 0
		for ; next < len(t.keeper.deeds) && t.keeper.deeds[next].hour <= h; next++ {
			ask = true
			if d := t.keeper.deeds[next]; d.test {
				t.test(h, at, d, p)
			} else {
				t.change(at, d, p)
			}
		}
		if ask {
			t.ask(at, p)
		}
		t.measure(h, at, p)
		t.pass(h, at, p)
	}
	var out [len(Quantities)]Score
	for i, m := range t.meters {
		out[i] = m.score()
	}
	return out
}

// test reads alkalinity, and what else is due. The second test of each comes sooner.
func (t *whole) test(h int, at time.Time, d deed, p Whole) {
	p.Test(at, 0, t.keeper.kit.read(t.water.level, d.noise))
	t.tests[0]++
	for i := range t.ions {
		n := &t.ions[i]
		days := n.every
		if t.tests[1+i] < 2 {
			days = min(days, 4)
		}
		if t.tests[1+i] > 0 && float64(h-t.tested[i]) < 24*days {
			continue
		}
		p.Test(at, 1+i, n.reading(t.rng, kinds[i]))
		t.tested[i] = h
		t.tests[1+i]++
	}
}

func (t *whole) change(at time.Time, d deed, p Whole) {
	t.water.change(d.fraction, d.mix)
	mix := []float64{d.toldMix}
	for i := range t.ions {
		n := &t.ions[i]
		n.level += d.fraction * (n.usual + n.mixSD*t.rng.NormFloat64() - n.level)
		mix = append(mix, n.usual+n.mixSD*t.rng.NormFloat64())
	}
	p.WaterChange(at, d.fraction, mix)
}

func (t *whole) told(i int) *Told {
	if i == 0 {
		return &t.keeper.told
	}
	return &t.ions[i-1].told
}

func (t *whole) ask(at time.Time, p Whole) {
	for i, wish := range p.Daily(at) {
		most := t.told(i).CapPerDay
		t.perDay[i] = given(wish, most)
		t.meters[i].asked(wish, most, p.Capped(i))
	}
}

// measure counts an hour of each quantity from its second test on.
func (t *whole) measure(h int, at time.Time, p Whole) {
	for i, m := range t.meters {
		if t.tests[i] < 2 {
			continue
		}
		is := t.water.truth()
		if i > 0 {
			n := &t.ions[i-1]
			is = truth{n.level, n.share * is.use, n.gain}
		}
		m.passes(h, is.level)
		if b, ok := p.Belief(at, i); ok {
			m.believes(is, b)
		}
	}
}

func (t *whole) pass(h int, at time.Time, p Whole) {
	rises := make([]float64, len(Quantities))
	for i := range rises {
		rises[i] = t.perDay[i] / 24
		t.meters[i].dosed(rises[i])
	}
	p.Dosed(at, rises)
	before := t.water.level
	t.water.pass(t.drift, h, rises[0])
	// The pump of this hour is what it was before it drifted, but for a thousandth or two.
	used := before + rises[0]*t.water.gain - t.water.level
	for i := range t.ions {
		n := &t.ions[i]
		n.level = max(0, n.level+rises[1+i]*n.gain-n.share*used)
	}
}
