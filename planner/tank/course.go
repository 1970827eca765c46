package tank

import (
	"math"
	"time"

	"aliquot/planner/seawater"
)

// passed is what has passed since the start of a step.
type passed struct {
	relative float64 // uptake as a share of its size, days
	nitrate  float64 // net gain, mg/L
	carbon   float64 // net gain of inorganic carbon, µmol/kg, but for what appears late
}

func (p passed) plus(h float64, rate passed) passed {
	return passed{p.relative + h*rate.relative, p.nitrate + h*rate.nitrate, p.carbon + h*rate.carbon}
}

// run is one step of integration.
type run struct {
	t      *Tank
	s      state // at the start, after half of the evaporation
	from   time.Duration
	length float64 // days
	size   float64 // of uptake in the middle, dKH/day
	system seawater.System
	solves bool // the carbonate system is needed
}

// course gives the state at an age from that at another, at most a step before, and the uptake between as a share of its
// size, in days. Half of the evaporation is before and half after what else happens.
func (t *Tank) course(from *state, begin, end time.Duration) (state, float64) {
	r := run{t: t, s: *from, from: begin, length: days(end - begin)}
	t.evaporate(&r.s, r.length/2)
	middle := begin + (end-begin)/2
	r.size = t.size(middle)
	r.solves = t.p.Uptake.Law == Saturation || t.p.GasExchangePerHour > 0
	if r.solves {
		r.system = system(t.water(&r.s, middle))
	}
	out, relative := r.finish(r.integrate())
	t.evaporate(&out, r.length/2)
	out.levels[warmth] *= math.Exp(-r.length / days(warming))
	return out, relative
}

// integrate is one step of the classical fourth-order method of Runge and Kutta.
func (r *run) integrate() passed {
	h := r.length
	a := r.rate(0, passed{})
	b := r.rate(h/2, passed{}.plus(h/2, a))
	c := r.rate(h/2, passed{}.plus(h/2, b))
	d := r.rate(h, passed{}.plus(h, c))
	return passed{}.plus(h/6, a).plus(h/3, b).plus(h/3, c).plus(h/6, d)
}

// rate is what passes in a day, after a part of a day in which so much has passed.
func (r *run) rate(after float64, p passed) passed {
	t, l := r.t, &r.s.levels
	age := r.from + time.Duration(after*float64(day))
	late, lateCarbon := appeared(r.s.late, after)
	taken := r.size * p.relative
	dkh := max(0, l[alkalinity]-taken-p.nitrate/mgNitratePerDKH+late)
	calciumNow := max(0, l[calcium]-taken*mgCalciumPerDKH)
	carbonNow := max(0, l[carbon]+p.carbon+lateCarbon*t.perDKH)
	var c carbonate
	if r.solves {
		c = t.solve(&r.system, dkh, carbonNow)
		c.aragonite *= calciumNow / max(l[calcium], 1e-9) // the system has the calcium of the start
	}
	relative := t.light(age) * t.law(dkh, calciumNow, carbonNow, c.aragonite)
	return passed{
		relative: relative,
		nitrate:  t.nitrateGain(l[nitrate] + p.nitrate),
		carbon:   t.life(age, carbonNow) - r.size*relative*t.perDKH/2 - t.gas(c),
	}
}

// finish applies what has passed, never more than there was.
func (r *run) finish(p passed) (state, float64) {
	out := r.s
	l, t := &out.levels, r.t
	late, lateCarbon := appeared(r.s.late, r.length)
	taken := clamp(r.size*p.relative, 0, min(l[alkalinity]+late, l[calcium]/mgCalciumPerDKH))
	l[alkalinity] = max(0, l[alkalinity]+late-taken-p.nitrate/mgNitratePerDKH)
	l[calcium] = max(0, l[calcium]-taken*mgCalciumPerDKH)
	l[magnesium] = max(0, l[magnesium]-taken*mgCalciumPerDKH*magnesiumPerCalcium)
	l[nitrate] = max(0, l[nitrate]+p.nitrate)
	l[carbon] = max(0, l[carbon]+p.carbon+lateCarbon*t.perDKH)
	for i := nitrate + 1; i < carbon; i++ {
		l[i] = max(0, l[i]-t.perDay[i]*r.length)
	}
	out.late = scaled(r.s.late, func(q pool) float64 { return math.Exp(-constantsPerOver * r.length / days(q.over)) })
	return out, p.relative
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

// law is f of the package comment: uptake relative to that at the reference level.
func (t *Tank) law(dkh, mgCalcium, micromolCarbon, aragonite float64) float64 {
	u := &t.p.Uptake
	if !(dkh > 0 && mgCalcium > 0) {
		return 0
	}
	f := min(1, dkh/fadeAlkalinity) * min(1, mgCalcium/fadeCalcium) * min(1, micromolCarbon/scarceCarbon)
	switch u.Law {
	case MichaelisMenten:
		return f * dkh / (dkh + u.HalfLevel) * (u.Reference + u.HalfLevel) / u.Reference
	case Linear:
		return f * max(0, 1+u.Slope*(dkh-u.Reference)/u.Reference)
	case Saturation:
		return f * max(0, aragonite-1) / t.saturationRef
	}
	return f
}

// life is what respiration less photosynthesis brings of inorganic carbon, µmol/kg per day.
func (t *Tank) life(age time.Duration, micromolCarbon float64) float64 {
	l := &t.p.Life
	if l.PhotosynthesisPerDay == 0 {
		return l.RespirationPerDay
	}
	return l.RespirationPerDay - l.PhotosynthesisPerDay*t.lamps(age)*min(1, micromolCarbon/scarceCarbon)
}

// lamps is the light of photosynthesis: a squared cosine over the light period, 0 outside; its mean over a day is 1.
func (t *Tank) lamps(age time.Duration) float64 {
	hours := 24 * days(t.fromNoon+age-t.p.MidLight)
	hours -= 24 * math.Round(hours/24)
	if math.Abs(hours) >= t.p.Life.LightHours/2 {
		return 0
	}
	c := math.Cos(math.Pi * hours / t.p.Life.LightHours)
	return c * c * 48 / t.p.Life.LightHours
}

// gas is what leaves to the room, µmol/kg of CO2 per day; negative: it comes from there.
func (t *Tank) gas(c carbonate) float64 {
	return 24 * t.p.GasExchangePerHour * (c.co2 - t.room*c.perMicroat)
}

// nitrateGain is the net gain of nitrate, mg/L per day.
func (t *Tank) nitrateGain(mg float64) float64 {
	return t.p.NitrateFormedPerDay - t.p.NitrateUptakePerDay*max(0, mg)
}

func (t *Tank) evaporate(s *state, h float64) {
	lost := t.p.EvaporationLitresPerDay * (1 - t.p.TopOffShare) * h
	if lost <= 0 {
		return
	}
	left := max(s.litres-lost, t.p.NetLitres/2)
	for i := range dissolved {
		s.levels[i] *= s.litres / left
	}
	s.late = scaled(s.late, func(pool) float64 { return s.litres / left })
	s.litres = left
}
