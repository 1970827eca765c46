package tank

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"aliquot/planner/units"
)

const (
	// step is the grid of the wander and the longest step of integration.
	step = 10 * time.Minute

	day        = 24 * time.Hour
	stepsInDay = int(day / step)

	// mgCalciumPerDKH: 20.039 mg/L per meq/L, 2.80385 dKH per meq/L.
	mgCalciumPerDKH = 20.039 / 2.80385
	// magnesiumPerCalcium is by mass; common practice.
	magnesiumPerCalcium = 0.1
	// mgNitratePerDKH: 62.004 mg per mmol NO3, one meq each.
	mgNitratePerDKH = 62.004 / 2.80385
	// micromolPerDKH is µeq/L.
	micromolPerDKH = 1000 / 2.80385

	// Below these levels calcification fades to nothing.
	fadeAlkalinity = 0.5 // dKH
	fadeCalcium    = 20  // mg/L

	// warming is the time constant with which an offset of the temperature vanishes.
	warming = 3 * time.Hour
	// peakAfter is how long after mid-light the temperature is highest.
	peakAfter = 4 * time.Hour
)

// state is the water at one instant. A copy shares nothing that is written to.
type state struct {
	levels [slots]float64
	litres float64
	late   []pool
}

// Tank is one body of water at one instant. Make it with New.
type Tank struct {
	p     Params
	began time.Time
	age   time.Duration // since began
	// state is that at done, the end of the last whole step or the last change; between it and age nothing is fixed, so
	// that it does not matter how time is cut.
	state
	done time.Duration
	// shown is the state at shownAt, worked out from that at shownFrom.
	shown              state
	shownFrom, shownAt time.Duration

	// fromNoon is the time of day of began, counted from 12:00 UTC.
	fromNoon time.Duration
	// stepAge is the age at which uptake steps; never reached if there is no step.
	stepAge       time.Duration
	perDay        [slots]float64 // constant uptake
	probe         [slots]probe
	startT        float64
	density       float64 // kg/m³
	perDKH        float64 // µmol/kg
	room          float64 // µatm
	saturationRef float64 // aragonite at the reference level, less 1

	// relative is the uptake as a share of size in each step of the last day and in the present one, in
	// days; steps counts them.
	relative [stepsInDay + 1]float64
	steps    int

	wander       float64 // x
	wanderKeep   float64 // e^(−Δ/τ)
	wanderSpread float64 // σ·√(1−e^(−2Δ/τ))
	// Two streams of one seed, so that taking readings does not change what the tank does.
	drift, noise *rand.Rand
}

// New makes a tank at its start. It fails if a parameter is outside its range, or alkalinity and pH at the start cannot
// belong to one water.
func New(p Params, at time.Time) (*Tank, error) {
	if err := p.check(); err != nil {
		return nil, err
	}
	t := &Tank{
		p: p, began: at, stepAge: math.MaxInt64,
		drift: rand.New(rand.NewPCG(p.Seed, 1)), noise: rand.New(rand.NewPCG(p.Seed, 2)),
	}
	t.litres = p.NetLitres
	utc := at.UTC()
	t.fromNoon = at.Sub(time.Date(utc.Year(), utc.Month(), utc.Day(), 12, 0, 0, 0, time.UTC))
	for i, q := range bySlot {
		t.levels[i] = given(p.Start, q, ordinary(q))
		t.perDay[i] = given(p.OtherPerDay, q, 0)
		t.probe[i] = probe{sd: given(p.ProbeSD, q, ordinaryProbeSD(q)), offset: p.ProbeOffset[q], drift: p.ProbeDriftPerDay[q]}
	}
	if p.Life.LightHours == 0 {
		t.p.Life.LightHours = ordinaryLightHours
	}
	if !p.Uptake.StepAt.IsZero() {
		t.stepAge = p.Uptake.StepAt.Sub(at)
	}
	if p.Uptake.WanderSD > 0 {
		t.wanderKeep = math.Exp(-step.Hours() / p.Uptake.WanderTime.Hours())
		t.wanderSpread = p.Uptake.WanderSD * math.Sqrt(1-t.wanderKeep*t.wanderKeep)
	}
	if err := t.startCarbon(p); err != nil {
		return nil, err
	}
	// What Advance reads was copied above: the caller keeps his maps.
	t.p.Start, t.p.OtherPerDay, t.p.ProbeSD, t.p.ProbeOffset, t.p.ProbeDriftPerDay = nil, nil, nil, nil, nil
	return t, nil
}

// startCarbon turns the pH at the start into inorganic carbon, and sets what refers to the start.
func (t *Tank) startCarbon(p Params) error {
	t.startT, t.levels[warmth] = t.levels[warmth], 0
	var err error
	if t.density, err = densityOf(p.Start); err != nil {
		return fmt.Errorf("tank: %w", err)
	}
	t.perDKH = micromolPerDKH * 1000 / t.density
	ph, dkh, w := t.levels[carbon], t.levels[alkalinity], t.water(&t.state, 0)
	if t.levels[carbon], err = t.carbonAt(w, dkh, ph); err != nil {
		return fmt.Errorf("tank: alkalinity %g dKH and pH %g at the start: %w", dkh, ph, err)
	}
	if p.Uptake.Reference == 0 {
		t.p.Uptake.Reference = dkh
	}
	if t.room = p.RoomPCO2; t.room == 0 {
		t.room = t.carbonateNow(&t.state, 0).pco2
	}
	if p.Uptake.Law != Saturation {
		return nil
	}
	c, err := t.carbonAt(w, t.p.Uptake.Reference, ph)
	if err != nil {
		return fmt.Errorf("tank: reference level %g dKH at pH %g: %w", t.p.Uptake.Reference, ph, err)
	}
	sys := system(w)
	t.saturationRef = t.solve(&sys, t.p.Uptake.Reference, c).aragonite - 1
	if !(t.saturationRef > leastSaturation) {
		return fmt.Errorf("tank: the water at the start has an aragonite saturation of %.3g, uptake by saturation needs more than %g", t.saturationRef+1, 1+leastSaturation)
	}
	return nil
}

// leastSaturation above 1 is what a reference needs for uptake to be told from it.
const leastSaturation = 0.1

func given(m map[units.Quantity]float64, q units.Quantity, otherwise float64) float64 {
	if v, ok := m[q]; ok {
		return v
	}
	return otherwise
}

// Now gives the instant that the tank has reached.
func (t *Tank) Now() time.Time { return t.began.Add(t.age) }

// Litres gives the present volume of water.
func (t *Tank) Litres() float64 { return t.present().litres }

// Advance lets time pass until to. An earlier time than Now changes nothing. How time is cut into calls does not
// matter, to the last bit.
func (t *Tank) Advance(to time.Time) {
	end := to.Sub(t.began)
	if end <= t.age {
		return
	}
	for {
		next := t.done - t.done%step + step
		if t.stepAge > t.done {
			next = min(next, t.stepAge)
		}
		if next > end {
			break
		}
		t.fix(next)
	}
	t.age = end
}

// fix makes the state at an age the one to go on from, at the latest at the end of the present step.
func (t *Tank) fix(age time.Duration) {
	if age > t.done {
		var relative float64
		t.state, relative = t.course(&t.state, t.done, age)
		t.relative[t.steps%len(t.relative)] += relative
		t.done = age
	}
	if age%step != 0 {
		return
	}
	t.wander = t.wander*t.wanderKeep + t.wanderSpread*t.drift.NormFloat64()
	t.steps++
	t.relative[t.steps%len(t.relative)] = 0
}

// settle makes the present state the one to go on from: something changes it now.
func (t *Tank) settle() {
	if t.age > t.done {
		t.fix(t.age)
	}
}

// present is the state now.
func (t *Tank) present() *state {
	if t.age == t.done {
		return &t.state
	}
	if t.shownAt != t.age || t.shownFrom != t.done {
		t.shown, _ = t.course(&t.state, t.done, t.age)
		t.shownFrom, t.shownAt = t.done, t.age
	}
	return &t.shown
}

// temperature of a state, degC.
func (t *Tank) temperature(s *state, age time.Duration) float64 {
	return t.startT + t.p.TemperatureSwing*t.dayCurve(age, peakAfter) + s.levels[warmth]
}

// dayCurve is a cosine of the time of day, 1 at late after mid-light.
func (t *Tank) dayCurve(age, late time.Duration) float64 {
	return math.Cos(2 * math.Pi * days(t.fromNoon+age-t.p.MidLight-late))
}

func days(d time.Duration) float64 { return float64(d) / float64(day) }
