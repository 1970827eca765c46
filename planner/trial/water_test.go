package trial

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

func rng(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 99)) }

// still is a tank in which nothing changes but the level.
func still(use float64) water {
	w := water{target: target, level: target, size: use, gain: 1, shift: 1, goal: 1}
	w.law, w.lawAt, w.lightFrom, w.lightLong = power, 0, 8, 10
	w.wander, w.wanderDay = meanReverting, 10
	return w
}

func TestLawsAreOneAtTheTarget(t *testing.T) {
	for _, c := range []struct {
		name  string
		law   law
		at    float64
		level float64
		want  float64
	}{
		{"linear, halfway to where it stops", linear, 2.3, 5.3, 0.5},
		{"linear, below where it stops", linear, 2.3, 2, 0},
		{"linear, where it stops", linear, 2.3, 2.3, 0},
		{"square", power, 2, target / 2, 0.25},
		{"root", power, 0.5, target * 4, 2},
		{"saturating, far up", saturating, target, 1e9, 2},
		{"nothing in an empty tank", saturating, 2, 0, 0},
		{"nothing below it", power, 1, -1, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := still(1)
			w.law, w.lawAt = c.law, c.at
			if got := w.lawOf(c.level); math.Abs(got-c.want) > 1e-6 {
				t.Errorf("law at %v dKH = %v, want %v", c.level, got, c.want)
			}
			if got := w.lawOf(target); math.Abs(got-1) > 1e-12 {
				t.Errorf("law at the target = %v, want 1", got)
			}
		})
	}
}

func TestLightHasAMeanOfOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := still(1)
		w.daySwing = rapid.Float64Range(0, 1).Draw(t, "swing")
		w.lightFrom, w.lightLong = rapid.IntRange(0, 23).Draw(t, "from"), rapid.IntRange(1, 12).Draw(t, "long")
		sum := 0.0
		for h := range 24 {
			v := w.light(h)
			if v < 0 {
				t.Fatalf("light(%d) = %v, want 0 or more", h, v)
			}
			sum += v
		}
		if math.Abs(sum/24-1) > 1e-12 {
			t.Fatalf("mean %v, want 1", sum/24)
		}
	})
}

func TestPassBalances(t *testing.T) {
	w, r := still(2.4), rng(1)
	w.gain = 1.1
	for h := range 240 {
		w.pass(r, h, 0.12)
	}
	if want := target + 10*(0.12*24*1.1-2.4); math.Abs(w.level-want) > 1e-9 {
		t.Errorf("level after ten days %v dKH, want %v", w.level, want)
	}
}

// Whatever is dosed, the tank's own course stays the same: policies meet the same weather.
func TestDosesDoNotChangeTheWeather(t *testing.T) {
	for _, f := range Families() {
		w := drawWater(f, rng(5), Options{})
		other, a, b := w, rng(6), rng(6)
		for h := range hours {
			w.pass(a, h, 0)
			other.pass(b, h, 0.3)
			if w.strength() != other.strength() || w.gain != other.gain {
				t.Fatalf("%s: at hour %d strengths %v and %v, gains %v and %v", f, h, w.strength(), other.strength(), w.gain, other.gain)
			}
		}
		if !(other.level > w.level) {
			t.Errorf("%s: %v dKH with doses, %v without", f, other.level, w.level)
		}
	}
}

func TestTanksStayWithinWhatIsSaid(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.SampledFrom(Families()).Draw(t, "family")
		w, r := drawWater(f, rng(rapid.Uint64().Draw(t, "seed")), Options{GrowthTimes: rapid.SampledFrom([]float64{0, 3}).Draw(t, "growth")}), rng(2)
		if w.size < 0.3 || w.size > 4 || math.Abs(w.level-target) > 2 || math.Abs(w.gain-1) > 0.4 {
			t.Fatalf("%s starts with use %v, level %v, gain %v", f, w.size, w.level, w.gain)
		}
		for h := range hours {
			w.pass(r, h, 0)
			if !(w.level >= 0) || w.size > fullUse || w.shift < 0.27 || w.shift > 2.4 || !(w.gain > 0.6 && w.gain < 1.5) {
				t.Fatalf("%s at hour %d: level %v, use %v, steps %v, gain %v", f, h, w.level, w.size, w.shift, w.gain)
			}
		}
	})
}

// Over many tanks the logarithm of the use spreads as the family says, at the start and at the end.
func TestWanderKeepsItsSpread(t *testing.T) {
	for _, kind := range []wander{meanReverting, kinked, swelling} {
		var first, last moments
		r := rng(3)
		for range 2000 {
			w := still(1)
			w.wander, w.wanderSD, w.wanderDay = kind, 0.2, 10
			w.settle(r)
			first.add(math.Log(w.strength()))
			for h := 0; h < 30*24; h += slowHours {
				w.drift(r)
			}
			last.add(math.Log(w.strength()))
		}
		// Between two corners a line is nearer to the middle than its ends.
		least := 0.18
		if kind == kinked {
			least = 0.14
		}
		if sd := first.sd(); sd < 0.18 || sd > 0.22 {
			t.Errorf("wander %d: sd %v at the start, want 0.2", kind, sd)
		}
		if sd := last.sd(); sd < least || sd > 0.22 {
			t.Errorf("wander %d: sd %v after a month, want %v to 0.22", kind, sd, least)
		}
	}
}

func TestStepsComeAsOftenAsSaid(t *testing.T) {
	r, n := rng(4), 0
	const tanks, rate = 400, 3.0 / Days
	for range tanks {
		w := still(1)
		w.stepRate = rate
		for h := 0; h < hours; h += slowHours {
			before := w.goal
			w.drift(r)
			if w.goal != before {
				n++
				if by := math.Abs(w.goal/before - 1); by < 0.2-1e-9 || by > 0.5+1e-9 {
					t.Fatalf("a step of %v, want 0.2 to 0.5", by)
				}
			}
		}
	}
	if mean := float64(n) / tanks; mean < 2.6 || mean > 3.2 {
		t.Errorf("%v steps a trial, want about 3", mean)
	}
}

func TestChangeMixes(t *testing.T) {
	w := still(1)
	w.level = 8
	if w.change(0.25, 10); math.Abs(w.level-8.5) > 1e-12 {
		t.Errorf("level %v, want 8.5", w.level)
	}
}

// Given evenly, what is used in a day leaves the level where it was, and its mean over the day is at phase 0.
func TestPhaseIsTheDayCurve(t *testing.T) {
	w, r := still(2), rng(1)
	w.daySwing = 0.6
	start, sum := w.level, 0.0
	for h := range 24 {
		if got, want := w.level-start, 2*(w.phase(h)-w.phase(0)); math.Abs(got-want) > 1e-9 {
			t.Errorf("hour %d: %v above the start, phase says %v", h, got, want)
		}
		before := w.level
		w.pass(r, h, 2.0/24)
		sum += (before + w.level) / 48
	}
	if math.Abs(sum-(start-2*w.phase(0))) > 1e-9 {
		t.Errorf("mean of the day %v, phase says %v", sum, start-2*w.phase(0))
	}
}
