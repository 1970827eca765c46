package tank

import (
	"math"
	"math/rand/v2"
	"time"

	"aliquot/planner/units"
)

const (
	// step is the grid of the wander and the longest step of integration.
	step = 10 * time.Minute

	day = 24 * time.Hour

	// mgCalciumPerDKH: 20.039 mg/L per meq/L, 2.80385 dKH per meq/L.
	mgCalciumPerDKH = 20.039 / 2.80385
	// magnesiumPerCalcium is by mass; common practice.
	magnesiumPerCalcium = 0.1
	// mgNitratePerDKH: 62.004 mg per mmol NO3, one meq each.
	mgNitratePerDKH = 62.004 / 2.80385

	// Below these levels calcification fades to nothing.
	fadeAlkalinity = 0.5 // dKH
	fadeCalcium    = 20  // mg/L
)

// Tank is one body of water at one instant. Make it with New.
type Tank struct {
	p     Params
	began time.Time
	age   time.Duration // since began
	// fromNoon is the time of day of began, counted from 12:00 UTC.
	fromNoon time.Duration
	// stepAge is the age at which uptake steps; never reached if there is no step.
	stepAge  time.Duration
	litres   float64
	levels   [slots]float64
	perDay   [slots]float64 // constant uptake
	probeSD  [slots]float64
	startPH  float64
	startDKH float64
	startT   float64

	wander       float64 // x
	wanderKeep   float64 // e^(−Δ/τ)
	wanderSpread float64 // σ·√(1−e^(−2Δ/τ))
	// Two streams of one seed, so that taking readings does not change what the tank does.
	drift, noise *rand.Rand
}

// New makes a tank at its start. It fails if a parameter is outside its range.
func New(p Params, at time.Time) (*Tank, error) {
	if err := p.check(); err != nil {
		return nil, err
	}
	t := &Tank{
		p: p, began: at, litres: p.NetLitres, stepAge: math.MaxInt64,
		drift: rand.New(rand.NewPCG(p.Seed, 1)), noise: rand.New(rand.NewPCG(p.Seed, 2)),
	}
	utc := at.UTC()
	t.fromNoon = at.Sub(time.Date(utc.Year(), utc.Month(), utc.Day(), 12, 0, 0, 0, time.UTC))
	// What Advance reads was copied above or is copied here: the caller keeps his maps.
	t.p.Start, t.p.OtherPerDay, t.p.ProbeSD = nil, nil, nil
	for i, q := range bySlot {
		t.levels[i] = given(p.Start, q, ordinary(q))
		t.perDay[i] = given(p.OtherPerDay, q, 0)
		t.probeSD[i] = given(p.ProbeSD, q, ordinaryProbeSD(q))
	}
	t.startPH, t.startT, t.startDKH = t.levels[acidity], t.levels[warmth], t.levels[alkalinity]
	t.levels[acidity], t.levels[warmth] = 0, 0
	if p.Uptake.Reference == 0 {
		t.p.Uptake.Reference = t.startDKH
	}
	if !p.Uptake.StepAt.IsZero() {
		t.stepAge = p.Uptake.StepAt.Sub(at)
	}
	if p.Uptake.WanderSD > 0 {
		t.wanderKeep = math.Exp(-step.Hours() / p.Uptake.WanderTime.Hours())
		t.wanderSpread = p.Uptake.WanderSD * math.Sqrt(1-t.wanderKeep*t.wanderKeep)
	}
	return t, nil
}

func given(m map[units.Quantity]float64, q units.Quantity, otherwise float64) float64 {
	if v, ok := m[q]; ok {
		return v
	}
	return otherwise
}

func ordinaryProbeSD(q units.Quantity) float64 {
	switch q {
	case units.PH:
		return 0.01
	case units.Temperature:
		return 0.05
	case units.Salinity:
		return 0.1
	}
	return 0
}

// Now gives the instant that the tank has reached.
func (t *Tank) Now() time.Time { return t.began.Add(t.age) }

// Litres gives the present volume of water.
func (t *Tank) Litres() float64 { return t.litres }

// Advance lets time pass until to. An earlier time than Now changes nothing.
func (t *Tank) Advance(to time.Time) {
	end := to.Sub(t.began)
	for t.age < end {
		next := min(end, t.age-t.age%step+step)
		if t.stepAge > t.age {
			next = min(next, t.stepAge)
		}
		t.integrate(next)
		if t.age = next; t.age%step == 0 {
			t.wander = t.wander*t.wanderKeep + t.wanderSpread*t.drift.NormFloat64()
		}
	}
}

// integrate moves all levels from t.age to next, at most one step later, by the midpoint rule.
func (t *Tank) integrate(next time.Duration) {
	h, l := days(next-t.age), &t.levels
	t.evaporate(h / 2) // half before and half after uptake keeps the error of splitting at third order
	middle := t.age + (next-t.age)/2
	size := t.size(middle)

	// Half a step with the slopes of its start, then the whole step with the slopes found there.
	calcified, formed := size*t.light(t.age)*t.law(l[alkalinity], l[calcium]), t.nitrateGain(l[nitrate])
	halfDKH := l[alkalinity] - h/2*(calcified+formed/mgNitratePerDKH)
	halfCalcium := l[calcium] - h/2*calcified*mgCalciumPerDKH
	calcified, formed = size*t.light(middle)*t.law(halfDKH, halfCalcium), t.nitrateGain(l[nitrate]+h/2*formed)

	calcified = min(calcified*h, l[alkalinity], l[calcium]/mgCalciumPerDKH)
	formed *= h
	l[alkalinity] = max(0, l[alkalinity]-calcified-formed/mgNitratePerDKH)
	l[calcium] = max(0, l[calcium]-calcified*mgCalciumPerDKH)
	l[magnesium] = max(0, l[magnesium]-calcified*mgCalciumPerDKH*magnesiumPerCalcium)
	l[nitrate] = max(0, l[nitrate]+formed)
	for i := nitrate + 1; i < dissolved; i++ {
		l[i] = max(0, l[i]-t.perDay[i]*h)
	}
	t.evaporate(h / 2)
	t.relax(h)
}

// size is the uptake at the reference level at an age, day curve left out, dKH/day.
func (t *Tank) size(age time.Duration) float64 {
	u := &t.p.Uptake
	size := u.PerDay * math.Exp(days(age)*math.Log1p(u.GrowthPerDay)+t.wander)
	if age >= t.stepAge {
		size *= u.StepFactor
	}
	return size
}

// light is the factor by which calcification follows the day; its mean over a day is 1.
func (t *Tank) light(age time.Duration) float64 {
	if t.p.Uptake.DaySwing == 0 {
		return 1
	}
	return 1 + t.p.Uptake.DaySwing*t.dayCurve(age, 0)
}

// dayCurve is a cosine of the time of day, 1 at late after mid-light.
func (t *Tank) dayCurve(age, late time.Duration) float64 {
	return math.Cos(2 * math.Pi * days(t.fromNoon+age-t.p.MidLight-late))
}

// law is f of the package comment: uptake relative to that at the reference level.
func (t *Tank) law(dkh, mgCalcium float64) float64 {
	u := &t.p.Uptake
	if !(dkh > 0 && mgCalcium > 0) {
		return 0
	}
	f := min(1, dkh/fadeAlkalinity) * min(1, mgCalcium/fadeCalcium)
	switch u.Law {
	case MichaelisMenten:
		return f * dkh / (dkh + u.HalfLevel) * (u.Reference + u.HalfLevel) / u.Reference
	case Linear:
		return f * max(0, 1+u.Slope*(dkh-u.Reference)/u.Reference)
	}
	return f
}

// nitrateGain is the net gain of nitrate, mg/L per day.
func (t *Tank) nitrateGain(mg float64) float64 {
	return t.p.NitrateFormedPerDay - t.p.NitrateUptakePerDay*max(0, mg)
}

func (t *Tank) evaporate(h float64) {
	lost := t.p.EvaporationLitresPerDay * (1 - t.p.TopOffShare) * h
	if lost <= 0 {
		return
	}
	left := max(t.litres-lost, t.p.NetLitres/2)
	for i := range dissolved {
		t.levels[i] *= t.litres / left
	}
	t.litres = left
}

func days(d time.Duration) float64 { return float64(d) / float64(day) }
