package trial

import (
	"math"
	"slices"
	"time"
)

// Figures say how far the true level was from the target over a span of hours, dKH.
type Figures struct {
	RMS   float64 // root of the mean square
	Q95   float64 // 95 % quantile of the distance
	Worst float64 // largest distance
	Swing float64 // largest difference of two levels within 24 h
}

// Coverage says in what share of hours the truth lay within ±1.645 sd of what was believed: 0.9 if beliefs are true.
// NaN for policies that believe nothing.
type Coverage struct {
	Level, Use float64
	// Need is the coverage of the told rise that holds the level, use over gain: what a planner needs to know, and
	// all that tests can show of the use.
	Need float64
}

// Score is what came of one trial. All counts from the second test on, Late from LateFrom on.
type Score struct {
	All, Late Figures
	Coverage  Coverage
	AtCap     int     // how often the policy asked for the cap or more
	MostADay  float64 // the most that was dosed in any 24 h, dKH as told
}

// z90 is the half width of the middle 90 % of a normal distribution in sd.
const z90 = 1.6449

// truth is what a belief is held against.
type truth struct{ level, use, gain float64 }

func (w *water) truth() truth { return truth{w.level, w.useNow(), w.gain} }

// meter collects what a score is made of.
type meter struct {
	target    float64
	levels    []float64 // from the second test on
	late      int       // index of the first hour of LateFrom
	doses     []float64
	atCap     int
	believed  int
	level     int
	use, need int
}

func newMeter(target float64) *meter { return &meter{target: target, late: -1} }

// asked counts what a policy wished, or would have if it did not keep below the cap by itself.
func (m *meter) asked(wish, most float64, capped bool) {
	if capped || wish >= most*0.999 {
		m.atCap++
	}
}

func (m *meter) dosed(rise float64) { m.doses = append(m.doses, rise) }

func (m *meter) hour(h int, w *water, p Policy, at time.Time) {
	m.passes(h, w.level)
	if b, ok := p.(believer); ok {
		if e, ok := b.Belief(at); ok {
			m.believes(w.truth(), e)
		}
	}
}

// passes takes in the true level of an hour.
func (m *meter) passes(h int, level float64) {
	if m.late < 0 && h >= LateFrom*24 {
		m.late = len(m.levels)
	}
	m.levels = append(m.levels, level)
}

func (m *meter) believes(is truth, e Belief) {
	m.believed++
	m.level += within(is.level, e.Level, e.LevelSD)
	m.use += within(is.use, e.Use, e.UseSD)
	m.need += within(is.use/is.gain, e.Use, e.UseSD)
}

func within(truth, mean, sd float64) int {
	if math.Abs(truth-mean) <= z90*sd {
		return 1
	}
	return 0
}

func (m *meter) score() Score {
	s := Score{All: figures(m.levels, m.target), AtCap: m.atCap}
	if m.late >= 0 {
		s.Late = figures(m.levels[m.late:], m.target)
	}
	n := float64(m.believed) // 0/0 = NaN: nothing was believed
	s.Coverage = Coverage{Level: float64(m.level) / n, Use: float64(m.use) / n, Need: float64(m.need) / n}
	sum := 0.0
	for i, d := range m.doses {
		sum += d
		if i >= 24 {
			sum -= m.doses[i-24]
		}
		s.MostADay = max(s.MostADay, sum)
	}
	return s
}

func figures(levels []float64, target float64) Figures {
	if len(levels) == 0 {
		return Figures{RMS: math.NaN(), Q95: math.NaN(), Worst: math.NaN(), Swing: math.NaN()}
	}
	far := make([]float64, len(levels))
	sum, swing := 0.0, 0.0
	for i, v := range levels {
		far[i] = math.Abs(v - target)
		sum += far[i] * far[i]
		for _, before := range levels[max(0, i-24):i] {
			swing = max(swing, math.Abs(v-before))
		}
	}
	slices.Sort(far)
	return Figures{RMS: math.Sqrt(sum / float64(len(far))), Q95: quantile(far, 0.95), Worst: far[len(far)-1], Swing: swing}
}

// quantile of sorted values, linear between them.
func quantile(sorted []float64, q float64) float64 {
	at := q * float64(len(sorted)-1)
	i := min(int(at), len(sorted)-2)
	if i < 0 {
		return sorted[0]
	}
	return sorted[i] + (at-float64(i))*(sorted[i+1]-sorted[i])
}
