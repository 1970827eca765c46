package trial

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

// lived is how a tank that uses 2 dKH a day at its target, and in proportion to its level, is kept by ours for so many days, with a probe that errs by lie (nil: none).
func lived(seed uint64, every int, lie func(day float64) float64) (lowest, highest float64) {
	r := rand.New(rand.NewPCG(seed, uint64(every)))
	k := &Ours{}
	k.Reset(Told{Litres: 100, StrengthDKHLitresPerML: 50, Target: target, Band: 0.5, MaxRise: 1, MaxFall: 1, CapPerDay: 6, TestSD: 0.15, Base: 2})
	level, perDay := target, 0.0
	lowest, highest = level, level
	for h := range 90 * 24 {
		at, day := Start.Add(time.Duration(h)*time.Hour), float64(h)/24
		ask := h%24 == 0
		if h%(24*every) == 12 {
			k.Test(at, math.Round((level+0.1*r.NormFloat64())*10)/10)
			ask = true
		}
		if lie != nil {
			k.Probe(at, max(0, level+lie(day)+0.05*r.NormFloat64()))
		}
		if ask {
			perDay = given(k.Daily(at), 6)
		}
		k.Dosed(at, perDay/24)
		level += (perDay - 2*level/target) / 24
		lowest, highest = min(lowest, level), max(highest, level)
	}
	return lowest, highest
}

// However a probe lies, and however rarely its keeper tests, the level goes above what it comes to without a probe by little more than the
// band of 0.5 dKH. Below it goes as little further, but where the test that finds the lie out cuts the dose and PLAN_STEP lets it rise
// again slowly.
func TestLyingProbeHarmsLittle(t *testing.T) {
	lies := map[string]func(float64) float64{
		"reads 2 dKH too low":          func(float64) float64 { return -2 },
		"falls by 0.1 dKH a day":       func(day float64) float64 { return -0.1 * day },
		"falls by 0.4 dKH a day":       func(day float64) float64 { return -0.4 * day },
		"falls by 0.4 for a week each": func(day float64) float64 { return -0.4 * math.Mod(day, 7) },
		"falls from the 30th day on":   func(day float64) float64 { return -0.3 * max(0, day-30) },
		"rises by 0.1 dKH a day":       func(day float64) float64 { return 0.1 * day },
		"rises by 0.4 dKH a day":       func(day float64) float64 { return 0.4 * day },
		"swings by 1 dKH in 3 days":    func(day float64) float64 { return math.Sin(2 * math.Pi * day / 3) },
		"swings by 1 dKH in 14 days":   func(day float64) float64 { return math.Sin(2 * math.Pi * day / 14) },
	}
	for _, every := range []int{3, 7, 10} {
		for name, lie := range lies {
			above, below := 0.0, 0.0
			for seed := range uint64(20) {
				low, high := lived(seed, every, nil)
				gotLow, gotHigh := lived(seed, every, lie)
				above, below = max(above, gotHigh-high), max(below, low-gotLow)
			}
			t.Logf("a test every %d days, the probe %s: up to %.2f dKH higher, %.2f lower than without it", every, name, above, below)
			if above > 0.65 || below > 1.2 {
				t.Errorf("a test every %d days, the probe %s: up to %.2f dKH higher, %.2f lower than without it", every, name, above, below)
			}
		}
	}
}

// A probe that is only a little wrong keeps every family of tanks better than tests alone.
func TestProbeKeepsBetter(t *testing.T) {
	for _, f := range Families() {
		with, without := 0.0, 0.0
		for seed := range uint64(12) {
			without += math.Log(RMS(Run(f, seed+1, Options{}, &Ours{})))
			with += math.Log(RMS(Run(f, seed+1, Options{Probe: true}, &Ours{})))
		}
		if ratio := math.Exp((with - without) / 12); !(ratio < 1) {
			t.Errorf("%s: %.2f of what tests alone leave", f, ratio)
		}
	}
}
