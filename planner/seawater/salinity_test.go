package seawater

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// refused says that err is a *RangeError about name and, if given, names the formula.
func refused(t *testing.T, what string, err error, name, formula string) {
	t.Helper()
	var r *RangeError
	if !errors.As(err, &r) {
		t.Errorf("%s: error %v; want a *RangeError about %s", what, err, name)
		return
	}
	if r.Name != name || (formula != "" && r.Formula != formula) {
		t.Errorf("%s: refused %s by %s; want %s by %s", what, r.Name, r.Formula, name, formula)
	}
}

func TestSalinityLimits(t *testing.T) {
	at := func(s PSU, temp Celsius) Conductivity { // from the formula, without limits
		x := rootOfSalinity(float64(s), thermalFactor(temp.IPTS68()))
		return Conductivity(x * x * standardRatio(temp.IPTS68()) * standardConductivity)
	}
	tests := []struct {
		name    string
		c       Conductivity
		t       Celsius
		p       Dbar
		refused string
	}{
		{"lowest salinity", at(2.000001, 25), 25, 0, ""},
		{"below the lowest salinity", at(1.9999, 25), 25, 0, "salinity"},
		{"highest salinity", at(41.999999, 25), 25, 0, ""},
		{"above the highest salinity", at(42.001, 25), 25, 0, "salinity"},
		{"coldest", 28, -2, 0, ""},
		{"too cold", 28, -2.01, 0, "temperature"},
		{"warmest", 60, 35, 0, ""},
		{"too warm", 60, 35.01, 0, "temperature"},
		{"deepest", 53, 25, 10000, ""},
		{"too deep", 53, 25, 10001, "pressure"},
		{"below the surface's pressure", 53, 25, -1, "pressure"},
		{"no conductivity", 0, 25, 0, "conductivity"},
		{"negative conductivity", -1, 25, 0, "conductivity"},
		{"in µS/cm", 53000, 25, 0, "conductivity"},
		{"conductivity not a number", Conductivity(math.NaN()), 25, 0, "conductivity"},
		{"temperature not a number", 53, Celsius(math.NaN()), 0, "temperature"},
		{"pressure infinite", 53, 25, Dbar(math.Inf(1)), "pressure"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s, err := Salinity(tt.c, tt.t, tt.p)
			if tt.refused != "" {
				refused(t, "Salinity", err, tt.refused, pss78.formula)
				if s != 0 {
					t.Errorf("Salinity = %v beside its error; want 0", s)
				}
				return
			}
			if err != nil || !(s >= 2 && s <= 42) {
				t.Errorf("Salinity = %v, %v; want 2 to 42 psu", s, err)
			}
		})
	}
	_, err := ConductivityOf(1.99, 25, 0)
	refused(t, "ConductivityOf fresh water", err, "salinity", pss78.formula)
	_, err = ConductivityOf(35, 36, 0)
	refused(t, "ConductivityOf hot water", err, "temperature", pss78.formula)
	_, err = ConductivityAt(53, 40, 25)
	refused(t, "ConductivityAt from hot water", err, "temperature", pss78.formula)
	_, err = ConductivityAt(53, 25, 40)
	refused(t, "ConductivityAt for hot water", err, "temperature", pss78.formula)
}

func TestConductivityInverts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := PSU(rapid.Float64Range(2.000001, 41.999999).Draw(t, "s"))
		at := Celsius(rapid.Float64Range(-2, 35).Draw(t, "t"))
		p := Dbar(rapid.Float64Range(0, 10000).Draw(t, "p"))
		c, err := ConductivityOf(s, at, p)
		if err != nil {
			t.Fatal(err)
		}
		back, err := Salinity(c, at, p)
		if err != nil || !(math.Abs(float64(back-s)) < 1e-10) {
			t.Fatalf("Salinity(ConductivityOf(%v)) = %v, %v; want it back within 1e-10", s, back, err)
		}
	})
}

func TestSalinityRisesWithConductivityAndFallsWithTemperature(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := PSU(rapid.Float64Range(3, 40).Draw(t, "s"))
		at := Celsius(rapid.Float64Range(-1, 34).Draw(t, "t"))
		c, err := ConductivityOf(s, at, 0)
		if err != nil {
			t.Fatal(err)
		}
		more, err1 := Salinity(c+0.01, at, 0)
		warmer, err2 := Salinity(c, at+0.1, 0)
		if err1 != nil || err2 != nil || !(more > s && warmer < s) {
			t.Fatalf("at %v psu, %v degC: %v with more conductivity, %v when warmer (%v, %v)", s, at, more, warmer, err1, err2)
		}
	})
}

func TestConductivityAt(t *testing.T) {
	c := must[Conductivity](t)(ConductivityAt(53.07103, 25, 20))
	near(t, "53.071 mS/cm of 25 degC at 20 degC", float64(c), 47.91804, 1e-4) // both of 35 psu, GSW
	same := must[Conductivity](t)(ConductivityAt(50, 25, 25))
	near(t, "50 mS/cm at its own temperature", float64(same), 50, 1e-9)
	// Common practice: 53 mS/cm at 25 °C is 35 psu.
	near(t, "53 mS/cm at 25 degC", float64(must[PSU](t)(Salinity(53, 25, 0))), 35, 0.06)
}

// Leaving the conversion to IPTS-68 out must be visible: 0.0046 psu at 25 °C.
func TestTemperatureScaleMatters(t *testing.T) {
	r := 53.065 / standardConductivity
	with, without := salinityOf(r, Celsius(25).IPTS68(), 0), salinityOf(r, IPTS68(25), 0)
	near(t, "salinity without the conversion less with", float64(without-with), 0.0046, 1e-4)
	near(t, "25 degC on IPTS-68", float64(Celsius(25).IPTS68()), 25.006, 1e-12)
	near(t, "there and back", float64(Celsius(25).IPTS68().ITS90()), 25, 1e-12)
}

func TestRootOfSalinitySlope(t *testing.T) {
	for _, x := range []float64{0.25, 0.6, 1, 1.1} {
		for _, k := range []float64{-14, 0, 12} {
			up, _ := salinityOfRoot(x+1e-6, k)
			down, _ := salinityOfRoot(x-1e-6, k)
			_, slope := salinityOfRoot(x, k)
			near(t, "dS/dx", slope, (up-down)/2e-6, 1e-6)
		}
	}
}
