package stock

import (
	"math"
	"strings"
	"testing"
	"time"

	"aliquot/planner/units"

	"pgregory.net/rapid"
)

// Forward and reverse are inverse, for every salt, quantity, purity and size.
func TestGramsInvertStrength(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, err := Lookup(rapid.SampledFrom(SaltNames()).Draw(t, "salt"))
		if err != nil {
			t.Fatal(err)
		}
		grams := rapid.Float64Range(0.01, 1000).Draw(t, "g/L")
		purity := rapid.Float64Range(0.5, 1).Draw(t, "purity")
		strength, err := StrengthOf([]Part{{s.Name, grams, purity}})
		if err != nil {
			t.Fatal(err)
		}
		for _, q := range units.Quantities() {
			if !(strength[q] > 0) {
				continue
			}
			back, err := GramsPerLitreFor(s.Name, purity, q, strength[q])
			if err != nil || math.Abs(back-grams) > 1e-9*grams {
				t.Fatalf("%s, %s: %v g/L gives %v, back %v, %v", s.Name, q, grams, strength[q], back, err)
			}
			ml, litres := rapid.Float64Range(1, 1000).Draw(t, "mL"), rapid.Float64Range(10, 5000).Draw(t, "L")
			changes, err := Rise(strength, ml, litres)
			if err != nil {
				t.Fatal(err)
			}
			for _, c := range changes {
				again, err := GramsPerLitreForRise(s.Name, purity, c.Quantity, c.By, ml, litres)
				if err != nil || math.Abs(again-grams) > 1e-9*grams {
					t.Fatalf("%s, %s: %v, %v; want %v", s.Name, c.Quantity, again, err, grams)
				}
			}
		}
	})
}

// A form with purity and water taken into account gives the same strength.
func TestFormsGiveOneStrength(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom(SaltNames()).Draw(t, "salt")
		forms, err := Forms(name)
		if err != nil {
			t.Fatal(err)
		}
		want, err := StrengthOf([]Part{{Salt: name, GramsPerLitre: 10}})
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range forms {
			purity := rapid.Float64Range(0.3, 1).Draw(t, "purity")
			got, err := StrengthOf([]Part{{f.Salt.Name, 10 * f.Grams / purity, purity}})
			if err != nil || len(got) != len(want) {
				t.Fatalf("%s: %v, %v", f.Salt.Name, got, err)
			}
			for q, v := range want {
				if math.Abs(got[q]-v) > 1e-9*v {
					t.Fatalf("%s: %s %v; want %v", f.Salt.Name, q, got[q], v)
				}
			}
		}
	})
}

func TestGramsRefuse(t *testing.T) {
	for _, c := range []struct {
		salt     string
		q        units.Quantity
		strength float64
		want     string
	}{
		{"sodium carbonate", units.Calcium, 1, "sodium carbonate brings no calcium"},
		{"calcium chloride", units.Calcium, 1, "leaves the water of crystallisation open"},
		{"sodium carbonate", units.Alkalinity, 0, "allowed is above 0 and at most 1500 g/L"},
		{"sodium carbonate", units.Alkalinity, -1, "allowed is above 0"},
		{"sodium carbonate", units.Alkalinity, math.NaN(), "allowed is above 0"},
		{"sodium carbonate", units.Alkalinity, 100, "takes 1890 g/L"},
	} {
		if got, err := GramsPerLitreFor(c.salt, 0, c.q, c.strength); err == nil || !strings.Contains(err.Error(), c.want) || got != 0 {
			t.Errorf("%s for %v %s: %v, %v; want %q", c.salt, c.strength, c.q, got, err, c.want)
		}
	}
	for _, c := range [][3]float64{{1, 0, 100}, {1, -1, 100}, {1, math.NaN(), 100}, {1, 100_001, 100}, {1, 10, 0}, {1, 10, 20_001}, {1, 10, math.Inf(1)}} {
		if got, err := GramsPerLitreForRise("NaHCO3", 0, units.Alkalinity, c[0], c[1], c[2]); err == nil || got != 0 {
			t.Errorf("%v: %v", c, got)
		}
		if got, err := Rise(map[units.Quantity]float64{units.Calcium: 1}, c[1], c[2]); err == nil || got != nil {
			t.Errorf("%v: %v", c, got)
		}
	}
	for _, purity := range []float64{-1, 0.0099, 1.01, 97, math.NaN(), math.Inf(1)} {
		if got, err := StrengthOf([]Part{{"NaHCO3", 10, purity}}); err == nil || !strings.Contains(err.Error(), "purity") || got != nil {
			t.Errorf("a purity of %v: %v, %v", purity, got, err)
		}
	}
}

func TestRecipeOf(t *testing.T) {
	r, err := RecipeOf([]Part{{"CaCl2.2H2O", 111, 0.97}}, 5, 20)
	if err != nil || len(r.Grams) != 1 || r.Grams[0] != 555 || math.Abs(r.Strength[units.Calcium]-0.97*30.2613) > 1e-3 || r.Dissolving.Verdict != Dissolves {
		t.Fatalf("%+v, %v", r, err)
	}
	if len(r.Cautions) != 2 || !strings.Contains(r.Cautions[0], "heats strongly") || !strings.Contains(r.Cautions[1], "add the salt to water") {
		t.Errorf("cautions are %q", r.Cautions)
	}
	if len(r.Notes) != 1 || !strings.Contains(r.Notes[0], "0.755 g of calcium chloride anhydrous, 1.490 g of calcium chloride hexahydrate: look at the jar") {
		t.Errorf("notes are %q", r.Notes)
	}
	formate, err := RecipeOf([]Part{{Salt: "calcium formate", GramsPerLitre: 100}}, 1, 25)
	if err != nil || formate.AppearsOver != 48*time.Hour || len(formate.Notes) == 0 {
		t.Errorf("%+v, %v", formate, err)
	}
	// H-45: no recipe is without a caution.
	for _, name := range SaltNames() {
		r, err := RecipeOf([]Part{{Salt: name, GramsPerLitre: 0.5}}, 1, 20)
		if err != nil || len(r.Cautions) == 0 {
			t.Errorf("%s: %+v, %v", name, r, err)
		}
	}
	for name, c := range map[string]struct {
		parts           []Part
		litres, celsius float64
		want            string
	}{
		"too much":    {[]Part{{Salt: "NaHCO3", GramsPerLitre: 120}}, 1, 20, "the solution does not dissolve: sodium bicarbonate: 120 g"},
		"cold":        {[]Part{{Salt: "NaHCO3", GramsPerLitre: 10}}, 1, 14.9, "14.9 degC is outside 15..30"},
		"no litres":   {[]Part{{Salt: "NaHCO3", GramsPerLitre: 10}}, 0, 20, "a batch of 0 L"},
		"NaN litres":  {[]Part{{Salt: "NaHCO3", GramsPerLitre: 10}}, math.NaN(), 20, "a batch of NaN L"},
		"no salt":     {nil, 1, 20, "the solution has no salt"},
		"together":    {[]Part{{Salt: "NaHCO3", GramsPerLitre: 60}, {Salt: "Na2CO3", GramsPerLitre: 120}}, 1, 20, "does not dissolve"},
		"cold carbon": {[]Part{{Salt: "Na2CO3", GramsPerLitre: 180}}, 1, 15, "does not dissolve"},
	} {
		if r, err := RecipeOf(c.parts, c.litres, c.celsius); err == nil || !strings.Contains(err.Error(), c.want) || r.Strength != nil {
			t.Errorf("%s: %+v, %v; want %q", name, r, err, c.want)
		}
	}
}

// Sulfate in one container with calcium or strontium: gypsum holds 0.0152 mol/kg in pure water (Marshall & Slusher 1966),
// strontium sulfate has a product of 3.44e-7 (CRC Handbook).
func TestSulfateNotes(t *testing.T) {
	for _, c := range []struct {
		salt         string
		gpl, sulfate float64 // g/L of the salt and of magnesium sulfate heptahydrate
		want         string
	}{
		{"CaCl2.2H2O", 1.47, 2.46, "gypsum stays dissolved"}, {"CaCl2.2H2O", 2.23, 3.74, "gypsum stays dissolved"}, {"CaCl2.2H2O", 2.25, 3.76, "gypsum may precipitate"},
		{"CaCl2.2H2O", 8.9, 14.9, "gypsum may precipitate"}, {"CaCl2.2H2O", 9.0, 15.1, "gypsum precipitates"}, {"CaCl2.2H2O", 100, 100, "gypsum precipitates"},
		{"SrCl2.6H2O", 0.15, 0.14, "strontium sulfate stays dissolved"}, {"SrCl2.6H2O", 0.16, 0.15, "strontium sulfate may precipitate"}, {"SrCl2.6H2O", 20, 5, "strontium sulfate precipitates"},
	} {
		notes := sulfateNotes([]Part{{Salt: c.salt, GramsPerLitre: c.gpl}, {Salt: "MgSO4.7H2O", GramsPerLitre: c.sulfate}, {Salt: "fairy dust", GramsPerLitre: 1}})
		if len(notes) != 1 || !strings.HasPrefix(notes[0], c.want) {
			t.Errorf("%s %v and %v g/L: %q; want %q", c.salt, c.gpl, c.sulfate, notes, c.want)
		}
	}
	if notes := sulfateNotes([]Part{{Salt: "MgSO4.7H2O", GramsPerLitre: 100}}); notes != nil {
		t.Errorf("nothing to precipitate with: %q", notes)
	}
	both := sulfateNotes([]Part{{Salt: "MgSO4.7H2O", GramsPerLitre: 10}, {Salt: "CaCl2.2H2O", GramsPerLitre: 1}, {Salt: "SrCl2.6H2O", GramsPerLitre: 1}})
	if len(both) != 2 || !strings.HasPrefix(both[0], "gypsum") {
		t.Errorf("calcium and strontium: %q", both)
	}
}
