package assay

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"aliquot/planner/units"
)

// Values that others publish, or that a table of this repository holds.
func TestKnownValues(t *testing.T) {
	for _, c := range []struct {
		name      string
		quantity  units.Quantity
		value     float64
		unit      string
		water     Water
		want, tol float64
	}{
		// Common practice: 35 psu reads 1.0264 at 25/25 and 53 mS/cm at 25 degC.
		{"specific gravity", units.Salinity, 1.0264, "SG 25/25", Ordinary(), 35, 0.06},
		{"conductivity", units.Salinity, 53.0, "mS/cm", Ordinary(), 35, 0.06},
		// UNESCO 44: conductivity ratio 1 at 15 degC (IPTS-68) is 35 exactly; C(35,15,0) is 42.914 mS/cm (Culkin & Smith 1980).
		{"PSS-78 reference", units.Salinity, 42.914, "mS/cm", Water{Salinity: 35, Temperature: 14.9964}, 35, 1e-4},
		// 2300 umol/kg at 1023.34 kg/m3 (EOS-80, 35 psu, 25 degC) is 2.35368 meq/L, times 2.80385 dKH.
		{"alkalinity by mass", units.Alkalinity, 2300, "umol/kg", Ordinary(), 6.5994, 2e-3},
		// Reference seawater holds 412 mg Ca in a kilogram (Millero et al. 2008).
		{"calcium by mass", units.Calcium, 412.1, "mg/kg", Ordinary(), 421.7, 0.1},
		{"no water needed", units.Alkalinity, 143, "ppm CaCO3", Ordinary(), 8.0121, 1e-3},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, _, err := ToCanonical(c.quantity, c.value, c.unit, c.water)
			if err != nil || math.Abs(got-c.want) > c.tol {
				t.Errorf("%g %s = %g, %v; want %g ± %g", c.value, c.unit, got, err, c.want, c.tol)
			}
		})
	}
}

// Every unit of every quantity converts there and back.
func TestEveryConversionInverts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := rapid.SampledFrom(units.Quantities()).Draw(t, "quantity")
		names := Names(q)
		if len(names) == 0 {
			return
		}
		name := rapid.SampledFrom(names).Draw(t, "unit")
		w := Water{Salinity: 35, Temperature: 25}
		level := rapid.Float64Range(5, 40).Draw(t, "level")
		v, _, err := FromCanonical(q, level, name, w)
		if err != nil {
			t.Fatalf("%g of %s in %s: %v", level, q, name, err)
		}
		back, _, err := ToCanonical(q, v, name, w)
		if err != nil || math.Abs(back-level) > 1e-6*level {
			t.Fatalf("%g of %s is %g %s and comes back as %g, %v", level, q, v, name, back, err)
		}
	})
}

func TestRefusals(t *testing.T) {
	for _, c := range []struct {
		name     string
		quantity units.Quantity
		value    float64
		unit     string
		says     string
	}{
		{"gravity without its temperatures", units.Salinity, 1.026, "SG", "25/25"},
		{"gravity of nothing wet", units.Salinity, 2, "SG 25/25", "specific gravity"},
		{"unit of another quantity", units.Salinity, 35, "dKH", "mS/cm"},
		{"conductivity below the scale", units.Salinity, 0.5, "mS/cm", "PSS-78"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, _, err := ToCanonical(c.quantity, c.value, c.unit, Ordinary())
			if err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%g %s = %g, %v; want a refusal that speaks of %s", c.value, c.unit, got, err, c.says)
			}
		})
	}
}

func TestSampled(t *testing.T) {
	for _, c := range []struct {
		value float64
		unit  string
		want  float64 // degC
		says  string  // of a refusal
	}{
		{25, "degC", 25, ""}, {77, "degF", 25, ""}, {0, "degC", 0, ""}, {40, "degC", 40, ""},
		{-0.1, "degC", 0, "0..40"}, {40.1, "degC", 0, "0..40"}, {77, "degC", 0, "0..40"}, {math.NaN(), "degC", 0, "finite"}, {25, "", 0, "no unit"}, {298, "K", 0, "273.15"},
	} {
		got, err := Sampled(c.value, c.unit)
		if c.says == "" && (err != nil || math.Abs(float64(got.Temperature)-c.want) > 1e-9 || got.Salinity != 35) {
			t.Errorf("%g %s: %+v, %v; want %g degC", c.value, c.unit, got, err, c.want)
		}
		if c.says != "" && (err == nil || !strings.Contains(err.Error(), c.says) || got != (Water{})) {
			t.Errorf("%g %s: %+v, %v; want a refusal that says %q", c.value, c.unit, got, err, c.says)
		}
	}
}

// What is said to need a temperature moves with it, and nothing else does.
func TestNeedsTemperature(t *testing.T) {
	cold, warm := Water{Salinity: 35, Temperature: 15}, Water{Salinity: 35, Temperature: 30}
	levels := map[units.Quantity]float64{units.Salinity: 35, units.PH: 8.1, units.Temperature: 25, units.Alkalinity: 8}
	for _, q := range units.Quantities() {
		level := levels[q]
		if level == 0 {
			level = 100
		}
		for _, name := range Names(q) {
			a, _, errA := FromCanonical(q, level, name, cold)
			b, _, errB := FromCanonical(q, level, name, warm)
			if errA != nil || errB != nil {
				t.Fatalf("%g of %s in %s: %v, %v", level, q, name, errA, errB)
			}
			if needs := NeedsTemperature(q, name); needs != (a != b) {
				t.Errorf("%s in %s: %g at 15 degC, %g at 30 degC; said to need the temperature: %v", q, name, a, b, needs)
			}
		}
	}
}
