package trial

import (
	"math"
	"math/rand/v2"
)

// kit is how a keeper's test reads.
type kit struct {
	sd    float64 // of one test, dKH
	tails float64 // degrees of freedom of Student's t scaled to sd; 0 = Gaussian
	step  float64 // of the reading, dKH
	gross float64 // chance of a gross error
}

// Gross errors are off by so much, dKH, either way.
const grossLeast, grossMost = 0.8, 3.0

// noise draws the error of one test, before rounding.
func (k kit) noise(r *rand.Rand) float64 {
	e := r.NormFloat64()
	if k.tails > 0 {
		chi := 0.0
		for range int(k.tails) {
			z := r.NormFloat64()
			chi += z * z
		}
		e *= math.Sqrt((k.tails - 2) / chi)
	}
	e *= k.sd
	if r.Float64() < k.gross {
		by := between(r, grossLeast, grossMost)
		if r.Float64() < 0.5 {
			by = -by
		}
		e += by
	}
	return e
}

// read rounds as the kit does. Nothing reads below zero.
func (k kit) read(level, noise float64) float64 {
	return max(0, math.Round((level+noise)/k.step)*k.step)
}

// deed is something that a keeper does at an hour.
type deed struct {
	hour     int
	test     bool    // else a water change
	noise    float64 // of the test
	fraction float64
	mix      float64 // true alkalinity of the new water
	toldMix  float64
}

// keeper is who tests and changes water: his kit, what he does in a trial, in the order of hours, and what he says.
type keeper struct {
	kit   kit
	deeds []deed
	told  Told
}

// habits is what a keeper's deeds are drawn from.
type habits struct {
	kit         kit
	every       float64 // days between tests
	irregular   bool
	holidays    int
	changeEvery float64
	changeLeast float64
	changeMost  float64
	saysKit     bool
	jitterHours int
	plannedHour int
}

func drawHabits(f Family, r *rand.Rand, o Options) habits {
	h := habits{saysKit: r.Float64() < 0.7, plannedHour: 8 + r.IntN(13), jitterHours: 3}
	h.kit = kit{sd: between(r, 0.1, 0.17), step: 0.1, gross: between(r, 0.02, 0.04)}
	h.every, h.changeEvery, h.changeLeast, h.changeMost = between(r, 1.5, 4), between(r, 7, 14), 0.05, 0.12
	switch f {
	case Growing:
		h.every, h.kit.step = between(r, 2, 5), pick(r, 0.1, 0.2)
		h.kit.sd = between(r, 0.1, 0.2)
	case Moody:
		h.every, h.kit.sd, h.kit.tails = between(r, 1, 3), between(r, 0.12, 0.25), 4
		h.irregular = r.Float64() < 0.5
	case Coarse:
		h.every, h.irregular, h.kit.step = between(r, 3, 5), true, pick(r, 0.2, 0.28, 0.5)
		h.kit.sd, h.kit.tails = between(r, 0.15, 0.3), pick(r, 0, 5)
		h.holidays, h.jitterHours = 1+r.IntN(2), 6
		h.changeEvery, h.changeLeast, h.changeMost = between(r, 10, 21), 0.1, 0.2
	}
	if o.TestEvery > 0 {
		h.every, h.irregular = o.TestEvery, false
	}
	h.kit.sd *= o.noiseTimes()
	h.kit.gross *= o.grossTimes()
	return h
}

func pick(r *rand.Rand, of ...float64) float64 { return of[r.IntN(len(of))] }

// drawKeeper draws all that a keeper does in a trial. Early tests come closer: who begins to dose looks sooner.
func drawKeeper(f Family, r *rand.Rand, o Options, w *water) keeper {
	h := drawHabits(f.part(r), r, o)
	k := keeper{kit: h.kit}
	tests, changes := h.tests(r), h.changes(r)
	for len(tests)+len(changes) > 0 {
		if len(changes) == 0 || len(tests) > 0 && tests[0].hour <= changes[0].hour {
			k.deeds, tests = append(k.deeds, tests[0]), tests[1:]
			continue
		}
		k.deeds, changes = append(k.deeds, changes[0]), changes[1:]
	}
	k.told = h.tell(r, w)
	if o.SaysLight {
		k.told.LightFrom, k.told.LightTo = w.lightFrom, (w.lightFrom+w.lightLong)%24
	}
	return k
}

func (h habits) tests(r *rand.Rand) []deed {
	away := map[int]bool{}
	for range h.holidays {
		from, long := 20+r.IntN(Days-40), 8+r.IntN(13)
		for d := range long {
			away[from+d] = true
		}
	}
	var out []deed
	day := 0.0
	for n := 0; day < Days; n++ {
		hour := int(day)*24 + min(23, max(0, h.plannedHour+r.IntN(2*h.jitterHours+1)-h.jitterHours))
		if !away[int(day)] && (len(out) == 0 || hour > out[len(out)-1].hour) {
			out = append(out, deed{hour: hour, test: true, noise: h.kit.noise(r)})
		}
		gap := h.every
		if h.irregular {
			gap *= between(r, 0.3, 1.7)
		}
		if n < 2 {
			gap = min(gap, 2)
		}
		day += max(1, gap)
	}
	return out
}

func (h habits) changes(r *rand.Rand) []deed {
	usual := between(r, 7, 11)
	var out []deed
	for day := h.changeEvery * r.Float64(); day < Days; day += h.changeEvery * between(r, 0.8, 1.2) {
		d := deed{hour: int(day)*24 + 9 + r.IntN(12), fraction: between(r, h.changeLeast, h.changeMost)}
		d.mix = usual + 0.2*r.NormFloat64()
		d.toldMix = usual + 0.1*r.NormFloat64()
		out = append(out, d)
	}
	return out
}

// What a keeper dosed before is this share of the use; above alwaysDosed, dKH/day, every tank was dosed, below it
// every second.
const (
	baseLeast, baseMost = 0.6, 1.1
	alwaysDosed         = 0.8
)

// tell is what the keeper says before a trial. Tanks that use much were dosed before, with some error.
func (h habits) tell(r *rand.Rand, w *water) Told {
	t := Told{Litres: math.Round(between(r, 80, 900)), StrengthDKHLitresPerML: between(r, 40, 140), Target: target, Band: 0.5,
		MaxRise: 1, MaxFall: 1, CapPerDay: capPerDay}
	if h.saysKit {
		t.TestSD = h.kit.sd
	}
	base := w.strength() * between(r, baseLeast, baseMost)
	if w.size > alwaysDosed || r.Float64() < 0.5 {
		t.Base = base
	}
	return t
}
