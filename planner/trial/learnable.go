package trial

import (
	"math"
	"math/rand/v2"
	"time"
)

const (
	// particles is how many tanks the learnable limit follows.
	particles = 1000
	// drawn is how many it starts from, so that a told base, which few of them fit, leaves enough.
	drawn = 8 * particles
	// keepShare and its complement: after each test parameters are drawn towards their mean by this and shaken by
	// what keeps their variance (J. Liu, M. West 2001, in Sequential Monte Carlo Methods in Practice, 197-223).
	keepShare = 0.99
	// shakeLevel is the sd by which levels are shaken after each test, dKH: far below a test's.
	shakeLevel = 0.02
	// mixSD is the sd of new water about what is told of it.
	mixSD = 0.2236
)

// Learnable is about the limit of what can be learnt: a particle filter that follows tanks drawn from the family
// itself by the family's own law of motion, weighs them by the kit's true errors, and gives what their mean asks for.
// It knows how often such tanks step and kits slip, not what this tank is.
type Learnable struct {
	family Family
	seed   uint64
	o      Options
	kit    kit

	told   Told
	rng    *rand.Rand
	tanks  []water
	spare  []water
	weight []float64
	tested bool
}

func (k *Learnable) inform(f Family, seed uint64, o Options, of kit) {
	k.family, k.seed, k.o, k.kit = f, seed, o, of
}

// Reset draws tanks anew and weighs them by the told base, which says something of the use.
func (k *Learnable) Reset(told Told) {
	k.told, k.tested = told, false
	k.rng = randomOf(k.family, k.seed, streamLimit)
	k.tanks, k.weight = k.tanks[:0], k.weight[:0]
	for range drawn {
		w := drawWater(k.family, k.rng, k.o)
		k.tanks = append(k.tanks, w)
		k.weight = append(k.weight, baseLikelihood(told.Base, &w))
	}
}

// baseLikelihood is that of what the keeper of a tank says that he dosed before.
func baseLikelihood(base float64, w *water) float64 {
	if base == 0 {
		if w.size > alwaysDosed {
			return 0
		}
		return 1
	}
	use := w.strength()
	if share := base / use; share < baseLeast || share > baseMost {
		return 0
	}
	if w.size > alwaysDosed {
		return 2 / use
	}
	return 1 / use
}

// Test weighs the tanks by a reading, lets the likely ones go on and shakes them.
func (k *Learnable) Test(_ time.Time, value float64) {
	for i := range k.tanks {
		k.weight[i] *= k.kit.likelihood(value - k.tanks[i].level)
	}
	k.resample()
	k.shake()
	k.tested = true
}

// resample draws `particles` tanks in proportion to their weights (systematic resampling).
func (k *Learnable) resample() {
	sum := 0.0
	for _, v := range k.weight {
		sum += v
	}
	k.spare = k.spare[:0]
	if !(sum > 0) { // nothing fits: they are all that is known
		k.spare = append(k.spare, k.tanks[:particles]...)
	} else {
		step := sum / particles
		at, i, below := step*k.rng.Float64(), 0, k.weight[0]
		for range particles {
			for below < at && i < len(k.tanks)-1 {
				i++
				below += k.weight[i]
			}
			k.spare = append(k.spare, k.tanks[i])
			at += step
		}
	}
	k.tanks, k.spare = k.spare, k.tanks
	k.weight = k.weight[:particles]
	for i := range k.weight {
		k.weight[i] = 1
	}
}

// shake makes copies of one tank differ. The spread of size, gain and growth stays as it was.
func (k *Learnable) shake() {
	k.blend(func(w *water) float64 { return math.Log(w.size) }, func(w *water, x float64) { w.size = math.Exp(x) })
	k.blend(func(w *water) float64 { return math.Log(w.gain) }, func(w *water, x float64) { w.gain = math.Exp(x) })
	k.blend(func(w *water) float64 { return w.growth }, func(w *water, x float64) { w.growth = max(0, x) })
	for i := range k.tanks {
		w := &k.tanks[i]
		w.level = max(0, w.level+shakeLevel*k.rng.NormFloat64())
		w.shakeNature(k.rng)
	}
}

// shakeNature moves what has no common scale between tanks by a little, within what families draw.
func (w *water) shakeNature(r *rand.Rand) {
	if swing := w.daySwing + 0.02*r.NormFloat64(); w.daySwing > 0 {
		w.daySwing = min(0.8, max(0.2, swing))
	}
	w.wanderSD *= math.Exp(0.03 * r.NormFloat64())
	w.wear = max(0, w.wear+0.0001*r.NormFloat64())
	switch w.law {
	case linear:
		w.lawAt = min(5, max(0, w.lawAt+0.15*r.NormFloat64()))
	case power:
		w.lawAt = min(2, max(0.5, w.lawAt+0.05*r.NormFloat64()))
	case saturating:
		w.lawAt = min(20, max(2, w.lawAt*math.Exp(0.08*r.NormFloat64())))
	}
	if w.wander == swelling {
		w.slope += 0.12 * r.NormFloat64()
		w.wanderDay = min(60, max(20, w.wanderDay*math.Exp(0.03*r.NormFloat64())))
		return
	}
	w.stray += 0.1 * w.wanderSD * r.NormFloat64()
}

// blend draws one parameter towards its mean and shakes it, so that mean and variance stay.
func (k *Learnable) blend(of func(*water) float64, set func(*water, float64)) {
	mean, square, n := 0.0, 0.0, float64(len(k.tanks))
	for i := range k.tanks {
		x := of(&k.tanks[i])
		mean += x / n
		square += x * x / n
	}
	sd := math.Sqrt(max(0, square-mean*mean) * (1 - keepShare*keepShare))
	for i := range k.tanks {
		w := &k.tanks[i]
		set(w, keepShare*of(w)+(1-keepShare)*mean+sd*k.rng.NormFloat64())
	}
}

// WaterChange changes the water of every tank; the new water is about as told.
func (k *Learnable) WaterChange(_ time.Time, fraction, mix float64) {
	for i := range k.tanks {
		k.tanks[i].change(fraction, mix+mixSD*k.rng.NormFloat64())
	}
}

// Dosed lets the hour pass in every tank.
func (k *Learnable) Dosed(at time.Time, rise float64) {
	for i, h := 0, hourOf(at); i < len(k.tanks); i++ {
		k.tanks[i].pass(k.rng, h, rise)
	}
}

// Daily gives what the mean of the tanks asks for: certainty equivalence.
func (k *Learnable) Daily(at time.Time) float64 {
	if !k.tested {
		return k.told.Base
	}
	var use, gain, level float64
	hour, n := hourOf(at), float64(len(k.tanks))
	for i := range k.tanks {
		w := &k.tanks[i]
		u := w.useNow()
		use += u / n
		gain += w.gain / n
		level += (w.level - u*w.phase(hour)) / n
	}
	far := min(max(k.told.Target-level, -k.told.MaxFall), k.told.MaxRise)
	return max(0, (use+far)/gain)
}

// Belief is mean and spread of the tanks; of the use, of every fourth.
func (k *Learnable) Belief(time.Time) (Belief, bool) {
	if !k.tested {
		return Belief{}, false
	}
	level := moments{}
	use := moments{}
	for i := range k.tanks {
		level.add(k.tanks[i].level)
		if i%4 == 0 {
			use.add(k.tanks[i].useNow())
		}
	}
	return Belief{Level: level.mean(), LevelSD: level.sd(), Use: use.mean(), UseSD: use.sd()}, true
}

// moments sums what a mean and a standard deviation need.
type moments struct{ n, sum, square float64 }

func (m *moments) add(x float64) { m.n++; m.sum += x; m.square += x * x }

func (m *moments) mean() float64 { return m.sum / m.n }

func (m *moments) sd() float64 { return math.Sqrt(max(0, m.square/m.n-m.mean()*m.mean())) }
