package stock

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestSolubilityOf(t *testing.T) {
	for _, c := range []struct {
		salt          string
		celsius, want float64
		steps         string
	}{
		{"NaHCO3", 20, 9.57, "between 9.57 g at 20"}, {"NaHCO3", 22.5, 9.925, "between"}, {"NaHCO3", 25, 10.28, "between"},
		{"NaHCO3", 28, 10.28, "held above that"}, {"NaHCO3", 15, 8.86, "along the line"}, // the CRC's curve has 8.8 at 15 °C
		{"calcium chloride dihydrate", 20, 72.80, "CaCl2 in 100 g of water"}, {"calcium hydroxide", 25, 0.1665, "between 0.173 g at 20"}, {"CaO", 20, 0.173, "Ca(OH)2"},
		{"calcium acetate", 30, 33.8, "between"}, {"calcium formate", 25, 16.71, "between"},
	} {
		s, err := SolubilityOf(c.salt, c.celsius)
		if err != nil || math.Abs(s.GramsPer100-c.want) > 1e-9 || !strings.Contains(s.Steps, c.steps) || s.Source == "" {
			t.Errorf("%s at %v: %+v, %v; want %v, %q", c.salt, c.celsius, s, err, c.want, c.steps)
		}
	}
	for _, c := range []struct {
		salt    string
		celsius float64
		want    string
	}{
		{"NaHCO3", 14.99, "outside 15..30"}, {"NaHCO3", 30.01, "outside 15..30"}, {"NaHCO3", math.NaN(), "outside 15..30"}, {"fairy dust", 20, "no known salt"},
		{"sodium bromide", 20, "no handbook value is known here"},
	} {
		if s, err := SolubilityOf(c.salt, c.celsius); err == nil || !strings.Contains(err.Error(), c.want) || s != (Solubility{}) {
			t.Errorf("%s at %v: %+v, %v; want %q", c.salt, c.celsius, s, err, c.want)
		}
	}
}

// Every solubility is finite, above 0, and does not jump with temperature.
func TestSolubilityIsSmooth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		row := rapid.SampledFrom(solubilityTable).Draw(t, "row")
		celsius := rapid.Float64Range(roomLeast, roomMost-0.01).Draw(t, "celsius")
		a, b := row.at(celsius).GramsPer100, row.at(celsius+0.01).GramsPer100
		if !(a > 0 && b > 0) || math.Abs(b/a-1) > 0.005 {
			t.Fatalf("%s: %v at %v, %v a hundredth above", row.dry, a, celsius, b)
		}
	})
}

func TestDissolve(t *testing.T) {
	for _, c := range []struct {
		name    string
		parts   []Part
		celsius float64
		want    DissolvingVerdict
	}{
		{"carbonate 80 g/L", []Part{{Salt: "Na2CO3", GramsPerLitre: 80}}, 20, Dissolves},
		{"carbonate 158 g/L", []Part{{Salt: "Na2CO3", GramsPerLitre: 158}}, 20, Dissolves},
		{"carbonate 170 g/L", []Part{{Salt: "Na2CO3", GramsPerLitre: 170}}, 20, NearlySaturated},
		{"carbonate 205 g/L", []Part{{Salt: "Na2CO3", GramsPerLitre: 205}}, 20, DoesNotDissolve},
		{"the same, warmer", []Part{{Salt: "Na2CO3", GramsPerLitre: 205}}, 25, Dissolves},
		{"as decahydrate", []Part{{Salt: "Na2CO3.10H2O", GramsPerLitre: 205}}, 20, Dissolves},
		{"bicarbonate 70 g/L", []Part{{Salt: "NaHCO3", GramsPerLitre: 70}}, 20, Dissolves},
		{"bicarbonate 80 g/L", []Part{{Salt: "NaHCO3", GramsPerLitre: 80}}, 20, NearlySaturated},
		{"bicarbonate 95 g/L", []Part{{Salt: "NaHCO3", GramsPerLitre: 95}}, 20, DoesNotDissolve},
		{"half of it is sand", []Part{{"NaHCO3", 95, 0.5}}, 20, Dissolves},
		{"calcium chloride dihydrate 500 g/L", []Part{{Salt: "CaCl2.2H2O", GramsPerLitre: 500}}, 20, Dissolves},
		{"calcium chloride dihydrate 800 g/L", []Part{{Salt: "CaCl2.2H2O", GramsPerLitre: 800}}, 20, DoesNotDissolve},
		{"lime 1.3 g/L", []Part{{Salt: "Ca(OH)2", GramsPerLitre: 1.3}}, 20, Dissolves},
		{"lime 1.5 g/L", []Part{{Salt: "Ca(OH)2", GramsPerLitre: 1.5}}, 20, NearlySaturated},
		{"lime 1.8 g/L", []Part{{Salt: "Ca(OH)2", GramsPerLitre: 1.8}}, 20, DoesNotDissolve},
		{"quicklime 1.4 g/L", []Part{{Salt: "CaO", GramsPerLitre: 1.4}}, 20, DoesNotDissolve},
		{"nobody knows", []Part{{Salt: "NaBr", GramsPerLitre: 1}}, 20, DissolvingUnknown},
		{"three parts of magnesium", []Part{{Salt: "MgCl2.6H2O", GramsPerLitre: 250}, {Salt: "MgSO4.7H2O", GramsPerLitre: 30}}, 20, Dissolves},
		{"one ion in common", []Part{{Salt: "NaHCO3", GramsPerLitre: 60}, {Salt: "Na2CO3", GramsPerLitre: 100}}, 20, DoesNotDissolve},
		{"no ion in common", []Part{{Salt: "KNO3", GramsPerLitre: 180}, {Salt: "MgCl2.6H2O", GramsPerLitre: 500}}, 20, NearlySaturated},
		{"more salt than room", []Part{{Salt: "NaHCO3", GramsPerLitre: 1500}}, 20, DissolvingVerdict(-1)},
	} {
		d, err := Dissolve(c.parts, c.celsius)
		if c.want == -1 {
			c.want = DoesNotDissolve
		}
		if err != nil || d.Verdict != c.want || len(d.Parts) != len(c.parts) || d.Worst().Steps == "" {
			t.Errorf("%s: %v, %.3f together, %v; want %v\n%v", c.name, d.Verdict, d.Together, err, c.want, d.Parts)
		}
	}
	if _, err := Dissolve([]Part{{Salt: "NaHCO3", GramsPerLitre: 1}}, math.NaN()); err == nil {
		t.Error("no temperature")
	}
	if s := Dissolves.String() + NearlySaturated.String() + DissolvingUnknown.String() + DissolvingVerdict(9).String(); s != "dissolvesnearly saturatedunknowndoes not dissolve" {
		t.Errorf("names are %s", s)
	}
}

// The share of saturation is overstated, never understated: saturated solutions of known density, CRC Handbook,
// Concentrative properties of aqueous solutions (mass % and g/cm³ near 20 °C).
func TestDissolveErrsToTheCarefulSide(t *testing.T) {
	for _, c := range []struct {
		salt             string
		percent, density float64
	}{{"KCl", 25.39, 1.17}, {"Na2CO3", 17.90, 1.19}, {"MgSO4 anhydrous", 25.10, 1.29}, {"CaCl2 anhydrous", 40, 1.396}, {"NaHCO3", 8.73, 1.06}} {
		grams := c.percent * 10 * c.density
		truth := c.percent / (100 - c.percent) * 100
		d, err := Dissolve([]Part{{Salt: c.salt, GramsPerLitre: grams}}, 20)
		if err != nil {
			t.Fatal(err)
		}
		sol, err := SolubilityOf(c.salt, 20)
		if err != nil {
			t.Fatal(err)
		}
		if share := truth / sol.GramsPer100; !(d.Together >= share*0.999 && d.Together <= share*1.15) {
			t.Errorf("%s: %.3f of saturation, truly %.3f", c.salt, d.Together, share)
		}
	}
}

// More salt is never nearer to dissolving.
func TestDissolveIsMonotonic(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom(SaltNames()).Draw(t, "salt")
		g := rapid.Float64Range(0.01, 700).Draw(t, "g/L")
		a, err := Dissolve([]Part{{Salt: name, GramsPerLitre: g}}, 22)
		b, err2 := Dissolve([]Part{{Salt: name, GramsPerLitre: 2 * g}}, 22)
		if err != nil || err2 != nil || b.Verdict > a.Verdict || !(a.Together >= 0 && !math.IsInf(a.Together, 0)) {
			t.Fatalf("%s: %+v, %v; doubled %+v, %v", name, a, err, b, err2)
		}
	})
}
