package seawater

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestPHScalesAtStandard(t *testing.T) {
	c := must[PHScales](t)(standard.PHScales())
	// From the published check values ln KS = -2.30 and ln KF = -6.09, total sulfate 0.02824 and fluoride 0.000068.
	bySulfate := 0.02824 / math.Exp(-2.30)
	byFluoride := 0.000068 / (math.Exp(-6.09) / (1 + bySulfate))
	near(t, "free less total", float64(c.Free(8))-8, math.Log10(1+bySulfate), 1e-4)
	near(t, "seawater less total", float64(c.Seawater(8))-8, -math.Log10(1+byFluoride/(1+bySulfate)), 1e-4)
	// fH of Takahashi et al. 1982 by hand: 1.2948 - 0.60703 + (0.0004607 - 0.00043977)·1225.
	near(t, "activity", activity(298.15, 35), 0.71340, 5e-5)
	near(t, "NBS less seawater", float64(c.NBS(8))-float64(c.Seawater(8)), -math.Log10(0.71340), 5e-5)
	// From memory: NBS reads 0.13 to 0.14 above total in seawater. Beside the checks above, not instead of them.
	near(t, "NBS less total", float64(c.NBS(8))-8, 0.135, 0.01)
}

func TestPHScalesInvert(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := Water{Salinity: PSU(rapid.Float64Range(10, 40).Draw(t, "s")), Temperature: Celsius(rapid.Float64Range(9, 33).Draw(t, "t"))}
		c, err := w.PHScales()
		if err != nil {
			t.Fatal(err)
		}
		ph := TotalPH(rapid.Float64Range(6.5, 9.5).Draw(t, "ph"))
		nbs, uncertain := c.FromNBS(c.NBS(ph))
		for _, back := range []TotalPH{c.FromFree(c.Free(ph)), c.FromSeawater(c.Seawater(ph)), nbs} {
			if !(math.Abs(float64(back-ph)) < 1e-12) {
				t.Fatalf("%v came back as %v", ph, back)
			}
		}
		if !(uncertain >= 0.05) {
			t.Fatalf("a probe is trusted to %v", uncertain)
		}
		if !(float64(c.Free(ph)) > float64(ph) && float64(c.Seawater(ph)) < float64(ph) && float64(c.NBS(ph)) > float64(ph)) {
			t.Fatalf("order at %+v: free %v, total %v, seawater %v, NBS %v", w, c.Free(ph), ph, c.Seawater(ph), c.NBS(ph))
		}
	})
}

func TestPHScalesLimits(t *testing.T) {
	tests := []struct {
		name    string
		s       PSU
		t       Celsius
		refused string
	}{
		{"lowest salinity", 10, 25, ""}, {"below it", 9.99, 25, "salinity"},
		{"highest salinity", 40, 25, ""}, {"above it", 40.01, 25, "salinity"},
		{"coldest", 35, 9, ""}, {"below it", 35, 8.99, "temperature"},
		{"warmest", 35, 33, ""}, {"above it", 35, 33.01, "temperature"},
		{"not a number", PSU(math.NaN()), 25, "salinity"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := Water{Salinity: tt.s, Temperature: tt.t}.PHScales()
			if tt.refused != "" {
				refused(t, "PHScales", err, tt.refused, perezFraga.formula)
			} else if err != nil {
				t.Error(err)
			}
		})
	}
}
