package metering

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestTrialsOfReadings(t *testing.T) {
	at := func(x float64) *float64 { return &x }
	for _, c := range []struct {
		name     string
		readings []Reading
		liquid   Liquid
		want     []float64 // mL
	}{
		{"volumes stay", []Reading{{60, 9.8, 0}, {120, 19.6, 0}}, Liquid{}, []float64{9.8, 19.6}},
		// Z at 25 degC and 1013 hPa is 1.0040 uL/mg, at 20 degC 1.0029 (ISO 8655-6:2002).
		{"water of 25 degC", []Reading{{60, 0, 9.97}, {120, 0, 19.94}}, Liquid{WaterCelsius: at(25)}, []float64{10.0099, 20.0198}},
		{"water of 20 degC", []Reading{{60, 0, 10}}, Liquid{WaterCelsius: at(20)}, []float64{10.029}},
		// 12 g over 1.2 kg/L, and the buoyancy of air of 0.0012 kg/L: × (1 − 0.0012/8) / (1 − 0.0012/1.2).
		{"a solution", []Reading{{60, 0, 12}}, Liquid{DensityKgPerL: at(1.2)}, []float64{10.0085}},
		{"a vessel and a scale", []Reading{{60, 10, 0}, {60, 0, 12}}, Liquid{DensityKgPerL: at(1.2)}, []float64{10, 10.0085}},
		{"nothing read, left to whoever takes the trials", []Reading{{60, 0, 0}}, Liquid{}, []float64{0}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := TrialsOf(c.readings, c.liquid)
			if err != nil || len(got) != len(c.want) {
				t.Fatalf("%v, %v", got, err)
			}
			for i, w := range c.want {
				if got[i].Seconds != c.readings[i].Seconds || math.Abs(got[i].MeasuredML-w) > 6e-4*w/10 {
					t.Errorf("%+v; want %g mL", got[i], w)
				}
			}
		})
	}
}

func TestTrialsOfRefuses(t *testing.T) {
	at := func(x float64) *float64 { return &x }
	for _, c := range []struct {
		name     string
		readings []Reading
		liquid   Liquid
		form     bool // the readings and the liquid do not belong together
		says     string
	}{
		{"weighed, but what?", []Reading{{60, 9.8, 0}, {60, 0, 9.8}}, Liquid{}, true, "trial 2 was weighed"},
		{"two liquids", []Reading{{60, 0, 9.8}}, Liquid{at(1), at(20)}, true, "exclude each other"},
		{"a liquid and no scale", []Reading{{60, 9.8, 0}}, Liquid{DensityKgPerL: at(1)}, true, "no trial in g"},
		{"both read", []Reading{{60, 9.8, 9.8}}, Liquid{DensityKgPerL: at(1)}, true, "trial 1 has both"},
		{"too light", []Reading{{60, 0, 9.8}}, Liquid{DensityKgPerL: at(0.699)}, false, "density_kg_per_l"},
		{"too heavy", []Reading{{60, 0, 9.8}}, Liquid{DensityKgPerL: at(2.001)}, false, "density_kg_per_l"},
		{"no density", []Reading{{60, 0, 9.8}}, Liquid{DensityKgPerL: at(math.NaN())}, false, "density_kg_per_l"},
		{"ice", []Reading{{60, 0, 9.8}}, Liquid{WaterCelsius: at(-0.1)}, false, "water_celsius"},
		{"hot water", []Reading{{60, 0, 9.8}}, Liquid{WaterCelsius: at(40.1)}, false, "water_celsius"},
		{"no temperature", []Reading{{60, 0, 9.8}}, Liquid{WaterCelsius: at(math.NaN())}, false, "water_celsius"},
		{"a negative mass", []Reading{{60, 0, 9.8}, {60, 0, -1}}, Liquid{WaterCelsius: at(20)}, false, "trial 2"},
		{"no mass", []Reading{{60, 0, math.NaN()}}, Liquid{WaterCelsius: at(20)}, false, "trial 1"},
		{"100 kg and more", []Reading{{60, 0, 100_001}}, Liquid{WaterCelsius: at(20)}, false, "trial 1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := TrialsOf(c.readings, c.liquid)
			if err == nil || got != nil || !strings.Contains(err.Error(), c.says) || errors.Is(err, ErrLiquid) != c.form {
				t.Errorf("%v, %v; want a refusal that says %q", got, err, c.says)
			}
		})
	}
}

// Weighing what a volume of a liquid weighs in air gives the volume back.
func TestWeighingInverts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ml := rapid.Float64Range(0.1, 1000).Draw(t, "mL")
		density := rapid.Float64Range(0.7, 2).Draw(t, "kg/L")
		air, err := RoomAir(roomCelsius).Density()
		if err != nil {
			t.Fatal(err)
		}
		grams := ml * (density - air) / (1 - air/weightDensity)
		got, err := TrialsOf([]Reading{{30, 0, grams}}, Liquid{DensityKgPerL: &density})
		if err != nil || math.Abs(got[0].MeasuredML/ml-1) > 1e-12 {
			t.Fatalf("%g mL of %g kg/L weigh %g g and come back as %+v, %v", ml, density, grams, got, err)
		}
	})
}

func TestAirRefuses(t *testing.T) {
	for name, a := range map[string]Air{
		"cold": {-0.1, 1013, 0.5}, "hot": {40.1, 1013, 0.5}, "thin": {20, 599, 0.5}, "dense": {20, 1101, 0.5}, "too dry": {20, 1013, -0.01}, "too damp": {20, 1013, 1.01},
		"NaN": {math.NaN(), 1013, 0.5}, "NaN pressure": {20, math.NaN(), 0.5}, "NaN humidity": {20, 1013, math.NaN()},
	} {
		if got, err := a.Density(); err == nil || got != 0 {
			t.Errorf("%s: density %v", name, got)
		}
		if got, err := ZFactor(a); err == nil || got != 0 {
			t.Errorf("%s: Z %v", name, got)
		}
	}
	// Thinner air lifts less, so the same reading is less liquid.
	low, _ := ZFactor(Air{20, 700, 0.5})
	high, _ := ZFactor(Air{20, 1013, 0.5})
	if !(low < high) {
		t.Errorf("Z at 700 hPa is %v, at 1013 hPa %v", low, high)
	}
}
