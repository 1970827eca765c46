package stock

import (
	"slices"
	"strings"
	"testing"

	"aliquot/planner/units"
)

func TestIncompatible(t *testing.T) {
	bad := map[[2]Class]bool{
		{Carbonate, CalciumSalt}: true, {Hydroxide, CalciumSalt}: true, {Lime, CalciumSalt}: true, {Carbonate, Lime}: true,
		{Carbonate, Magnesium}: true, {Hydroxide, Magnesium}: true, {Lime, Magnesium}: true, {Phosphate, CalciumSalt}: true,
		{Phosphate, Lime}: true, {Strontium, Carbonate}: true, {Metal, Carbonate}: true, {Metal, Hydroxide}: true, {Metal, Lime}: true,
		{Iodide, Oxidiser}: true, {Acid, Carbonate}: true, {Acid, Hydroxide}: true, {Acid, Lime}: true,
	}
	for _, a := range AllClasses() {
		for _, b := range AllClasses() {
			want := bad[[2]Class{a, b}] || bad[[2]Class{b, a}]
			reason, got := Incompatible([]Class{a}, []Class{b})
			if got != want || got != (reason != "") {
				t.Errorf("Incompatible(%s, %s) = %q, %v; want %v", a, b, reason, got, want)
			}
			again, _ := Incompatible([]Class{b}, []Class{a})
			if again != reason {
				t.Errorf("Incompatible(%s, %s) depends on the order: %q, %q", a, b, reason, again)
			}
		}
	}
	if _, got := Incompatible(nil, AllClasses()); got {
		t.Error("a solution without contents cannot be incompatible")
	}
	if _, got := Incompatible([]Class{Iodide, Sulfate}, []Class{NitrogenSalt, CalciumSalt}); got {
		t.Error("sulfate and calcium may run one after the other in seawater")
	}
}

// The solutions of an ordinary three-part system, and what must be kept apart among them.
func TestClassesOfRecipes(t *testing.T) {
	carbonate := Classes(Solution{{Salt: "sodium carbonate", GramsPerLitre: 80}})
	calcium := Classes(Solution{{Salt: "calcium chloride dihydrate", GramsPerLitre: 111}})
	magnesium := Classes(Solution{{Salt: "magnesium sulfate heptahydrate", GramsPerLitre: 30}, {Salt: "magnesium chloride hexahydrate", GramsPerLitre: 250}})
	lime := Classes(Solution{{Salt: "calcium hydroxide", GramsPerLitre: 1.5}})
	formate := Classes(Solution{{Salt: "calcium formate", GramsPerLitre: 50}})
	for _, c := range []struct {
		name string
		got  []Class
		want []Class
	}{
		{"carbonate", carbonate, []Class{Carbonate}}, {"calcium", calcium, []Class{CalciumSalt}},
		{"magnesium", magnesium, []Class{Magnesium, Sulfate}}, {"lime", lime, []Class{Lime}}, {"formate", formate, []Class{CalciumSalt, OrganicSalt}},
		{"unknown", Classes(Solution{{Salt: "fairy dust", GramsPerLitre: 1}}), nil}, {"none", Classes(nil), nil},
	} {
		if !slices.Equal(c.got, c.want) {
			t.Errorf("%s: %v; want %v", c.name, c.got, c.want)
		}
	}
	for _, c := range []struct {
		name string
		a, b []Class
		want bool
	}{
		{"carbonate and calcium", carbonate, calcium, true}, {"carbonate and magnesium", carbonate, magnesium, true},
		{"calcium and magnesium", calcium, magnesium, false}, {"lime and lime", lime, lime, false}, {"lime and calcium", lime, calcium, true},
		{"formate and carbonate", formate, carbonate, true}, {"formate and calcium", formate, calcium, false},
	} {
		if reason, got := Incompatible(c.a, c.b); got != c.want {
			t.Errorf("%s: %v (%s); want %v", c.name, got, reason, c.want)
		}
	}
}

func TestClassesOfClaim(t *testing.T) {
	for _, c := range []struct {
		quantities []units.Quantity
		want       []Class
	}{
		{nil, nil},
		{[]units.Quantity{units.Alkalinity}, []Class{Carbonate}},
		{[]units.Quantity{units.Calcium, units.Strontium}, []Class{CalciumSalt, Strontium}},
		{[]units.Quantity{units.Strontium, units.Calcium}, []Class{CalciumSalt, Strontium}},
		{[]units.Quantity{units.Alkalinity, units.Calcium}, []Class{CalciumSalt, OrganicSalt}},
		{[]units.Quantity{units.Calcium, units.Magnesium, units.Alkalinity}, []Class{CalciumSalt, Magnesium, OrganicSalt}},
		{[]units.Quantity{units.Iron, units.Iodide, units.Iodine}, []Class{Metal, Iodide}},
		{[]units.Quantity{units.Nitrate, units.Phosphate}, []Class{Phosphate, NitrogenSalt}},
		{[]units.Quantity{units.Potassium, units.Boron, units.Fluoride, units.PH}, nil},
	} {
		if got := ClassesOfClaim(c.quantities); !slices.Equal(got, c.want) {
			t.Errorf("ClassesOfClaim(%v) = %v; want %v", c.quantities, got, c.want)
		}
	}
}

func TestCautions(t *testing.T) {
	got := Cautions(Solution{{Salt: "sodium hydroxide", GramsPerLitre: 40}, {Salt: "potassium chloride", GramsPerLitre: 1}, {Salt: "fairy dust", GramsPerLitre: 1}, {Salt: "sodium carbonate", GramsPerLitre: 80}})
	if len(got) != 2 || !strings.HasPrefix(got[0], "sodium hydroxide: caustic") || !strings.HasPrefix(got[1], "sodium carbonate: irritates") {
		t.Errorf("cautions are %q", got)
	}
	heat := Cautions(Solution{{Salt: "calcium chloride anhydrous", GramsPerLitre: 100}})
	if len(heat) != 1 || !strings.Contains(heat[0], "heats strongly") {
		t.Errorf("cautions are %q", heat)
	}
	gypsum := Cautions(Solution{{Salt: "magnesium sulfate heptahydrate", GramsPerLitre: 30}, {Salt: "calcium formate", GramsPerLitre: 30}})
	if len(gypsum) != 2 || !strings.Contains(gypsum[1], "may precipitate") {
		t.Errorf("cautions are %q", gypsum)
	}
	if got := Cautions(Solution{{Salt: "magnesium chloride hexahydrate", GramsPerLitre: 250}}); len(got) != 0 {
		t.Errorf("cautions are %q; want none", got)
	}
}

// No caution tells to pour water onto a solid, which is how people get hurt (H-45).
func TestNoCautionSaysWaterOntoSolid(t *testing.T) {
	for _, s := range saltTable {
		if rest := strings.ReplaceAll(strings.ReplaceAll(s.Caution, "never water onto it", ""), "not water onto it", ""); strings.Contains(rest, "water onto") {
			t.Errorf("%s: %s", s.Name, s.Caution)
		}
	}
}

func TestCaustic(t *testing.T) {
	for _, c := range AllClasses() {
		if got, want := Caustic([]Class{CalciumSalt, c}), c == Hydroxide || c == Lime; got != want {
			t.Errorf("Caustic(%s) = %v; want %v", c, got, want)
		}
	}
	// Every salt of a caustic class carries the caution.
	for _, s := range saltTable {
		if Caustic(s.Classes) && !strings.Contains(s.Caution, "caustic") {
			t.Errorf("%s is caustic and does not say so: %q", s.Name, s.Caution)
		}
	}
}
