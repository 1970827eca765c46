package tank

import (
	"math"
	"testing"
	"time"

	"aliquot/planner/units"
)

// spread reads n times and gives mean and standard deviation.
func spread(n int, read func() float64) (mean, sd float64) {
	var sum, squares float64
	for range n {
		v := read()
		sum, squares = sum+v, squares+v*v
	}
	mean = sum / float64(n)
	return mean, math.Sqrt(squares/float64(n) - mean*mean)
}

func TestProbeNoise(t *testing.T) {
	tank := newTank(t, func(p *Params) { p.ProbeSD = map[units.Quantity]float64{units.Calcium: 3, units.PH: 0} })
	mean, sd := spread(4000, func() float64 { return tank.Probe(units.Calcium) })
	want(t, "mean of calcium", mean, 430, 0.2)
	want(t, "sd of calcium", sd, 3, 0.15)
	_, sd = spread(4000, func() float64 { return tank.Probe(units.Temperature) })
	want(t, "sd of temperature left out", sd, 0.05, 0.003)
	want(t, "pH without noise", tank.Probe(units.PH), 8.1, 0)
	if v := tank.Probe(units.ORP); !math.IsNaN(v) {
		t.Errorf("probe of ORP reads %v; want NaN", v)
	}
}

func TestTestsHaveNoiseBiasAndSteps(t *testing.T) {
	tank := newTank(t, nil)
	kit := Kit{SD: 0.15, Resolution: 0.1, Bias: 0.3}
	mean, sd := spread(4000, func() float64 {
		v := tank.Test(units.Alkalinity, kit)
		if steps := v / 0.1; math.Abs(steps-math.Round(steps)) > 1e-9 {
			t.Fatalf("a result of %v is no multiple of 0.1", v)
		}
		return v
	})
	want(t, "mean", mean, 8.3, 0.01)
	want(t, "sd, rounding included", sd, math.Hypot(0.15, 0.1/math.Sqrt(12)), 0.01)
	want(t, "a perfect kit", tank.Test(units.Alkalinity, Kit{}), 8, 0)
	want(t, "never below zero", tank.Test(units.Alkalinity, Kit{Bias: -20}), 0, 0)
	if v := tank.Test(units.Switch, kit); !math.IsNaN(v) {
		t.Errorf("a test of a switch gives %v; want NaN", v)
	}
}

func TestGrossErrors(t *testing.T) {
	tank := newTank(t, nil)
	gross := 0
	for range 2000 {
		switch v := tank.Test(units.Alkalinity, Kit{GrossChance: 0.1, GrossFactor: 2.8}); {
		case math.Abs(v-22.4) < 1e-9:
			gross++
		case math.Abs(v-8) > 1e-9:
			t.Fatalf("a result of %v; want 8 or 22.4", v)
		}
	}
	want(t, "gross errors in 2000", float64(gross), 200, 60)
	want(t, "always gross", tank.Test(units.Alkalinity, Kit{GrossChance: 1, GrossFactor: 10}), 80, 1e-9)
}

func TestReadingsDoNotChangeTheCourse(t *testing.T) {
	busy := func(p *Params) {
		p.Uptake = Uptake{PerDay: 0.2, WanderSD: 0.3, WanderTime: 24 * time.Hour}
	}
	read, unread := newTank(t, busy), newTank(t, busy)
	for h := range 24 * 10 {
		at := start.Add(time.Duration(h) * time.Hour)
		read.Advance(at)
		unread.Advance(at)
		read.Probe(units.PH)
		read.Test(units.Alkalinity, Kit{SD: 0.2, GrossChance: 0.5})
	}
	if read.levels != unread.levels {
		t.Errorf("levels %v after readings, %v without", read.levels, unread.levels)
	}
	again := newTank(t, busy)
	first := newTank(t, busy)
	if a, b := again.Test(units.Calcium, Kit{SD: 8}), first.Test(units.Calcium, Kit{SD: 8}); a != b || a == 430 {
		t.Errorf("two tanks of one seed test %v and %v; want the same, with noise", a, b)
	}
}

func TestNoiseSaysNothingOfTheWander(t *testing.T) {
	tank := newTank(t, func(p *Params) {
		p.Uptake = Uptake{PerDay: 0.001, WanderSD: 0.3, WanderTime: time.Hour}
		p.ProbeSD = map[units.Quantity]float64{units.Iron: 1}
	})
	var product float64
	for i := 1; i <= 2000; i++ {
		tank.Advance(start.Add(time.Duration(i) * step))
		product += tank.wander / 0.3 * tank.Probe(units.Iron)
	}
	// Independent draws of sd 1 have a correlation of about 1/√2000; the same draws would have about 0.5.
	want(t, "correlation of wander and noise", product/2000, 0, 0.12)
}

// The use that is told is the one that happens: a day without light curve, wander and growth takes just that.
func TestUsePerDay(t *testing.T) {
	for _, c := range []struct {
		quantity units.Quantity
		want     float64
	}{
		{units.Alkalinity, 1.2}, {units.Calcium, 1.2 * 20.039 / 2.80385}, {units.Magnesium, 0.1 * 1.2 * 20.039 / 2.80385}, {units.Potassium, 3},
		{units.Strontium, 0}, {units.PH, 0}, {units.Temperature, 0}, {units.ORP, 0}, {units.Nitrate, 0},
	} {
		tank := newTank(t, func(p *Params) {
			p.Uptake = Uptake{PerDay: 1.2, Law: Constant}
			p.OtherPerDay = map[units.Quantity]float64{units.Potassium: 3}
		})
		want(t, "use of "+string(c.quantity), tank.UsePerDay(c.quantity), c.want, 1e-9)
		if c.want == 0 {
			continue
		}
		before := tank.Level(c.quantity)
		tank.Advance(tank.Now().Add(24 * time.Hour))
		want(t, "fall of "+string(c.quantity)+" in a day", before-tank.Level(c.quantity), c.want, 1e-6)
	}
}

// Nitrification takes alkalinity; what is taken up of nitrate gives it back.
func TestUsePerDayOfNitrate(t *testing.T) {
	tank := newTank(t, func(p *Params) {
		p.Uptake = Uptake{}
		p.NitrateFormedPerDay = 22.113
	})
	want(t, "use of nitrate", tank.UsePerDay(units.Nitrate), -22.113, 1e-9)
	want(t, "use of alkalinity", tank.UsePerDay(units.Alkalinity), 1, 1e-3)
}
