package stock

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"aliquot/planner/units"
)

// recipes are ordinary solutions of an invented keeper. The golden file shows what a person is told of each.
var recipes = []struct {
	name            string
	parts           []Part
	litres, celsius float64
}{
	{"alkalinity from carbonate", []Part{{Salt: "Na2CO3", GramsPerLitre: 80}}, 5, 20},
	{"alkalinity from bicarbonate, near what dissolves", []Part{{Salt: "sodium bicarbonate", GramsPerLitre: 84}}, 5, 20},
	{"calcium from dihydrate of 98 %", []Part{{"calcium chloride dihydrate", 111, 0.98}}, 5, 20},
	{"magnesium in the sea's proportions", []Part{{Salt: "MgCl2·6H2O", GramsPerLitre: 250}, {Salt: "MgSO4*7H2O", GramsPerLitre: 31}}, 2, 20},
	{"alkalinity from hydroxide", []Part{{Salt: "sodium hydroxide", GramsPerLitre: 40}}, 1, 20},
	{"calcium and alkalinity from formate", []Part{{Salt: "calcium formate", GramsPerLitre: 100}}, 1, 25},
	{"borate", []Part{{Salt: "borax", GramsPerLitre: 20}}, 1, 25},
	{"nitrate and phosphate", []Part{{Salt: "potassium nitrate", GramsPerLitre: 30}, {Salt: "KH2PO4", GramsPerLitre: 1}}, 0.5, 22},
	{"strontium and calcium with some sulfate", []Part{{Salt: "SrCl2.6H2O", GramsPerLitre: 20}, {Salt: "CaCl2.2H2O", GramsPerLitre: 3}, {Salt: "MgSO4.7H2O", GramsPerLitre: 5}}, 1, 20},
}

func TestRecipesRead(t *testing.T) {
	var b strings.Builder
	b.WriteString("Invented recipes and what a person is told of each.\n")
	for _, c := range recipes {
		r, err := RecipeOf(c.parts, c.litres, c.celsius)
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		writeRecipe(&b, c.name, r)
	}
	path := filepath.Join("testdata", "recipes.txt")
	if *update {
		if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	was, err := os.ReadFile(path)
	if err != nil || string(was) != b.String() {
		t.Errorf("%s is stale (%v): run go test -update and explain each changed line\n%s", path, err, b.String())
	}
}

func writeRecipe(b *strings.Builder, name string, r Recipe) {
	fmt.Fprintf(b, "\n%s, %g L\n", name, r.Litres)
	for i, p := range r.Solution {
		fmt.Fprintf(b, "  weigh    %.4g g of %s\n", r.Grams[i], p.Salt)
	}
	for _, q := range units.Quantities() {
		if v, ok := r.Strength[q]; ok {
			fmt.Fprintf(b, "  1 mL     raises 1 L by %.4g %s of %s\n", v, q.Unit(), q)
		}
	}
	if r.AppearsOver > 0 {
		fmt.Fprintf(b, "  appears  over %v\n", r.AppearsOver)
	}
	fmt.Fprintf(b, "  %v\n", r.Dissolving.Verdict)
	for _, p := range r.Dissolving.Parts {
		fmt.Fprintf(b, "  steps    %s\n", p.Steps)
	}
	for _, c := range r.Cautions {
		fmt.Fprintf(b, "  caution  %s\n", c)
	}
	for _, n := range r.Notes {
		fmt.Fprintf(b, "  note     %s\n", n)
	}
}

// The figures of the trade, for a tank of 300 L that uses 1 dKH a day: the doses of a balanced pair are equal volumes
// of solutions that are balanced, and what they leave is what creeps.
func TestABalancedPair(t *testing.T) {
	const litres, ml = 300.0, 60.0
	soda, err := GramsPerLitreForRise("Na2CO3", 0, units.Alkalinity, 1, ml, litres)
	if err != nil {
		t.Fatal(err)
	}
	flakes, err := GramsPerLitreForRise("CaCl2.2H2O", 0, units.Calcium, CalciumPerDKH(), ml, litres)
	if err != nil {
		t.Fatal(err)
	}
	// Two-part table: 1.890 g of carbonate for 1 dKH in 100 L, and 1.387 g of dihydrate for each gram of it.
	if math.Abs(soda*ml/1000-3*1.890036) > 1e-5 || math.Abs(flakes/soda-1.387031) > 1e-5 {
		t.Errorf("%v and %v g/L", soda, flakes)
	}
	x, err := SpectatorsOf([]Part{{Salt: "Na2CO3", GramsPerLitre: soda}})
	y, err2 := SpectatorsOf([]Part{{Salt: "CaCl2.2H2O", GramsPerLitre: flakes}})
	creep, err3 := SalinityCreep(litres, 1, 0)
	if err != nil || err2 != nil || err3 != nil {
		t.Fatal(err, err2, err3)
	}
	left := (x.Sodium*molar("Na") + y.Chloride*molar("Cl")) * ml * 30 / 1000
	if math.Abs(left-creep.GramsPerMonth) > 1e-6*left {
		t.Errorf("the pair leaves %v g a month, the creep says %v", left, creep.GramsPerMonth)
	}
	for _, p := range [][]Part{{{Salt: "Na2CO3", GramsPerLitre: soda}}, {{Salt: "CaCl2.2H2O", GramsPerLitre: flakes}}} {
		if r, err := RecipeOf(p, 5, 20); err != nil || r.Dissolving.Verdict != Dissolves {
			t.Errorf("%v: %v, %v", p, r.Dissolving, err)
		}
	}
	// What the pair replaces can be true together, as Check sees it.
	b, err := Check(Uses{Alkalinity: Use{1, 0.05}, Calcium: Use{CalciumPerDKH(), 0.5}}, 0.95)
	if err != nil || b.Wrong() {
		t.Errorf("%+v, %v", b, err)
	}
}

// Whatever is asked for: an accepted amount is finite, above 0, and gives what was asked for.
func FuzzGramsPerLitreForRise(f *testing.F) {
	f.Add("NaHCO3", 1.0, 1.0, 50.0, 300.0)
	f.Add("CaCl2.2H2O", 0.0, math.NaN(), 1e308, 5e-324)
	f.Add("borax", 0.5, -1.0, 0.0, 20_000.0)
	f.Fuzz(func(t *testing.T, salt string, purity, rise, ml, litres float64) {
		for _, q := range []units.Quantity{units.Alkalinity, units.Calcium} {
			g, err := GramsPerLitreForRise(salt, purity, q, rise, ml, litres)
			if err != nil {
				if g != 0 {
					t.Errorf("%v g/L with error %v", g, err)
				}
				continue
			}
			if !(g > 0 && g <= gramsMost) {
				t.Errorf("%q, %s: %v g/L", salt, q, g)
			}
			strength, err := StrengthOf([]Part{{salt, g, purity}})
			if got := strength[q] * ml / litres; err != nil || !(math.Abs(got-rise) <= 1e-9*rise) {
				t.Errorf("%q: %v g/L give %v %s a day, %v; want %v", salt, g, got, q, err, rise)
			}
		}
	})
}
