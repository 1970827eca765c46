package stock

import (
	"maps"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestAtomsOf(t *testing.T) {
	for formula, want := range map[string]map[string]int{
		"CaCl2":         {"Ca": 1, "Cl": 2},
		"Ca(OH)2":       {"Ca": 1, "O": 2, "H": 2},
		"Na2CO3.10H2O":  {"Na": 2, "C": 1, "O": 13, "H": 20},
		"Ca(CH3COO)2":   {"Ca": 1, "C": 4, "H": 6, "O": 4},
		"Na2B4O7·10H2O": {"Na": 2, "B": 4, "O": 17, "H": 20},
		"Mg((SO4))1":    {"Mg": 1, "S": 1, "O": 4},
		"CaH0Cl2":       {"Ca": 1, "Cl": 2}, // none of it is none of it
	} {
		if got, err := atomsOf(formula); err != nil || !maps.Equal(got, want) {
			t.Errorf("atomsOf(%q) = %v, %v; want %v", formula, got, err, want)
		}
	}
}

func TestWaterOf(t *testing.T) {
	for _, c := range []struct {
		formula string
		mass    float64 // of the dry salt
		waters  int
	}{
		{"CaCl2.2H2O", 110.978, 2}, {"CaCl2", 110.978, 0}, {"CaCl2.H2O", 110.978, 1}, {"CaCl2·6(H2O)", 110.978, 6}, {" CaCl2 . 2H2O ", 110.978, 2},
		{"CaCl2.0H2O", 110.978, 0}, {"NaCl.KCl", 58.43977 + 74.5483, 0}, {"H2O", 18.015, 0}, // nothing but water is no hydrate
	} {
		dry, waters, err := waterOf(c.formula)
		if err != nil || waters != c.waters || math.Abs(massOf(dry)-c.mass) > 1e-4 {
			t.Errorf("waterOf(%q) = %v (%v g), %d, %v; want %v g and %d", c.formula, dry, massOf(dry), waters, err, c.mass, c.waters)
		}
	}
	for _, bad := range []string{"", ".2H2O", "Xx.2H2O", "2H2O.", "."} {
		if dry, _, err := waterOf(bad); err == nil {
			t.Errorf("waterOf(%q) = %v; want an error", bad, dry)
		}
	}
}

// Every way to write the separator and the digits gives the same mass.
func TestSpellingsOfAHydrate(t *testing.T) {
	want, err := MolarMass("MgSO4.7H2O")
	if err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{"MgSO4·7H2O", "MgSO4*7H2O", "MgSO4•7H2O", "MgSO4∙7H2O", "MgSO4⋅7H2O", "MgSO₄·7H₂O", "MgSO4 · 7H2O", "MgSO4 . 7H2O", "MgSO4 * 7H2O"} {
		if got, err := MolarMass(text); err != nil || got != want {
			t.Errorf("MolarMass(%q) = %v, %v; want %v", text, got, err, want)
		}
	}
}

// The mass of a hydrate is that of the dry salt and its water.
func TestMassOfHydrates(t *testing.T) {
	for _, name := range SaltNames() {
		s, err := Lookup(name)
		if err != nil {
			t.Fatal(err)
		}
		dry, waters, err := waterOf(s.Formula)
		if err != nil || waters != s.Waters || math.Abs(massOf(dry)+float64(waters)*molar("H2O")-s.MolarMass) > 1e-9 {
			t.Errorf("%s: %v + %d × water is not %v, %v", name, massOf(dry), waters, s.MolarMass, err)
		}
	}
	if !math.IsNaN(molar("Xx")) {
		t.Error("an unreadable formula has a mass")
	}
}

// A hostile text never makes a long message.
func TestMessagesStayShort(t *testing.T) {
	for _, text := range []string{strings.Repeat("(", 10_000), strings.Repeat("H", 10_000) + "?", strings.Repeat("CaCl2.", 5_000) + "x"} {
		if _, err := MolarMass(text); err == nil || len(err.Error()) > 400 {
			t.Errorf("a text of %d bytes gives a message of %d", len(text), len(err.Error()))
		}
	}
}

// The water that a hydrate brings counts as water: dissolving g of a form in 100 g of added water leaves as many
// grams of dry salt for each 100 g of all water as the handbook says.
func TestGramsOfFormCountItsWater(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom(SaltNames()).Draw(t, "salt")
		celsius := rapid.Float64Range(roomLeast, roomMost).Draw(t, "celsius")
		s, err := Lookup(name)
		if err != nil {
			t.Fatal(err)
		}
		sol, err := SolubilityOf(name, celsius)
		if err != nil || s.Formula == "CaO" {
			return // no handbook value, or water that is used up
		}
		grams := sol.GramsOfForm(s)
		water := float64(s.Waters) * molar("H2O") / s.MolarMass
		if math.IsInf(grams, 1) {
			if part := (1 - water) / water * 100; !(sol.GramsPer100 >= part*0.999) {
				t.Fatalf("%s does not melt in its own water: %v", name, sol)
			}
			return
		}
		if got := grams * (1 - water) / (100 + grams*water) * 100; !(grams > 0) || math.Abs(got-sol.GramsPer100) > 1e-6*sol.GramsPer100 {
			t.Fatalf("%s: %v g leave %v g in 100 g of water; want %v", name, grams, got, sol.GramsPer100)
		}
	})
}
