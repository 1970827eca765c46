package estimate

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"aliquot/planner/units"
)

// streamed is a linear tank that is dosed with 2 dKH a day and watched by a probe each hour.
type streamed struct {
	days   int
	every  int // days between tests
	use    func(day float64) float64
	probe  func(day float64) float64 // its error
	silent bool
	noise  float64 // of the probe
	seed   uint64
}

// look is asked each hour with the truth.
func (s streamed) run(look func(day, level, use float64, e Estimate)) {
	r := rand.New(rand.NewPCG(s.seed, 1))
	f := New(100, []Spec{{Quantity: units.Alkalinity, TestSD: 0.15, Target: 8, Upper: 8.5, Use: 2, UseSD: 0.5}})
	level := 8.0
	for h := range s.days * 24 {
		day := float64(h) / 24
		at := noon.Add(time.Duration(h) * time.Hour)
		if h%(24*s.every) == 0 {
			f.Test(Test{At: at, Quantity: units.Alkalinity, Value: level + 0.15*r.NormFloat64()})
		}
		if !s.silent {
			f.Probe(ProbeReading{At: at, Quantity: units.Alkalinity, Value: level + s.probe(day) + s.noise*r.NormFloat64()})
		}
		look(day, level, s.use(day), f.At(at, units.Alkalinity))
		f.Dose(at, []Rise{{Quantity: units.Alkalinity, Mean: 2.0 / 24, Lo: 2.0 / 24, Hi: 2.0 / 24}})
		level = max(0, level+(2-s.use(day))/24)
	}
}

func steady(v float64) func(float64) float64 { return func(float64) float64 { return v } }

// A use that steps up by 0.6 dKH a day, three days before the next weekly test: the probe, which reads 0.6 too high all along, shows
// a part of it within two days, as much as a probe is believed, and the tests alone cannot.
func TestProbeShowsAStepBetweenTests(t *testing.T) {
	step := func(day float64) float64 {
		if day < 32 {
			return 2
		}
		return 2.6
	}
	for seed := range uint64(5) {
		var with, without float64
		s := streamed{days: 35, every: 7, use: step, probe: steady(0.6), noise: 0.05, seed: seed}
		s.run(func(day, _, _ float64, e Estimate) {
			if day > 34 && day < 34.05 {
				with = e.Consumption
			}
		})
		s.silent = true
		s.run(func(day, _, _ float64, e Estimate) {
			if day > 34 && day < 34.05 {
				without = e.Consumption
			}
		})
		if !(with > 2.12 && with < 2.7) || !(math.Abs(without-2) < 0.25) {
			t.Errorf("seed %d: two days after the step the use is %.2f with the probe, %.2f without; it is 2.6", seed, with, without)
		}
	}
}

// What a probe reads wrong by is found out, and moves no level.
func TestOffsetOfAProbeIsFound(t *testing.T) {
	for _, off := range []float64{-0.6, 0, 0.9} {
		sum, n, covered, hours := 0.0, 0.0, 0.0, 0.0
		for seed := range uint64(8) {
			streamed{days: 40, every: 4, use: steady(2), probe: steady(off), noise: 0.05, seed: seed}.run(func(day, level, _ float64, e Estimate) {
				hours++
				if math.Abs(e.Level-level) <= 1.645*e.LevelSD {
					covered++
				}
				if day > 39.9 {
					sum, n = sum+e.Offset, n+1
					if math.Abs(e.Offset-off) > 3*e.OffsetSD || e.OffsetSD > 0.2 {
						t.Errorf("seed %d: offset %.2f ± %.2f, want %.2f", seed, e.Offset, e.OffsetSD, off)
					}
				}
			})
		}
		if math.Abs(sum/n-off) > 0.1 {
			t.Errorf("offsets of %.2f are found as %.2f on the mean", off, sum/n)
		}
		if share := covered / hours; share < 0.8 {
			t.Errorf("an offset of %.2f: the 90 %% interval of the level holds %.0f %% of the hours", off, 100*share)
		}
	}
}

// After a day of silence everything is as it is without a probe, to the bit but for the steps that the time is taken in.
func TestSilentProbeIsForgotten(t *testing.T) {
	f := New(100, []Spec{{Quantity: units.Alkalinity, TestSD: 0.15, Target: 8}})
	f.Test(Test{At: noon, Quantity: units.Alkalinity, Value: 8})
	g := f.Clone()
	for h := range 48 {
		f.Probe(ProbeReading{At: noon.Add(time.Duration(h) * time.Hour), Quantity: units.Alkalinity, Value: 8 - float64(h)/48})
	}
	at := noon.Add(47 * time.Hour)
	if e := f.At(at, units.Alkalinity); !(e.Use > g.At(at, units.Alkalinity).Use) || e.OffsetSeen != at {
		t.Errorf("with the probe: %+v", e)
	}
	at = noon.Add(72*time.Hour + time.Minute)
	e, want := f.At(at, units.Alkalinity), g.At(at, units.Alkalinity)
	if math.Abs(e.Level-want.Level) > 5e-3 || math.Abs(e.Use-want.Use) > 1e-3 || math.Abs(e.LevelSD-want.LevelSD) > 0.05*want.LevelSD || !e.OffsetSeen.IsZero() {
		t.Errorf("a day after it: %+v, want %+v", e, want)
	}
}

// Whatever a probe says, the level that the tests alone speak for is told beside, and the use is at most half more and no
// more at all once the tests are old; what is more counts as raised by one test.
func TestProbeRaisesLittle(t *testing.T) {
	for _, lie := range []func(float64) float64{steady(-1.5), func(day float64) float64 { return -0.4 * day }, func(day float64) float64 { return -3 * math.Mod(day, 3) }, func(day float64) float64 { return 0.4 * day }} {
		var plain []Estimate
		s := streamed{days: 45, every: 90, use: steady(2), probe: lie, noise: 0.05, seed: 3}
		s.silent = true
		s.run(func(_, _, _ float64, e Estimate) { plain = append(plain, e) })
		s.silent = false
		h := 0
		s.run(func(day, _, _ float64, e Estimate) {
			want := plain[h]
			h++
			if math.Abs(e.CaughtByTests-want.LevelCaught) > 0.02 && !e.OffsetSeen.IsZero() {
				t.Fatalf("day %.1f: what is held against the band is %.3f, want the %.3f of the tests", day, e.CaughtByTests, want.LevelCaught)
			}
			if e.UseAtTarget > 1.5*want.UseAtTarget+0.01 || e.UseAtTarget < 0.5*want.UseAtTarget-0.01 {
				t.Fatalf("day %.1f: use %.3f, that of the tests is %.3f", day, e.UseAtTarget, want.UseAtTarget)
			}
			if day > 7.1 && (math.Abs(e.UseAtTarget-want.UseAtTarget) > 0.01 || math.Abs(e.Level-want.Level) > 0.02) {
				t.Fatalf("day %.1f: a probe moves what old tests say: %+v, want %+v", day, e, want)
			}
			if asked := e.UseAtTarget - want.UseAtTarget - e.Level + want.Level; math.Abs(asked) > 0.51 {
				t.Fatalf("day %.1f: %.2f more asked for in a day than by tests", day, asked)
			}
			if extra := e.UseAtTarget - want.UseAtTarget; e.UseRaised < extra-0.01 {
				t.Fatalf("day %.1f: %.3f more than by tests, of which %.3f are said to be raised", day, extra, e.UseRaised)
			}
			if math.Abs(e.Level-want.Level) > 0.51 {
				t.Fatalf("day %.1f: level %.3f, that of the tests is %.3f", day, e.Level, want.Level)
			}
		})
	}
}

// A probe that was calibrated, or broke, moves its offset and not the level.
func TestJumpOfAProbeIsItsOwn(t *testing.T) {
	jump := func(day float64) float64 {
		if day < 20 {
			return 0
		}
		return 1.6
	}
	streamed{days: 24, every: 4, use: steady(2), probe: jump, noise: 0.05, seed: 1}.run(func(day, level, _ float64, e Estimate) {
		if day > 20.2 && ((day > 23 && math.Abs(e.Offset-1.6) > 0.3) || math.Abs(e.Level-level) > 0.3) {
			t.Fatalf("after the jump: offset %.2f, level %.2f, it is %.2f", e.Offset, e.Level, level)
		}
	})
}

// Readings that cannot be used change nothing.
func TestProbeReadingsThatAreNone(t *testing.T) {
	f := New(100, []Spec{{Quantity: units.Alkalinity, TestSD: 0.15, Target: 8}})
	f.Probe(ProbeReading{At: noon, Quantity: units.Alkalinity, Value: 8}) // before the first test
	f.Test(Test{At: noon, Quantity: units.Alkalinity, Value: 8})
	want := f.At(noon, units.Alkalinity)
	f.Probe(ProbeReading{At: noon, Quantity: units.Calcium, Value: 400})
	f.Probe(ProbeReading{At: noon, Quantity: units.Alkalinity, Value: math.NaN()})
	f.Probe(ProbeReading{At: noon, Quantity: units.Alkalinity, Value: math.Inf(1)})
	if got := f.At(noon, units.Alkalinity); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
}

// What a tank makes itself, as of nitrate, is a use below 0, and stays one with a probe that sees nothing else.
func TestProbeLeavesAUseBelowNothing(t *testing.T) {
	f := New(100, []Spec{{Quantity: units.Nitrate, TestSD: 1, Target: 10}})
	level := 5.0
	for h := range 30 * 24 {
		at := noon.Add(time.Duration(h) * time.Hour)
		if h%(4*24) == 0 {
			f.Test(Test{At: at, Quantity: units.Nitrate, Value: level})
		}
		f.Probe(ProbeReading{At: at, Quantity: units.Nitrate, Value: level + 1})
		level += 0.5 / 24
	}
	if e := f.At(noon.AddDate(0, 0, 30), units.Nitrate); !(e.Use < -0.2) || e.Consumption != 0 || e.OffsetSeen.IsZero() {
		t.Errorf("use %.2f, consumption %.2f; the tank makes 0.5 a day", e.Use, e.Consumption)
	}
}
