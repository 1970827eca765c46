package tank

import (
	"math"
	"testing"
	"time"

	"aliquot/planner/seawater"
	"aliquot/planner/units"
)

// reef adds to a tank what an ordinary one has: an invented mixed reef under lamps from 7 to 17 h UTC.
func reef(p *Params) {
	p.Uptake = Uptake{PerDay: 1.2, Law: Saturation, DaySwing: 0.4}
	p.InARoom()
}

func quietReef(p *Params) { p.GasExchangePerHour, p.RoomPCO2 = 2, 600 }

// 0.2 dKH as carbonate or 0.1 as hydroxide raise pH by about 0.05, bicarbonate lowers it a little (common practice).
func TestPHRightAfterADose(t *testing.T) {
	tests := []struct {
		name      string
		carbon    float64
		dkh       float64
		low, high float64
	}{
		{"hydroxide", AsHydroxide, 0.1, 0.04, 0.06},
		{"carbonate", AsCarbonate, 0.2, 0.035, 0.06},
		{"bicarbonate", AsBicarbonate, 0.2, -0.01, -0.001},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			tank := newTank(t, nil)
			a := Addition{Rises: map[units.Quantity]float64{units.Alkalinity: tt.dkh}, CarbonPerEquivalent: tt.carbon}
			if err := tank.Dose(start, a); err != nil {
				t.Fatal(err)
			}
			if rise := tank.Level(units.PH) - 8.1; !(rise >= tt.low && rise <= tt.high) {
				t.Errorf("pH moves by %.4f; want %g to %g", rise, tt.low, tt.high)
			}
			stays := tank.Level(units.PH)
			tank.Advance(afterDays(3))
			want(t, "pH of a closed tank in the end", tank.Level(units.PH), stays, 1e-9)
		})
	}
}

func TestPHIsOfTheNBSScaleAndFollowsTheSeawaterEquations(t *testing.T) {
	tank := newTank(t, nil)
	want(t, "pH", tank.Level(units.PH), 8.1, 1e-9)
	rho, err := seawater.DensityOf(35, 25.5)
	if err != nil {
		t.Fatal(err)
	}
	w := seawater.Water{Salinity: 35, Temperature: 25.5, Calcium: seawater.MicromolPerKg(430 / 40.078 * 1e6 / float64(rho))}
	a, err := w.AlkalinityFromDKH(8)
	if err != nil {
		t.Fatal(err)
	}
	scales, _ := w.PHScales()
	total, _ := scales.FromNBS(8.1)
	sys, err := seawater.NewSystem(w)
	if err != nil {
		t.Fatal(err)
	}
	c, err := sys.AlkalinityPH(a, total)
	if err != nil {
		t.Fatal(err)
	}
	got := tank.Carbonate()
	want(t, "total pH", got.TotalPH, float64(total), 1e-9)
	want(t, "carbon", got.Carbon, float64(c.Carbon), 0.5) // the tank's boron is its own
	want(t, "pCO2", got.PCO2, float64(c.PCO2), 0.2)
	want(t, "aragonite", got.Aragonite, c.Aragonite, 0.005)
}

// Left alone, the water comes to the partial pressure of the room, whatever was dosed, with a time constant of hours.
func TestGasExchange(t *testing.T) {
	for _, salt := range []float64{AsHydroxide, AsCarbonate, AsBicarbonate} {
		tank := newTank(t, quietReef)
		if err := tank.Dose(start, Addition{Rises: map[units.Quantity]float64{units.Alkalinity: 1}, CarbonPerEquivalent: salt}); err != nil {
			t.Fatal(err)
		}
		before := tank.Carbonate().PCO2
		tank.Advance(start.Add(6 * time.Hour))
		after := tank.Carbonate().PCO2
		if !(math.Abs(after-600) < 0.8*math.Abs(before-600) && math.Abs(after-600) > 0.1*math.Abs(before-600)) {
			t.Errorf("pCO2 goes from %.0f to %.0f in 6 h; want a good part of the way to 600", before, after)
		}
		tank.Advance(afterDays(10))
		want(t, "pCO2 in the end", tank.Carbonate().PCO2, 600, 0.01)
		want(t, "alkalinity", tank.Level(units.Alkalinity), 9, 1e-9)
	}
	still := newTank(t, func(p *Params) { p.GasExchangePerHour = 5 })
	still.Advance(afterDays(5))
	want(t, "pH against a room of the water's own pCO2", still.Level(units.PH), 8.1, 1e-9)
}

// In water in exchange with an atmosphere of some 350 µatm, 0.6 mol CO2 leave for each mol of CaCO3 formed (Ware, Smith
// and Reaka-Kudla 1992, Coral Reefs 11:127, from memory).
func TestCalcificationReleasesCO2(t *testing.T) {
	tank := newTank(t, func(p *Params) {
		p.Start[units.Alkalinity] = 6.6 // 2300 µmol/kg, surface ocean
		p.Start[units.PH] = 8.2
		p.GasExchangePerHour, p.RoomPCO2 = 10, 350
	})
	tank.Advance(afterDays(10)) // at equilibrium
	before := tank.Carbonate().Carbon
	tank.p.Uptake = Uptake{PerDay: 0.02, Law: Constant}
	dkh := tank.Level(units.Alkalinity)
	tank.Advance(afterDays(20))
	formed := (dkh - tank.Level(units.Alkalinity)) * tank.perDKH / 2
	left := before - tank.Carbonate().Carbon - formed
	want(t, "CO2 that leaves for each CaCO3", left/formed, 0.6, 0.05)
}

// A day's range of 0.1 to 0.3 is what keepers see; the lowest is before the lamps come on, the highest in the second half
// of the light (common practice).
func TestPHSwingsOverTheDay(t *testing.T) {
	tank := newTank(t, reef)
	lowest, highest, lowAt, highAt := 99.0, 0.0, 0.0, 0.0
	for d := 0.0; d < 11; d += 1.0 / 96 {
		// Uptake is made up for, so that the days are alike.
		if err := tank.Dose(afterDays(d), Addition{Rises: map[units.Quantity]float64{units.Alkalinity: 8 - min(8, tank.Level(units.Alkalinity))}, CarbonPerEquivalent: AsCarbonate}); err != nil {
			t.Fatal(err)
		}
		if d < 10 {
			continue
		}
		ph, hour := tank.Level(units.PH), math.Mod(7+24*d, 24)
		if ph < lowest {
			lowest, lowAt = ph, hour
		}
		if ph > highest {
			highest, highAt = ph, hour
		}
	}
	if swing := highest - lowest; !(swing >= 0.1 && swing <= 0.3) {
		t.Errorf("pH goes from %.3f to %.3f; want a range of 0.1 to 0.3", lowest, highest)
	}
	if !(lowAt >= 5 && lowAt <= 10 && highAt >= 12 && highAt <= 18) {
		t.Errorf("pH is lowest at %.1f h and highest at %.1f h; want about 8 h and the second half of the light", lowAt, highAt)
	}
}

// The uptake that Params say is that of an ordinary day at the reference level, near enough: the day's pH is not that of
// the start.
func TestUptakeOfAnOrdinaryDayIsNearWhatIsSaid(t *testing.T) {
	tank := newTank(t, reef)
	for d := 0.0; d < 5; d += 1.0 / 96 {
		tank.Advance(afterDays(d))
		lost := 8 - min(8, tank.Level(units.Alkalinity))
		a := Addition{Rises: map[units.Quantity]float64{units.Alkalinity: lost, units.Calcium: lost * mgCalciumPerDKH}, CarbonPerEquivalent: AsBicarbonate}
		if err := tank.Dose(tank.Now(), a); err != nil {
			t.Fatal(err)
		}
	}
	want(t, "uptake per day", tank.CalcificationPerDay(), 1.2, 0.25)
	if ph := tank.Level(units.PH); !(ph > 7.85 && ph < 8.2) {
		t.Errorf("pH of a tank dosed with bicarbonate is %.3f; want an ordinary one", ph)
	}
}

func TestARoomFullOfPeopleLowersPH(t *testing.T) {
	fresh, full := newTank(t, reef), newTank(t, func(p *Params) { reef(p); p.RoomPCO2 = 1200 })
	fresh.Advance(afterDays(5))
	full.Advance(afterDays(5))
	if d := fresh.Level(units.PH) - full.Level(units.PH); !(d > 0.1 && d < 0.35) {
		t.Errorf("twice the CO2 lowers pH by %.3f; want 0.1 to 0.35 (log10 2 = 0.30 at equilibrium)", d)
	}
}

func TestUptakeBySaturation(t *testing.T) {
	tank := newTank(t, func(p *Params) { p.Uptake = Uptake{PerDay: 1, Law: Saturation} })
	want(t, "uptake at the start", tank.CalcificationPerDay(), 1, 1e-9)
	low := newTank(t, func(p *Params) { p.Uptake, p.Start[units.PH] = Uptake{PerDay: 1, Law: Saturation}, 7.9 })
	omega := low.Carbonate().Aragonite
	if err := low.Dose(start, Addition{Rises: map[units.Quantity]float64{units.Alkalinity: 0.5}}); err != nil {
		t.Fatal(err)
	}
	after := low.Carbonate().Aragonite
	want(t, "uptake with more hydroxide", low.CalcificationPerDay(), (after-1)/(omega-1), 1e-9)
	sour := newTank(t, func(p *Params) {
		p.Uptake, p.Life = Uptake{PerDay: 1, Law: Saturation}, Life{RespirationPerDay: 3000}
	})
	sour.Advance(afterDays(2))
	if a := sour.Carbonate().Aragonite; a >= 1 || sour.CalcificationPerDay() < 0 {
		t.Errorf("aragonite %.2f, uptake %.3f; want undersaturation and no uptake below 0", a, sour.CalcificationPerDay())
	}
	before := sour.Level(units.Alkalinity)
	sour.Advance(afterDays(3))
	want(t, "alkalinity where nothing calcifies", sour.Level(units.Alkalinity), before, 1e-9)
}

// The use that is told is that of the day before, whatever pH does over the day.
func TestUseBySaturationIsThatOfADay(t *testing.T) {
	tank := newTank(t, reef)
	tank.Advance(afterDays(1))
	before := tank.Level(units.Alkalinity)
	tank.Advance(afterDays(2))
	want(t, "use of the last day", tank.UsePerDay(units.Alkalinity), before-tank.Level(units.Alkalinity), 1e-9)
}

func TestLateAlkalinity(t *testing.T) {
	late := Late{Share: 0.75, Over: 48 * time.Hour, CarbonPerEquivalent: 1}
	a := Addition{Rises: map[units.Quantity]float64{units.Alkalinity: 2}, CarbonPerEquivalent: AsBicarbonate, Late: late}
	tank := newTank(t, nil)
	carbonBefore := tank.Carbonate().Carbon
	for range 2 {
		if err := tank.Dose(start, a); err != nil {
			t.Fatal(err)
		}
	}
	want(t, "alkalinity at once", tank.Level(units.Alkalinity), 9, 1e-9)
	tank.Advance(start.Add(16 * time.Hour))
	want(t, "after one time constant", tank.Level(units.Alkalinity), 9+3*(1-1/math.E), 1e-9)
	tank.Advance(start.Add(48 * time.Hour))
	want(t, "after the time named", tank.Level(units.Alkalinity), 9+3*(1-math.Exp(-3)), 1e-9)
	if err := tank.WaterChange(tank.Now(), 0.5, map[units.Quantity]float64{units.Alkalinity: tank.Level(units.Alkalinity)}); err != nil {
		t.Fatal(err)
	}
	tank.Advance(afterDays(40))
	want(t, "in the end, half of the rest changed away", tank.Level(units.Alkalinity), 12-1.5*math.Exp(-3), 1e-9)

	all := newTank(t, nil)
	if err := all.Dose(start, a); err != nil {
		t.Fatal(err)
	}
	all.Advance(afterDays(40))
	want(t, "carbon of 2 dKH as bicarbonate and formate", all.Carbonate().Carbon-carbonBefore, 2*all.perDKH, 1e-6)
}

func TestAProbeDrifts(t *testing.T) {
	tank := newTank(t, func(p *Params) {
		p.ProbeSD = map[units.Quantity]float64{units.PH: 0}
		p.ProbeOffset = map[units.Quantity]float64{units.PH: 0.05}
		p.ProbeDriftPerDay = map[units.Quantity]float64{units.PH: -0.002}
	})
	want(t, "new", tank.Probe(units.PH), 8.15, 1e-9)
	tank.Advance(afterDays(30))
	want(t, "after a month", tank.Probe(units.PH), 8.09, 1e-9)
	tank.CalibrateProbe(units.PH)
	want(t, "calibrated", tank.Probe(units.PH), 8.1, 1e-9)
	tank.Advance(afterDays(40))
	want(t, "after ten days more", tank.Probe(units.PH), 8.08, 1e-9)
	tank.CalibrateProbe(units.ORP) // there is none: nothing happens
}

func TestLampsBringADaysLight(t *testing.T) {
	for _, hours := range []float64{1, 10, 24} {
		tank := newTank(t, func(p *Params) { p.Life.LightHours = hours })
		sum, dark := 0.0, 0
		for m := range 1440 {
			v := tank.lamps(time.Duration(m) * time.Minute)
			sum += v / 1440
			if v == 0 {
				dark++
			}
		}
		want(t, "mean of the light", sum, 1, 1e-6)
		want(t, "hours of darkness", float64(dark)/60, 24-hours, 0.1)
	}
}

// Everything on, halving the step changes hardly anything: the integration is good.
func TestIntegrationIsFineEnough(t *testing.T) {
	fine, coarse := newTank(t, reef), newTank(t, reef)
	for m := 5; m < 60*24*5; m += 10 {
		if err := fine.Dose(start.Add(time.Duration(m)*time.Minute), Addition{}); err != nil {
			t.Fatal(err)
		}
	}
	fine.Advance(afterDays(5))
	coarse.Advance(afterDays(5))
	want(t, "alkalinity", coarse.Level(units.Alkalinity), fine.Level(units.Alkalinity), 1e-6)
	want(t, "pH", coarse.Level(units.PH), fine.Level(units.PH), 1e-5)
}

func BenchmarkThirtyDays(b *testing.B) {
	for b.Loop() {
		tank := newTank(b, reef)
		for i := range 30 * 96 {
			tank.Advance(start.Add(time.Duration(i) * 15 * time.Minute))
			tank.Level(units.PH)
		}
	}
}
