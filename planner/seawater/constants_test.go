package seawater

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestConstantsLimits(t *testing.T) {
	tests := []struct {
		name    string
		s       PSU
		t       Celsius
		refused string
		formula string
	}{
		{name: "lowest salinity", s: 19, t: 25},
		{name: "below it", s: 18.99, t: 25, refused: "salinity", formula: lueker.formula},
		{name: "highest salinity", s: 43, t: 25},
		{name: "above it", s: 43.01, t: 25, refused: "salinity", formula: lueker.formula},
		{name: "coldest for all", s: 35, t: 5},
		{name: "too cold for the solubility products", s: 35, t: 4.99, refused: "temperature", formula: mucci.formula},
		{name: "too cold for K1 and K2", s: 35, t: 1.99, refused: "temperature", formula: lueker.formula},
		{name: "warmest", s: 35, t: 35},
		{name: "above it", s: 35, t: 35.01, refused: "temperature", formula: lueker.formula},
		{name: "salinity not a number", s: PSU(math.NaN()), t: 25, refused: "salinity", formula: lueker.formula},
		{name: "temperature not a number", s: 35, t: Celsius(math.NaN()), refused: "temperature", formula: lueker.formula},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			k, err := Water{Salinity: tt.s, Temperature: tt.t}.Constants()
			if tt.refused != "" {
				refused(t, "Constants", err, tt.refused, tt.formula)
				if k != (Constants{}) {
					t.Error("constants beside an error; want none")
				}
			} else if err != nil {
				t.Error(err)
			}
		})
	}
	_, err := FugacityFactor(46)
	refused(t, "FugacityFactor", err, "temperature", weiss.formula)
	// pCO2 = fCO2/0.99681 at 25 °C.
	near(t, "fugacity factor at 25 degC", must[float64](t)(FugacityFactor(25)), 0.99681, 5e-6)
}

func TestRangeErrorText(t *testing.T) {
	_, err := Water{Salinity: 15, Temperature: 25}.Constants()
	const want = "salinity 15 psu is outside 19 to 43 psu, the range of K1 and K2 of Lueker et al. 2000"
	if err == nil || err.Error() != want {
		t.Errorf("error %q; want %q", err, want)
	}
	_, err = NewSystem(Water{Salinity: 35, Temperature: 25, Calcium: 412000})
	const calcium = "calcium 412000 umol/kg is outside 0 to 30000 umol/kg, the range of waters that the constants were made for"
	if err == nil || err.Error() != calcium {
		t.Errorf("error %q; want %q", err, calcium)
	}
}

func TestTotalsRefused(t *testing.T) {
	nan := MicromolPerKg(math.NaN())
	for _, w := range []Water{{Phosphate: -1}, {Phosphate: 501}, {Silicate: nan}, {Silicate: 501}, {Calcium: 30001}, {Calcium: -1}, {Boron: 2001}, {Boron: nan}} {
		w.Salinity, w.Temperature = 35, 25
		if _, err := NewSystem(w); err == nil {
			t.Errorf("NewSystem(%+v) is accepted", w)
		}
	}
}

func TestTotalsFollowSalinityUnlessMeasured(t *testing.T) {
	half := Water{Salinity: 17.5, Temperature: 25}.Totals()
	full := standard.Totals()
	near(t, "borate", float64(half.Borate*2), float64(full.Borate), 1e-9)
	near(t, "calcium", float64(half.Calcium*2), float64(full.Calcium), 1e-9)
	w := standard
	w.Calcium, w.Boron, w.Phosphate, w.Silicate = 10500, 450, 1, 5
	if got := w.Totals(); got.Calcium != 10500 || got.Borate != 450 || got.Phosphate != 1 || got.Silicate != 5 || got.Sulfate != full.Sulfate {
		t.Errorf("Totals = %+v", got)
	}
}

// In range every constant is finite, above 0, and changes smoothly.
func TestConstantsAreTame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := Water{Salinity: PSU(rapid.Float64Range(19, 42.9).Draw(t, "s")), Temperature: Celsius(rapid.Float64Range(5, 34.9).Draw(t, "t"))}
		k, err := w.Constants()
		if err != nil {
			t.Fatal(err)
		}
		next := w
		next.Salinity, next.Temperature = w.Salinity+0.01, w.Temperature+0.01
		n, err := next.Constants()
		if err != nil {
			t.Fatal(err)
		}
		pairs := [][2]float64{{k.K0, n.K0}, {k.K1, n.K1}, {k.K2, n.K2}, {k.KB, n.KB}, {k.KW, n.KW}, {k.KS, n.KS}, {k.KF, n.KF},
			{k.KP1, n.KP1}, {k.KP2, n.KP2}, {k.KP3, n.KP3}, {k.KSi, n.KSi}, {k.KspCalcite, n.KspCalcite}, {k.KspAragonite, n.KspAragonite}}
		for i, p := range pairs {
			if !(p[0] > 0 && math.Abs(p[1]/p[0]-1) < 0.003) {
				t.Fatalf("constant %d at %+v: %v, then %v", i, w, p[0], p[1])
			}
		}
		if !(k.K1 > k.K2 && k.KP1 > k.KP2 && k.KP2 > k.KP3 && k.KspAragonite > k.KspCalcite) {
			t.Fatalf("order of the constants at %+v: %+v", w, k)
		}
	})
}

func TestDKH(t *testing.T) {
	// 1 dKH = 0.356652 meq/L; the density of 35 psu at 25 °C is 1.02334 kg/L.
	a := must[MicromolPerKg](t)(standard.AlkalinityFromDKH(8))
	near(t, "8 dKH", float64(a), 8*356.652/1.02334123, 0.01)
	near(t, "8 dKH there and back", must[float64](t)(standard.DKHFromAlkalinity(a)), 8, 1e-12)
	bad := Water{Salinity: 50, Temperature: 25}
	_, err := bad.AlkalinityFromDKH(8)
	refused(t, "AlkalinityFromDKH", err, "salinity", eos80.formula)
	_, err = bad.DKHFromAlkalinity(2500)
	refused(t, "DKHFromAlkalinity", err, "salinity", eos80.formula)
	warm := Water{Salinity: 35, Temperature: 30}
	if b := must[MicromolPerKg](t)(warm.AlkalinityFromDKH(8)); !(math.Abs(float64(b/a)-1) < 0.0018) {
		t.Errorf("5 degrees change 8 dKH from %v to %v", a, b)
	}
}
