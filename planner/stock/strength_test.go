package stock

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"aliquot/planner/units"

	"pgregory.net/rapid"
)

// readRefs reads a table of check values; each row carries its source.
func readRefs(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "refs", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var list []map[string]string
	for _, row := range rows[1:] {
		m := make(map[string]string)
		for i, h := range rows[0] {
			m[h] = row[i]
		}
		if m["source"] == "" {
			t.Fatalf("%s: row without source: %v", name, row)
		}
		list = append(list, m)
	}
	return list
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestMolarMassesOfReference(t *testing.T) {
	rows := readRefs(t, "molar_masses.csv")
	if len(rows) != 34 {
		t.Fatalf("%d rows; want 34", len(rows))
	}
	for _, row := range rows {
		got, err := MolarMass(row["formula"])
		if want := number(t, row["molar_mass_g_mol"]); err != nil || math.Abs(got-want) > 5e-4 {
			t.Errorf("MolarMass(%s) = %v, %v; want %v (%s)", row["formula"], got, err, want, row["source"])
		}
	}
}

func TestMolarMassRefuses(t *testing.T) {
	for _, formula := range []string{"", ".", "Xx", "Na2CO3.", "Ca(OH2", "CaOH)2", "((((H))))", "na", "CaCl2 2H2O", "()", "H0", "µ"} {
		if got, err := MolarMass(formula); err == nil {
			t.Errorf("MolarMass(%q) = %v; want an error", formula, got)
		}
	}
}

// Alkalinity per mole and per gram of every salt that the reference knows too.
func TestAlkalinityOfReference(t *testing.T) {
	compared := 0
	for _, row := range readRefs(t, "molar_masses.csv") {
		for _, name := range SaltNames() {
			s, err := Lookup(name)
			if err != nil {
				t.Fatal(err)
			}
			if s.Formula != row["formula"] || row["alk_eq_per_mol"] == "" {
				continue
			}
			compared++
			if want := number(t, row["alk_eq_per_mol"]); s.AlkEquivalents != want {
				t.Errorf("%s: %v equivalents; want %v", name, s.AlkEquivalents, want)
			}
			if row["alk_meq_per_g"] == "" {
				continue
			}
			strength, err := StrengthOf([]Part{{Salt: name, GramsPerLitre: 1}})
			if err != nil {
				t.Fatal(err)
			}
			// 1 g/L is 1 mg in 1 mL: a thousandth of the reference's meq per g.
			meq, err := units.FromCanonical(units.Alkalinity, strength[units.Alkalinity]*1000, "meq/L")
			if want := number(t, row["alk_meq_per_g"]); err != nil || math.Abs(meq-want) > 5e-4 {
				t.Errorf("%s: %v meq/g, %v; want %v (%s)", name, meq, err, want, row["source"])
			}
		}
	}
	if compared < 18 {
		t.Errorf("only %d salts compared", compared)
	}
}

// Doses per 100 L: grams of a salt for a rise, from stoichiometry with CIAAW 2021 weights.
func TestDosesOfReference(t *testing.T) {
	cases := map[string]struct {
		salt string
		q    units.Quantity
		rise float64
	}{
		"nahco3_per_dkh_100l":          {"sodium bicarbonate", units.Alkalinity, 1},
		"na2co3_per_dkh_100l":          {"sodium carbonate", units.Alkalinity, 1},
		"naoh_per_dkh_100l":            {"sodium hydroxide", units.Alkalinity, 1},
		"cacl2_2h2o_per_10ppm_ca_100l": {"calcium chloride dihydrate", units.Calcium, 10},
		"cacl2_per_10ppm_ca_100l":      {"calcium chloride anhydrous", units.Calcium, 10},
		"mgcl2_6h2o_per_10ppm_mg_100l": {"magnesium chloride hexahydrate", units.Magnesium, 10},
		"mgso4_7h2o_per_10ppm_mg_100l": {"magnesium sulfate heptahydrate", units.Magnesium, 10},
		"srcl2_6h2o_per_1ppm_sr_100l":  {"strontium chloride hexahydrate", units.Strontium, 1},
		"kcl_per_10ppm_k_100l":         {"potassium chloride", units.Potassium, 10},
	}
	seen := 0
	for _, row := range readRefs(t, "two_part_residue.csv") {
		c, ok := cases[row["quantity"]]
		if !ok {
			continue
		}
		seen++
		strength, err := StrengthOf([]Part{{Salt: c.salt, GramsPerLitre: 100}})
		if err != nil {
			t.Fatal(err)
		}
		// 1 mL of 100 g/L is 0.1 g and raises 1 L by strength; 100 L by rise take 100·rise times 0.1/strength.
		got := 100 * c.rise * 0.1 / strength[c.q]
		if want := number(t, row["value"]); math.Abs(got-want) > 1e-6*want {
			t.Errorf("%s: %.8g g; want %.8g (%s)", row["quantity"], got, want, row["source"])
		}
	}
	if seen != len(cases) {
		t.Errorf("found %d of %d doses in the reference", seen, len(cases))
	}
}

func TestStrengthOf(t *testing.T) {
	for name, c := range map[string]struct {
		parts Solution
		want  map[units.Quantity]float64
	}{
		"carbonate":   {Solution{{Salt: "sodium carbonate", GramsPerLitre: 80}}, map[units.Quantity]float64{units.Alkalinity: 4.2327}},
		"calcium":     {Solution{{Salt: "calcium chloride dihydrate", GramsPerLitre: 111}}, map[units.Quantity]float64{units.Calcium: 30.2613}},
		"magnesium":   {Solution{{Salt: "magnesium chloride hexahydrate", GramsPerLitre: 250}, {Salt: "magnesium sulfate heptahydrate", GramsPerLitre: 30}}, map[units.Quantity]float64{units.Magnesium: 32.8473}},
		"mixed bases": {Solution{{Salt: "Sodium Carbonate", GramsPerLitre: 40}, {Salt: "baking soda", GramsPerLitre: 40}}, map[units.Quantity]float64{units.Alkalinity: 3.45143}},
		"limewater":   {Solution{{Salt: "calcium hydroxide", GramsPerLitre: 1.5}}, map[units.Quantity]float64{units.Alkalinity: 0.113529, units.Calcium: 0.811383}},
		"two ions":    {Solution{{Salt: "potassium nitrate", GramsPerLitre: 10}}, map[units.Quantity]float64{units.Nitrate: 6.13280, units.Potassium: 3.86720}},
		"phosphate":   {Solution{{Salt: "monopotassium phosphate", GramsPerLitre: 1}}, map[units.Quantity]float64{units.Phosphate: 0.697860, units.Potassium: 0.287303}},
		"formate":     {Solution{{Salt: "calcium formate", GramsPerLitre: 50}, {Salt: "magnesium sulphate heptahydrate", GramsPerLitre: 5}}, map[units.Quantity]float64{units.Alkalinity: 2.15494, units.Calcium: 15.40135, units.Magnesium: 0.493070}},
		"boric acid":  {Solution{{Salt: "boric acid", GramsPerLitre: 10}}, map[units.Quantity]float64{units.Boron: 1.74832}},
		"iodide":      {Solution{{Salt: "potassium iodide", GramsPerLitre: 1}, {Salt: "potassium chloride", GramsPerLitre: 10}}, map[units.Quantity]float64{units.Iodide: 0.764472, units.Potassium: 5.480235}},
	} {
		got, err := StrengthOf(c.parts)
		if err != nil || len(got) != len(c.want) {
			t.Errorf("%s: %v, %v; want %v", name, got, err, c.want)
			continue
		}
		for q, want := range c.want {
			if math.Abs(got[q]-want) > 2e-4*want {
				t.Errorf("%s: %s %v; want %v", name, q, got[q], want)
			}
		}
	}
}

func TestStrengthOfRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		parts Solution
		want  string
	}{
		"empty":          {nil, "the solution has no salt; name at least one with its g/L"},
		"unknown":        {Solution{{Salt: "sodum carbonat", GramsPerLitre: 80}}, `"sodum carbonat" is no known salt; the nearest names are sodium carbonate, sodium bicarbonate, potassium carbonate`},
		"ambiguous":      {Solution{{Salt: "calcium chloride", GramsPerLitre: 80}}, `"calcium chloride" leaves the water of crystallisation open; the label says which: the same amount is in calcium chloride anhydrous (1.000 g), or calcium chloride dihydrate (1.325 g), or calcium chloride hexahydrate (1.974 g)`},
		"zero":           {Solution{{Salt: "sodium carbonate", GramsPerLitre: 0}}, "sodium carbonate: 0 g/L is not above 0 and at most 1500 g/L"},
		"negative":       {Solution{{Salt: "sodium carbonate", GramsPerLitre: -1}}, "sodium carbonate: -1 g/L is not above 0 and at most 1500 g/L"},
		"nan":            {Solution{{Salt: "sodium carbonate", GramsPerLitre: math.NaN()}}, "sodium carbonate: NaN g/L is not above 0 and at most 1500 g/L"},
		"infinite":       {Solution{{Salt: "sodium carbonate", GramsPerLitre: math.Inf(1)}}, "sodium carbonate: +Inf g/L is not above 0 and at most 1500 g/L"},
		"above":          {Solution{{Salt: "sodium carbonate", GramsPerLitre: 1500.1}}, "sodium carbonate: 1500.1 g/L is not above 0 and at most 1500 g/L"},
		"sum above":      {Solution{{Salt: "sodium carbonate", GramsPerLitre: 1000}, {Salt: "sodium bicarbonate", GramsPerLitre: 501}}, "the solution holds 1501 g/L of salts, at most 1500 g/L is possible"},
		"twice":          {Solution{{Salt: "sodium bicarbonate", GramsPerLitre: 10}, {Salt: "baking soda", GramsPerLitre: 10}}, "sodium bicarbonate is named twice; add the amounts up"},
		"precipitates":   {Solution{{Salt: "sodium carbonate", GramsPerLitre: 10}, {Salt: "calcium chloride dihydrate", GramsPerLitre: 10}}, "sodium carbonate and calcium chloride dihydrate cannot be in one solution: carbonate and calcium precipitate as calcium carbonate"},
		"lime magnesium": {Solution{{Salt: "magnesium chloride hexahydrate", GramsPerLitre: 10}, {Salt: "calcium hydroxide", GramsPerLitre: 1}}, "magnesium chloride hexahydrate and calcium hydroxide cannot be in one solution: lime and magnesium precipitate as magnesium hydroxide"},
	} {
		got, err := StrengthOf(c.parts)
		if err == nil || err.Error() != c.want || got != nil {
			t.Errorf("%s: %v, %v;\n want %s", name, got, err, c.want)
		}
	}
	if _, err := StrengthOf([]Part{{Salt: "sodium carbonate", GramsPerLitre: 1500}}); err != nil {
		t.Errorf("1500 g/L: %v", err)
	}
}

// Strength is proportional to the amount, and a mixture is the sum of its parts.
func TestStrengthAddsUp(t *testing.T) {
	salts := []string{"magnesium chloride hexahydrate", "magnesium sulfate heptahydrate", "potassium chloride", "potassium nitrate", "boric acid"}
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, len(salts)).Draw(t, "parts")
		var parts []Part
		sum := map[units.Quantity]float64{}
		for _, name := range salts[:n] {
			p := Part{Salt: name, GramsPerLitre: rapid.Float64Range(0.001, 200).Draw(t, name)}
			parts = append(parts, p)
			alone, err := StrengthOf([]Part{{Salt: name, GramsPerLitre: p.GramsPerLitre / 2}})
			if err != nil {
				t.Fatal(err)
			}
			for q, v := range alone {
				sum[q] += 2 * v
			}
		}
		got, err := StrengthOf(parts)
		if err != nil || len(got) != len(sum) {
			t.Fatalf("%v, %v; want %v", got, err, sum)
		}
		for q, v := range sum {
			if !(got[q] > 0) || math.Abs(got[q]-v) > 1e-9*v {
				t.Fatalf("%s: %v; want %v", q, got[q], v)
			}
		}
	})
}

func TestEverySaltHoldsTogether(t *testing.T) {
	names := map[string]bool{}
	for _, s := range saltTable {
		for _, n := range append([]string{s.Name}, s.also...) {
			if names[n] || n != saltKey(n) {
				t.Errorf("%q is a second or unreachable name", n)
			}
			names[n] = true
		}
		got, err := Lookup(s.Name)
		if err != nil || !(got.MolarMass > 0) {
			t.Errorf("Lookup(%s) = %v, %v", s.Name, got, err)
		}
		if s.AlkEquivalents == 0 && len(s.Ions) == 0 {
			t.Errorf("%s moves nothing", s.Name)
		}
		strength, err := StrengthOf([]Part{{Salt: s.Name, GramsPerLitre: 10}})
		if err != nil {
			t.Errorf("%s: %v", s.Name, err)
		}
		for q, v := range strength {
			// 10 g/L bring at most 10 mg of anything in 1 mL.
			if !q.Known() || !(v > 0 && v <= 10) {
				t.Errorf("%s: %s %v", s.Name, q, v)
			}
		}
		for _, c := range s.Classes {
			if !slices.Contains(AllClasses(), c) {
				t.Errorf("%s: class %s is not listed", s.Name, c)
			}
		}
	}
	for _, a := range ambiguousSalts {
		if names[a.name] {
			t.Errorf("%s is ambiguous and a name", a.name)
		}
		if _, err := Lookup(a.name); err == nil || !strings.Contains(err.Error(), a.candidates[1]) {
			t.Errorf("Lookup(%s): %v", a.name, err)
		}
	}
}

func TestLookupHandsOutCopies(t *testing.T) {
	a, err := Lookup("potassium nitrate")
	if err != nil {
		t.Fatal(err)
	}
	a.Ions[0].PerMole, a.Classes[0] = 99, Acid
	b, err := Lookup("potassium nitrate")
	if err != nil || b.Ions[0].PerMole != 1 || b.Classes[0] != NitrogenSalt {
		t.Errorf("the table was changed through a copy: %v, %v", b, err)
	}
}

func TestLookupBoundsAHostileName(t *testing.T) {
	if _, err := Lookup(strings.Repeat("x", 100_000)); err == nil || len(err.Error()) > 300 {
		t.Errorf("a hostile name gives %v", err)
	}
}
