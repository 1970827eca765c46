package stock

import (
	"math"
	"strings"
	"testing"
	"time"

	"aliquot/planner/units"
)

func TestLookupByFormula(t *testing.T) {
	for text, want := range map[string]string{
		"Na2CO3·10H2O": "sodium carbonate decahydrate", "CaCl2.2H2O": "calcium chloride dihydrate", "MgSO4*7H2O": "magnesium sulfate heptahydrate",
		"MgSO4 · 7H2O": "magnesium sulfate heptahydrate", "MgCl₂•6H₂O": "magnesium chloride hexahydrate", "NaHCO3": "sodium bicarbonate", "Na2CO3": "sodium carbonate",
		"Ca(OH)2": "calcium hydroxide", "CaO2H2": "calcium hydroxide", "NaC2H3O2.3H2O": "sodium acetate trihydrate", "CH3COONa anhydrous": "sodium acetate anhydrous",
		"CaCl2 anhydrous": "calcium chloride anhydrous", "Anhydrous MgSO4": "magnesium sulfate anhydrous", "KI": "potassium iodide", "Na2B4O7.10H2O": "sodium tetraborate decahydrate",
		" KH2PO4 ": "monopotassium phosphate", "H3BO3": "boric acid", "B(OH)3": "boric acid", "CaCl2.2(H2O)": "calcium chloride dihydrate", "MgSO4.H2O": "magnesium sulfate monohydrate",
	} {
		if got, err := Lookup(text); err != nil || got.Name != want {
			t.Errorf("Lookup(%q) = %q, %v; want %q", text, got.Name, err, want)
		}
	}
}

// H-33: a formula that leaves the water open is refused as the name is.
func TestLookupByFormulaRefuses(t *testing.T) {
	for text, want := range map[string]string{
		"CaCl2":                `"CaCl2" leaves the water of crystallisation open; the label says which: the same amount is in calcium chloride anhydrous (1.000 g), or calcium chloride dihydrate (1.325 g), or calcium chloride hexahydrate (1.974 g)`,
		"MgSO4":                `"MgSO4" leaves the water of crystallisation open`,
		"CaCl2.5H2O":           `"CaCl2.5H2O": this salt is not known with 5 waters; known are CaCl2, CaCl2.2H2O, CaCl2.6H2O`,
		"CaCl2.2H2O anhydrous": `"CaCl2.2H2O" is called anhydrous and names 2 waters; say which`,
		"NaHCO3.10H2O":         "not known with 10 waters",
		"FeCl3":                `"FeCl3" is no known salt`,
		"cacl2.2h2o":           "is no known salt", // Co and CO are different things: capitals matter
		"CaCl2.2H20":           "is no known salt", // a zero for an O
		"H2O":                  "is no known salt",
		"":                     "is no known salt",
	} {
		got, err := Lookup(text)
		if err == nil || !strings.Contains(err.Error(), want) || got.Name != "" {
			t.Errorf("Lookup(%q) = %q, %v; want %q", text, got.Name, err, want)
		}
	}
}

// No two salts of the catalogue have the same atoms and waters, so a formula finds one.
func TestFormulasAreUnique(t *testing.T) {
	for _, name := range SaltNames() {
		s, err := Lookup(name)
		if err != nil {
			t.Fatal(err)
		}
		text := s.Formula
		if s.Waters == 0 {
			text += " anhydrous"
		}
		if got, err := Lookup(text); err != nil || got.Name != s.Name {
			t.Errorf("%s is found as %q, %v; want %s", text, got.Name, err, s.Name)
		}
	}
}

func TestForms(t *testing.T) {
	forms, err := Forms("calcium chloride dihydrate")
	if err != nil || len(forms) != 3 {
		t.Fatalf("%v, %v", forms, err)
	}
	// 110.978, 147.008 and 219.068 g/mol.
	for i, want := range []float64{110.978 / 147.008, 1, 219.068 / 147.008} {
		if math.Abs(forms[i].Grams-want) > 1e-6 {
			t.Errorf("%s: %v g; want %v", forms[i].Salt.Name, forms[i].Grams, want)
		}
	}
	if _, err := Forms("fairy dust"); err == nil {
		t.Error("forms of an unknown salt")
	}
}

func TestMistakenHydrate(t *testing.T) {
	for _, c := range []struct {
		meant, weighed string
		factor         float64
		text           string
	}{
		{"calcium chloride dihydrate", "calcium chloride anhydrous", 1.32466, "has 1.325 times the strength (+32.5 %); take 0.755 g for each gram"},
		{"calcium chloride anhydrous", "calcium chloride dihydrate", 0.754911, "has 0.755 times the strength (-24.5 %); take 1.325 g"},
		{"Na2CO3", "Na2CO3·10H2O", 0.370408, "take 2.700 g"},
		{"epsom salt", "epsom salt", 1, "is what the recipe means"},
	} {
		m, err := MistakenHydrate(c.meant, c.weighed)
		if err != nil || math.Abs(m.Factor-c.factor) > 1e-5 || !strings.Contains(m.Text, c.text) {
			t.Errorf("%s for %s: %+v, %v; want %v, %q", c.weighed, c.meant, m, err, c.factor, c.text)
		}
	}
	for _, c := range [][2]string{{"NaHCO3", "Na2CO3"}, {"fairy dust", "NaHCO3"}, {"NaHCO3", "fairy dust"}} {
		if m, err := MistakenHydrate(c[0], c[1]); err == nil || m != (HydrateMistake{}) {
			t.Errorf("%v: %+v", c, m)
		}
	}
}

// Carbon for each equivalent: bicarbonate 1, carbonate one half, hydroxide and borate none, formate 1, acetate 2.
func TestPerGram(t *testing.T) {
	for salt, want := range map[string]float64{
		"sodium bicarbonate": 1, "sodium carbonate": 0.5, "sodium hydroxide": 0, "borax": 0, "calcium formate": 1, "calcium acetate": 2, "sodium acetate trihydrate": 2,
		"potassium carbonate": 0.5, "boric acid": 0, "potassium chloride": 0,
	} {
		s, err := Lookup(salt)
		if err != nil {
			t.Fatal(err)
		}
		if got := s.PerGram().CarbonPerEquivalent; got != want {
			t.Errorf("%s brings %v carbon for each equivalent; want %v", salt, got, want)
		}
		if organic := has(s.Classes, OrganicSalt); organic != (s.AppearsOver == 48*time.Hour) || organic != (strings.Contains(s.Note, "bacteria")) {
			t.Errorf("%s appears over %v: %q", salt, s.AppearsOver, s.Note)
		}
	}
	borax, _ := Lookup("borax")
	b := borax.PerGram()
	// 381.36 g/mol: 5.244 meq and 113.4 mg of boron in 1 g.
	if math.Abs(b.AlkalinityMeq-5.24438) > 1e-4 || len(b.Ions) != 1 || b.Ions[0].Quantity != units.Boron || math.Abs(b.Ions[0].Milligrams-113.384) > 0.01 || borax.Note == "" {
		t.Errorf("borax brings %+v, note %q", b, borax.Note)
	}
	k, _ := Lookup("dipotassium phosphate anhydrous")
	if k.AlkEquivalents != 1 || k.Note == "" {
		t.Errorf("HPO4 is one equivalent: %+v", k)
	}
}

func FuzzLookup(f *testing.F) {
	for _, s := range []string{"CaCl2.2H2O", "epsom salt", "CaCl2 anhydrous", "Na2CO3·10H2O", ".", "H2O.H2O", "999H2O", "anhydrous", "((("} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		s, err := Lookup(text)
		if err != nil {
			if s.Name != "" || len(err.Error()) > 600 {
				t.Errorf("Lookup(%q) = %+v, %v", text, s, err)
			}
			return
		}
		again, err := Lookup(s.Name)
		if err != nil || again.Formula != s.Formula || !(s.MolarMass > 10 && s.MolarMass < 1000) || s.Waters < 0 {
			t.Errorf("Lookup(%q) = %+v, again %+v, %v", text, s, again, err)
		}
	})
}
