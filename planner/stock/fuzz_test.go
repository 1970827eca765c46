package stock

import (
	"math"
	"slices"
	"strings"
	"testing"

	"aliquot/planner/units"

	"pgregory.net/rapid"

	"aliquot/planner/nearest"
)

func FuzzMolarMass(f *testing.F) {
	for _, s := range []string{"NaHCO3", "Ca(CH3COO)2", "CaCl2.6H2O", "((H)2)3", "(((", "2", "H999O999", "Na2CO3.10H2O"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got, err := MolarMass(s)
		if err != nil && got != 0 || err == nil && !(got > 0) || math.IsInf(got, 0) {
			t.Errorf("MolarMass(%q) = %v, %v", s, got, err)
		}
	})
}

// A recipe is either refused as a whole or gives finite strengths above zero of known quantities, and no more of
// any ion than was weighed in.
func FuzzStrengthOf(f *testing.F) {
	f.Add("sodium carbonate", 80.0, "sodium bicarbonate", 10.0)
	f.Add("calcium chloride", 80.0, "", 0.0)
	f.Add("Magnesium SULPHATE heptahydrate", math.NaN(), "epsom salt", 1e308)
	f.Fuzz(func(t *testing.T, a string, ga float64, b string, gb float64) {
		strength, err := StrengthOf([]Part{{Salt: a, GramsPerLitre: ga}, {Salt: b, GramsPerLitre: gb}})
		if err != nil {
			if strength != nil {
				t.Errorf("%v with error %v", strength, err)
			}
			return
		}
		if len(strength) == 0 {
			t.Errorf("%q and %q move nothing", a, b)
		}
		for q, v := range strength {
			if !q.Known() || !(v > 0 && v <= ga+gb) {
				t.Errorf("%q %v g/L and %q %v g/L: %s %v", a, ga, b, gb, q, v)
			}
		}
	})
}

// The mass of a formula does not depend on how it is grouped.
func TestMolarMassOfGroups(t *testing.T) {
	for _, same := range [][]string{
		{"Ca(HCOO)2", "CaH2C2O4", "C2H2CaO4", "Ca((H)COO)2"},
		{"Na2CO3.10H2O", "Na2CO13H20", "10H2O.Na2CO3"},
		{"Ca(CH3COO)2", "CaC4H6O4"},
		{"MgSO4.7H2O", "MgSO11H14"},
	} {
		want, err := MolarMass(same[0])
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range same[1:] {
			if got, err := MolarMass(f); err != nil || math.Abs(got-want) > 1e-9 {
				t.Errorf("MolarMass(%s) = %v, %v; %s is %v", f, got, err, same[0], want)
			}
		}
	}
}

// A misspelt name still leads to the right one.
func TestNearestNames(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom(SaltNames()).Draw(t, "name")
		at := rapid.IntRange(0, len(name)-1).Draw(t, "at")
		misspelt := name[:at] + name[at+1:]
		if _, err := Lookup(misspelt); err == nil || strings.Contains(err.Error(), "water of crystallisation") {
			return // "sodium carbonate" and the like: still a name
		} else if !slices.Contains(nearest.Names(saltKey(misspelt), SaltNames(), 3), name) || !strings.Contains(err.Error(), name) {
			t.Fatalf("Lookup(%q): %v; want a hint to %s", misspelt, err, name)
		}
	})
}

func TestLookupSpellings(t *testing.T) {
	for text, want := range map[string]string{
		"Sodium  Carbonate": "sodium carbonate", "soda ash": "sodium carbonate", "Baking Soda": "sodium bicarbonate",
		"sodium hydrogen carbonate": "sodium bicarbonate", "EPSOM SALT": "magnesium sulfate heptahydrate",
		"magnesium sulphate heptahydrate": "magnesium sulfate heptahydrate", "anhydrous calcium chloride": "calcium chloride anhydrous",
		"potassium dihydrogen phosphate": "monopotassium phosphate",
	} {
		if got, err := Lookup(text); err != nil || got.Name != want {
			t.Errorf("Lookup(%q) = %q, %v; want %q", text, got.Name, err, want)
		}
	}
}

// Equal amounts of calcium and alkalinity, as calcification takes them: 20.04 mg/L for 1 meq/L (CaCO3
// stoichiometry, common practice rounds it to 20).
func TestFormateIsBalanced(t *testing.T) {
	for _, salt := range []string{"calcium formate", "calcium acetate", "calcium hydroxide"} {
		strength, err := StrengthOf([]Part{{Salt: salt, GramsPerLitre: 10}})
		if err != nil {
			t.Fatal(err)
		}
		meq, err := units.FromCanonical(units.Alkalinity, strength[units.Alkalinity], "meq/L")
		if err != nil || math.Abs(strength[units.Calcium]/meq-20.039) > 1e-9 {
			t.Errorf("%s: %v mg/L calcium for 1 meq/L, %v; want 20.039", salt, strength[units.Calcium]/meq, err)
		}
	}
}
