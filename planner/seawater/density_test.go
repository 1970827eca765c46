package seawater

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestDensityLimits(t *testing.T) {
	tests := []struct {
		name    string
		s       PSU
		t       Celsius
		refused string
	}{
		{"fresh", 0, 25, ""},
		{"below fresh", -0.001, 25, "salinity"},
		{"saltiest", 42, 25, ""},
		{"too salty", 42.001, 25, "salinity"},
		{"coldest", 35, -2, ""},
		{"too cold", 35, -2.001, "temperature"},
		{"warmest", 35, 40, ""},
		{"too warm", 35, 40.001, "temperature"},
		{"salinity not a number", PSU(math.NaN()), 25, "salinity"},
		{"temperature infinite", 35, Celsius(math.Inf(-1)), "temperature"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			rho, err := DensityOf(tt.s, tt.t)
			if tt.refused != "" {
				refused(t, "DensityOf", err, tt.refused, eos80.formula)
			} else if err != nil || !(rho > 990 && rho < 1040) {
				t.Errorf("DensityOf = %v, %v", rho, err)
			}
		})
	}
	for _, at := range []Celsius{-0.01, 40.01, Celsius(math.NaN())} {
		_, err := WaterDensity(at)
		refused(t, "WaterDensity", err, "temperature", tanaka.formula)
	}
	near(t, "densest water", float64(must[Density](t)(WaterDensity(3.983035))), 999.974950, 1e-9)
}

func TestDensityInverts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := PSU(rapid.Float64Range(0, 42).Draw(t, "s"))
		at := Celsius(rapid.Float64Range(-2, 40).Draw(t, "t"))
		rho, err := DensityOf(s, at)
		if err != nil {
			t.Fatal(err)
		}
		back, err := SalinityFromDensity(rho, at)
		if err != nil || !(math.Abs(float64(back-s)) < 1e-9) {
			t.Fatalf("SalinityFromDensity(DensityOf(%v, %v)) = %v, %v", s, at, back, err)
		}
		if s < 41 {
			more, err := DensityOf(s+0.01, at)
			if err != nil || !(more > rho) {
				t.Fatalf("density %v at %v psu, %v at 0.01 more", rho, s, more)
			}
		}
	})
}

func TestDensityInverseLimits(t *testing.T) {
	fresh, salt := must[Density](t)(DensityOf(0, 25)), must[Density](t)(DensityOf(42, 25))
	near(t, "salinity of fresh water", float64(must[PSU](t)(SalinityFromDensity(fresh, 25))), 0, 1e-9)
	near(t, "salinity of the saltiest", float64(must[PSU](t)(SalinityFromDensity(salt, 25))), 42, 1e-9)
	for _, rho := range []Density{fresh - 0.001, salt + 0.001, 1.025, Density(math.NaN()), Density(math.Inf(1))} {
		_, err := SalinityFromDensity(rho, 25)
		refused(t, "SalinityFromDensity", err, "density", eos80.formula)
	}
	_, err := SalinityFromDensity(1023, 41)
	refused(t, "SalinityFromDensity in hot water", err, "temperature", eos80.formula)
}

// Leaving the conversion to IPTS-68 out must be visible: 0.0018 kg/m³ at 25 °C.
func TestDensityTemperatureScaleMatters(t *testing.T) {
	with := must[Density](t)(DensityOf(35, 25))
	without := must[Density](t)(DensityOf(35, IPTS68(25).ITS90()))
	near(t, "density without the conversion less with", float64(without-with), 0.0018, 5e-5)
}

func TestSpecificGravity(t *testing.T) {
	if _, ok := SGScaleNamed("15/15"); ok {
		t.Error("scale 15/15 is known; want false for a label that nobody checked")
	}
	scale, _ := SGScaleNamed("25/25")
	// Common practice: 35 psu is 1.0264.
	near(t, "SG 25/25 of 35 psu", must[float64](t)(SpecificGravity(35, scale)), 1.0264, 5e-5)
	sixty, _ := SGScaleNamed("60F/60F")
	near(t, "60 degF", float64(sixty.Sample), 15.5556, 5e-5)
	four, _ := SGScaleNamed("25/4")
	spread := must[float64](t)(SpecificGravity(35, sixty)) - must[float64](t)(SpecificGravity(35, four))
	near(t, "60F/60F less 25/4", spread, 0.0035, 5e-5)
	_, err := SpecificGravity(43, scale)
	refused(t, "SpecificGravity", err, "salinity", eos80.formula)
	_, err = SpecificGravity(35, SGScale{Sample: 25, Water: 50})
	refused(t, "SpecificGravity", err, "temperature", eos80.formula)
}

func TestSpecificGravityInverts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := PSU(rapid.Float64Range(0, 42).Draw(t, "s"))
		scale := SGScale{Sample: Celsius(rapid.Float64Range(0, 40).Draw(t, "sample")), Water: Celsius(rapid.Float64Range(0, 40).Draw(t, "water"))}
		sg, err := SpecificGravity(s, scale)
		if err != nil {
			t.Fatal(err)
		}
		back, err := SalinityFromSpecificGravity(sg, scale)
		if err != nil || !(math.Abs(float64(back-s)) < 1e-8) {
			t.Fatalf("%v: SG %v back to %v, %v; want %v", scale, sg, back, err, s)
		}
	})
}

func TestHydrometer(t *testing.T) {
	scale, _ := SGScaleNamed("60F/60F")
	plain := Hydrometer{Scale: scale}
	// In 26 °C water of 35 psu a float made for 60 °F shows the density there over that of its reference water.
	rho, ref := must[Density](t)(DensityOf(35, 26)), must[Density](t)(DensityOf(0, scale.Water))
	near(t, "salinity at 26 degC", float64(must[PSU](t)(plain.Salinity(float64(rho/ref), 26))), 35, 1e-8)
	// Reading it as if the sample were at 60 °F is wrong by 3.7 psu: the temperature of the sample is no detail.
	wrong := must[PSU](t)(SalinityFromSpecificGravity(float64(rho/ref), scale))
	if !(35-wrong > 3 && 35-wrong < 4.5) {
		t.Errorf("without the sample's temperature %v psu; want about 3.7 below 35", wrong)
	}
	glass := Hydrometer{Scale: SGScale{Sample: 25, Water: 25}, Expansion: ExpansionSodaLime}
	bare := Hydrometer{Scale: glass.Scale}
	sg := 1.0264
	at := func(h Hydrometer, c Celsius) float64 { return float64(must[PSU](t)(h.Salinity(sg, c))) }
	near(t, "glass at its own temperature", at(glass, 25), at(bare, 25), 1e-9)
	near(t, "warm glass reads high", at(bare, 30)-at(glass, 30), 0.17, 0.01)
	if !(at(glass, 20) > at(bare, 20)) {
		t.Error("cold glass does not read low")
	}
}

func TestHydrometerRefuses(t *testing.T) {
	scale := SGScale{Sample: 25, Water: 25}
	tests := []struct {
		name    string
		h       Hydrometer
		sg      float64
		t       Celsius
		refused string
	}{
		{"reading in degrees", Hydrometer{Scale: scale}, 26.4, 25, "specific gravity"},
		{"below fresh water", Hydrometer{Scale: scale}, 0.99, 25, "density"},
		{"not a number", Hydrometer{Scale: scale}, math.NaN(), 25, "specific gravity"},
		{"too warm", Hydrometer{Scale: scale}, 1.026, 41, "temperature"},
		{"reference out of range", Hydrometer{Scale: SGScale{Sample: 25, Water: 60}}, 1.026, 25, "temperature"},
		{"sample out of range", Hydrometer{Scale: SGScale{Sample: 60, Water: 25}}, 1.026, 25, "temperature"},
		{"expansion in percent", Hydrometer{Scale: scale, Expansion: 0.0025}, 1.026, 25, "cubic expansion"},
		{"shrinking glass", Hydrometer{Scale: scale, Expansion: -1e-6}, 1.026, 25, "cubic expansion"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := tt.h.Salinity(tt.sg, tt.t)
			refused(t, "Hydrometer.Salinity", err, tt.refused, "")
		})
	}
}
