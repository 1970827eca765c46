package tank

import (
	"math"
	"testing"
	"time"

	"aliquot/planner/units"
)

func TestDoseRaisesLevels(t *testing.T) {
	tank := newTank(t, func(p *Params) { p.Uptake = Uptake{PerDay: 1, Law: Constant} })
	a := Addition{Rises: map[units.Quantity]float64{units.Alkalinity: 0.5, units.Strontium: 0.1, units.Iron: 0.01}, CarbonPerEquivalent: AsCarbonate}
	if err := tank.Dose(afterDays(1), a); err != nil {
		t.Fatal(err)
	}
	if !tank.Now().Equal(afterDays(1)) {
		t.Errorf("Now = %v; want the time of the dose", tank.Now())
	}
	want(t, "alkalinity", tank.Level(units.Alkalinity), 7.5, 1e-9)
	want(t, "strontium", tank.Level(units.Strontium), 8.2, 1e-12)
	want(t, "iron", tank.Level(units.Iron), 0.01, 1e-12)
	if err := tank.Dose(start, a); err != nil {
		t.Fatal(err)
	}
	want(t, "alkalinity after a dose dated earlier", tank.Level(units.Alkalinity), 8, 1e-9)
	if !tank.Now().Equal(afterDays(1)) {
		t.Errorf("Now = %v; want it unchanged by an earlier dose", tank.Now())
	}
}

func TestDoseVolumeUsesThePresentWater(t *testing.T) {
	// 4.23 dKH by 1 mL in 1 L: an invented solution of 80 g/L sodium carbonate.
	s := Solution{Strength: map[units.Quantity]float64{units.Alkalinity: 4.23, units.Salinity: 0.05}, CarbonPerEquivalent: AsCarbonate}
	tank := newTank(t, nil)
	if err := tank.DoseVolume(start, s, 30); err != nil {
		t.Fatal(err)
	}
	want(t, "alkalinity", tank.Level(units.Alkalinity), 8+4.23*30/300, 1e-12)
	want(t, "salinity", tank.Level(units.Salinity), 35+0.05*30/300, 1e-12)

	shrunk := newTank(t, func(p *Params) { p.EvaporationLitresPerDay = 300 })
	if err := shrunk.DoseVolume(afterDays(1), s, 30); err != nil {
		t.Fatal(err)
	}
	want(t, "alkalinity in half of the water", shrunk.Level(units.Alkalinity), 16+4.23*30/150, 1e-6)
}

func TestBadDosesChangeNothing(t *testing.T) {
	rise := func(q units.Quantity, v float64) Addition {
		return Addition{Rises: map[units.Quantity]float64{units.Calcium: 5, q: v}}
	}
	tests := map[string]Addition{
		"not a number":   rise(units.Alkalinity, math.NaN()),
		"infinite":       rise(units.Alkalinity, math.Inf(1)),
		"negative":       rise(units.Alkalinity, -0.1),
		"absurd":         rise(units.Alkalinity, 1e7),
		"no level":       rise(units.ORP, 1),
		"unknown":        rise("colour", 1),
		"pH":             rise(units.PH, 0.1),
		"temperature":    rise(units.Temperature, 0.1),
		"carbon below 0": {Rises: map[units.Quantity]float64{units.Calcium: 5}, CarbonPerEquivalent: -0.1},
		"carbon above 1": {Rises: map[units.Quantity]float64{units.Calcium: 5}, CarbonPerEquivalent: 1.01},
		"late share":     {Rises: map[units.Quantity]float64{units.Calcium: 5}, Late: Late{Share: 1.1, Over: time.Hour}},
		"late NaN":       {Rises: map[units.Quantity]float64{units.Calcium: 5}, Late: Late{Share: math.NaN(), Over: time.Hour}},
		"late too soon":  {Rises: map[units.Quantity]float64{units.Calcium: 5}, Late: Late{Share: 0.1, Over: time.Minute - 1}},
		"late too long":  {Rises: map[units.Quantity]float64{units.Calcium: 5}, Late: Late{Share: 0.1, Over: 1001 * time.Hour}},
		"late carbon":    {Rises: map[units.Quantity]float64{units.Calcium: 5}, Late: Late{Share: 0.1, Over: time.Hour, CarbonPerEquivalent: 13}},
		"carbon NaN":     {Rises: map[units.Quantity]float64{units.Calcium: 5}, CarbonPerEquivalent: math.NaN()},
	}
	for name, a := range tests {
		tank := newTank(t, nil)
		before := tank.levels
		if err := tank.Dose(start, a); err == nil || tank.levels != before {
			t.Errorf("%s: Dose = %v, levels %v; want an error and no change", name, err, tank.levels)
		}
	}
	for _, ml := range []float64{-1, math.NaN(), math.Inf(1), 2e9} {
		tank := newTank(t, nil)
		before := tank.levels
		s := Solution{Strength: map[units.Quantity]float64{units.Calcium: 5}}
		if err := tank.DoseVolume(start, s, ml); err == nil || tank.levels != before {
			t.Errorf("DoseVolume(%v mL) = %v; want an error and no change", ml, err)
		}
	}
}

func TestTemperatureCurve(t *testing.T) {
	tank := newTank(t, func(p *Params) { p.TemperatureSwing, p.MidLight = 0.5, time.Hour })
	for _, tt := range []struct{ hour, cosine float64 }{{17, 1}, {23, 0}, {29, -1}, {35, 0}} {
		tank.Advance(start.Add(time.Duration((tt.hour - 7) * float64(time.Hour))))
		want(t, "temperature", tank.Level(units.Temperature), 25.5+0.5*tt.cosine, 1e-9)
	}
}

func TestWaterChange(t *testing.T) {
	tank := newTank(t, nil)
	mix := map[units.Quantity]float64{
		units.Alkalinity: 10, units.Calcium: 450, units.Nitrate: 0, units.Temperature: 22.5, units.Salinity: 33,
	}
	if err := tank.WaterChange(afterDays(1), 0.2, mix); err != nil {
		t.Fatal(err)
	}
	for q, level := range map[units.Quantity]float64{
		units.Alkalinity: 8.4, units.Calcium: 434, units.Nitrate: 4, units.Salinity: 34.6, units.Temperature: 24.9,
		units.Magnesium: 1330,
	} {
		want(t, string(q), tank.Level(q), level, 1e-9)
	}
	// A mix without a pH has that of the tank; mixing waters of one pH keeps it but for salinity and temperature.
	want(t, "pH", tank.Level(units.PH), 8.1, 0.01)
	tank.Advance(afterDays(11))
	want(t, "temperature in the end", tank.Level(units.Temperature), 25.5, 1e-9)

	if err := tank.WaterChange(afterDays(11), 1, map[units.Quantity]float64{units.PH: 7.9, units.Alkalinity: 8}); err != nil {
		t.Fatal(err)
	}
	want(t, "pH of a new filling", tank.Level(units.PH), 7.9, 1e-9)
}

func TestBadWaterChangesChangeNothing(t *testing.T) {
	tests := []struct {
		name  string
		share float64
		mix   map[units.Quantity]float64
	}{
		{"below 0", -0.01, nil},
		{"above 1", 1.01, nil},
		{"not a number", math.NaN(), nil},
		{"negative level", 0.1, map[units.Quantity]float64{units.Calcium: 450, units.Nitrate: -1}},
		{"no such pH", 0.1, map[units.Quantity]float64{units.PH: 11}},
		{"no such level", 0.1, map[units.Quantity]float64{units.Calcium: 450, units.ORP: 300}},
	}
	for _, tt := range tests {
		tank := newTank(t, nil)
		before := tank.levels
		if err := tank.WaterChange(start, tt.share, tt.mix); err == nil || tank.levels != before {
			t.Errorf("%s: WaterChange = %v; want an error and no change", tt.name, err)
		}
	}
	if err := newTank(t, nil).WaterChange(start, 0, nil); err != nil {
		t.Errorf("an empty water change: %v; want none", err)
	}
}
