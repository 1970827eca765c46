package trial

import (
	"math"
	"math/rand/v2"
	"time"
)

const (
	// Days is how long a trial lasts.
	Days = 120
	// LateFrom is the day from which the second score counts: what a policy does once it knows the tank.
	LateFrom = 14

	hours     = Days * 24
	target    = 8.3 // dKH
	capPerDay = 6.0 // dKH/day as told
)

// HeldOut is the first seed for judging; below it are those to develop by.
const HeldOut uint64 = 10_000

// Start is the instant at which every trial starts.
var Start = time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC)

// Options change what trials are like. The zero value changes nothing.
type Options struct {
	NoiseTimes    float64 // kit noise, 0 = 1
	GrossTimes    float64 // how often a test is grossly wrong, 0 = 1
	GrowthTimes   float64 // growth of the corals, 0 = 1
	TestEvery     float64 // days between tests, 0 = as the family does
	Repeats       bool    // the keeper repeats a test an hour later when the policy doubts it
	FlatDay       bool    // corals use as much by night as by day
	SaysLight     bool    // the keeper says when the lights are on
	Probe         bool    // a probe streams the alkalinity, each hour
	ToldVolumeOff float64 // true rise for a told one is higher by this share: 0.2 = the tank holds less than told
}

func (o Options) noiseTimes() float64  { return orOne(o.NoiseTimes) }
func (o Options) grossTimes() float64  { return orOne(o.GrossTimes) }
func (o Options) growthTimes() float64 { return orOne(o.GrowthTimes) }

func orOne(x float64) float64 {
	if x == 0 {
		return 1
	}
	return x
}

// Told is what a keeper says before a trial: the truth is a few percent off.
type Told struct {
	Litres                 float64
	StrengthDKHLitresPerML float64 // dKH in 1 L for 1 mL; of calcium and magnesium mg/L, here and below
	Target, Band           float64
	MaxRise, MaxFall       float64 // dKH/day
	CapPerDay              float64 // the most that may be dosed, dKH/day as told
	TestSD                 float64 // 0 = he does not say
	Base                   float64 // what he dosed before, dKH/day; 0 = nothing
	LightFrom, LightTo     int     // hours of the day; the same = he does not say
}

// Policy decides how much is dosed. Calls come in the order of time; at equal times tests come first, then water
// changes, then Daily, then Dosed.
type Policy interface {
	// Reset starts a trial; what was learnt before is forgotten.
	Reset(told Told)
	Test(at time.Time, value float64)
	WaterChange(at time.Time, fraction, mix float64)
	// Dosed says that the hour from at brings a rise, dKH as told.
	Dosed(at time.Time, rise float64)
	// Daily gives the rise wanted in 24 h, dKH as told, given evenly until it is asked again: at midnight and after
	// each test and water change.
	Daily(at time.Time) float64
}

// believer is a policy that says what it believes.
type believer interface {
	Belief(at time.Time) (Belief, bool)
}

// Belief is a mean and a standard deviation for the level, dKH, and for the use, dKH/day.
type Belief struct{ Level, LevelSD, Use, UseSD float64 }

// watcher is a policy that looks at a probe.
type watcher interface {
	Probe(at time.Time, value float64)
}

// doubter is a policy that may set a test aside and ask for another one.
type doubter interface{ Doubts() bool }

// bounded is a policy that keeps below the cap by itself, and says when it would have given more.
type bounded interface{ Capped() bool }

// seer is a policy that is shown the truth. Only limits are.
type seer interface{ see(w *water) }

// insider is a policy that is told the family and the keeper's habits, but nothing of this tank. Only limits are.
type insider interface {
	inform(f Family, seed uint64, o Options, k kit)
}

// streams of one seed, so that what the tank does, what the keeper does and what a limit draws never mix.
const (
	streamTank = 1 + iota
	streamDrift
	streamKeeper
	streamLimit
	streamRepeat
	streamIons
	streamProbe
)

// randomOf starts a stream of a family's seed.
func randomOf(f Family, seed uint64, stream uint64) *rand.Rand {
	sum := uint64(0)
	for _, c := range []byte(f) {
		sum = sum*131 + uint64(c)
	}
	return rand.New(rand.NewPCG(seed, sum<<8|stream))
}

// Run plays one trial. The same arguments, with a policy that starts anew at Reset, give the same score.
func Run(f Family, seed uint64, o Options, p Policy) Score {
	w := drawWater(f, randomOf(f, seed, streamTank), o)
	k := drawKeeper(f, randomOf(f, seed, streamKeeper), o, &w)
	if in, ok := p.(insider); ok {
		in.inform(f, seed, o, k.kit)
	}
	if s, ok := p.(seer); ok {
		s.see(&w)
	}
	p.Reset(k.told)
	again := repeats{on: o.Repeats, due: -1, noise: randomOf(f, seed, streamRepeat)}
	var probe *probe
	if o.Probe {
		probe = drawProbe(randomOf(f, seed, streamProbe))
	}
	return play(&w, &k, randomOf(f, seed, streamDrift), &again, probe, p)
}

// repeats is a keeper's answer to a doubted test: one more, an hour later, unless it was a repeat itself.
type repeats struct {
	on    bool
	due   int // hour, -1 = none
	noise *rand.Rand
}

func (k *repeats) after(h int, p Policy) {
	if d, ok := p.(doubter); ok && k.on && d.Doubts() {
		k.due = h + 1
	}
}

// probe reads alkalinity each hour, wrong by something that strays.
type probe struct {
	r             *rand.Rand
	off, walk, sd float64 // dKH, dKH in a day, dKH
}

func drawProbe(r *rand.Rand) *probe {
	return &probe{r: r, off: 0.3 * r.NormFloat64(), walk: between(r, 0.02, 0.08), sd: between(r, 0.03, 0.1)}
}

// read is a reading of the hour.
func (k *probe) read(level float64) float64 {
	k.off += k.walk / math.Sqrt(24) * k.r.NormFloat64()
	return max(0, level+k.off+k.sd*k.r.NormFloat64())
}

// play lets a trial pass hour by hour.
func play(w *water, k *keeper, drift *rand.Rand, again *repeats, probe *probe, p Policy) Score {
	m := newMeter(target)
	tests, next, perDay := 0, 0, 0.0
	for h := range hours {
		at := Start.Add(time.Duration(h) * time.Hour)
		ask := h%24 == 0
		if h == again.due {
			p.Test(at, k.kit.read(w.level, k.kit.noise(again.noise)))
			tests, ask = tests+1, true
		}
		for ; next < len(k.deeds) && k.deeds[next].hour <= h; next++ {
			ask = true
			if d := k.deeds[next]; d.test {
				p.Test(at, k.kit.read(w.level, d.noise))
				again.after(h, p)
				tests++
			} else {
				w.change(d.fraction, d.mix)
				p.WaterChange(at, d.fraction, d.toldMix)
			}
		}
		if probe != nil {
			reading := probe.read(w.level)
			if looks, ok := p.(watcher); ok {
				looks.Probe(at, reading)
			}
		}
		if ask {
			wish := p.Daily(at)
			perDay = given(wish, k.told.CapPerDay)
			b, ok := p.(bounded)
			m.asked(wish, k.told.CapPerDay, ok && b.Capped())
		}
		if tests >= 2 {
			m.hour(h, w, p, at)
		}
		p.Dosed(at, perDay/24)
		m.dosed(perDay / 24)
		w.pass(drift, h, perDay/24)
	}
	return m.score()
}

// given is what becomes of a wish: nothing below zero or without a number, and no more than the cap.
func given(wish, most float64) float64 {
	if !(wish > 0) {
		return 0
	}
	return min(wish, most)
}
