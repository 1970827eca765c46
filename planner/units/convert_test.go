package units

import (
	"encoding/csv"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

// readRefs reads a table of published or derived check values; each row carries its source.
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

func near(got, want, relative float64) bool {
	return math.Abs(got-want) <= relative*math.Abs(want)
}

func TestAlkalinityFactorsOfReference(t *testing.T) {
	unitOf := map[string]string{"dKH": "dKH", "meq_per_L": "meq/L", "mg_per_L_CaCO3": "mg/L CaCO3"}
	checked := 0
	for _, row := range readRefs(t, "alk_units.csv") {
		from, to := unitOf[row["from"]], unitOf[row["to"]]
		if from == "" || to == "" {
			continue // units of other measures, which are not accepted here
		}
		c, err := ToCanonical(Alkalinity, 1, from)
		if err != nil {
			t.Fatal(err)
		}
		got, err := FromCanonical(Alkalinity, c, to)
		if err != nil {
			t.Fatal(err)
		}
		if want := number(t, row["factor"]); !near(got, want, 1e-6) {
			t.Errorf("1 %s = %.9g %s; want %.9g (%s)", from, got, to, want, row["source"])
		}
		checked++
	}
	if checked != 6 {
		t.Errorf("checked %d factors; want 6", checked)
	}
}

func TestAlkalinityExamplesOfReference(t *testing.T) {
	rows := readRefs(t, "alk_examples.csv")
	if len(rows) != 13 {
		t.Fatalf("%d examples; want 13", len(rows))
	}
	for _, row := range rows {
		dkh := number(t, row["dkh"])
		for _, c := range []struct {
			column, unit string
			printed      float64 // half a unit of the last printed digit
		}{{"meq_per_l", "meq/L", 5e-7}, {"meq_per_l", "mmol/L", 5e-7}, {"mg_l_caco3", "ppm CaCO3", 5e-5}, {"mg_l_caco3", "mg/L CaCO3", 5e-5}} {
			want := number(t, row[c.column])
			got, err := FromCanonical(Alkalinity, dkh, c.unit)
			if err != nil || math.Abs(got-want) > c.printed+1e-6*want {
				t.Errorf("%g dKH = %v %s, %v; want %v", dkh, got, c.unit, err, want)
			}
			back, err := ToCanonical(Alkalinity, want, c.unit)
			if err != nil || math.Abs(back-dkh) > 1e-5 {
				t.Errorf("%v %s = %v dKH, %v; want %v", want, c.unit, back, err, dkh)
			}
		}
	}
}

func TestAtomicWeightsOfReference(t *testing.T) {
	for _, row := range readRefs(t, "atomic_weights.csv") {
		got, ok := AtomicWeight(row["element"])
		if want := number(t, row["atomic_weight"]); !ok || got != want {
			t.Errorf("AtomicWeight(%s) = %v, %v; want %v (%s)", row["element"], got, ok, want, row["source"])
		}
	}
	if w, ok := AtomicWeight("Xx"); ok || w != 0 {
		t.Errorf("AtomicWeight(Xx) = %v, %v; want unknown", w, ok)
	}
}

func TestIonMassesOfReference(t *testing.T) {
	want := map[string]Quantity{"NO3": Nitrate, "PO4": Phosphate}
	seen := 0
	for _, row := range readRefs(t, "molar_masses.csv") {
		q, ok := want[row["formula"]]
		if !ok {
			continue
		}
		seen++
		if got, _ := IonMass(q); math.Abs(got-number(t, row["molar_mass_g_mol"])) > 5e-4 {
			t.Errorf("IonMass(%s) = %v; want %s", q, got, row["molar_mass_g_mol"])
		}
	}
	if seen != len(want) {
		t.Errorf("found %d ions in the reference; want %d", seen, len(want))
	}
}

func TestToCanonical(t *testing.T) {
	for _, c := range []struct {
		q     Quantity
		value float64
		unit  string
		want  float64
	}{
		{Alkalinity, 8.3, "dKH", 8.3},
		{Alkalinity, 8.3, "°dKH", 8.3},
		{Alkalinity, 8.3, "  DKH ", 8.3},
		{Alkalinity, 8.3, "KH", 8.3},
		{Alkalinity, 1, "meq/l", 2.80385},
		{Alkalinity, 1, "meq / L", 2.80385},
		{Alkalinity, 1, "meq per litre", 2.80385},
		{Alkalinity, 100, "ppm as CaCO3", 5.60288},
		{Alkalinity, 100, "ppm CaCO₃", 5.60288},
		{Calcium, 430, "mg/l", 430},
		{Calcium, 430, "ppm", 430},
		{Calcium, 430, "mg/L Ca", 430},
		{Calcium, 10, "mmol/L", 400.78},
		{Magnesium, 1330, "PPM Mg", 1330},
		{Nitrate, 5, "mg/L NO3", 5},
		{Nitrate, 1, "mg/L N", 4.42664}, // 62.004/14.007
		{Nitrate, 1, "NO3-N", 4.42664},
		{Nitrate, 1, "mg/L NO3-N", 4.42664},
		{Nitrate, 10, "umol/L", 0.62004},
		{Phosphate, 0.05, "mg/L PO4", 0.05},
		{Phosphate, 1, "mg/L P", 3.06614}, // 94.970/30.974
		{Phosphate, 20, "ug/L P", 0.0613228},
		{Phosphate, 20, "ppb P", 0.0613228},
		{Phosphate, 20, "µg/L", 0.02}, // micro sign
		{Phosphate, 20, "μg/L", 0.02}, // Greek mu
		{Iodide, 60, "ug/L", 0.06},
		{Strontium, 8.1, "mg/L Sr", 8.1},
		{Boron, 4.6, "ppm B", 4.6},
		{Salinity, 35, "PSU", 35},
		{Salinity, 35, "ppt", 35},
		{PH, 8.2, "pH", 8.2},
		{PH, 8.2, "", 8.2},
		{Temperature, 25.5, "°C", 25.5},
		{Temperature, 25.5, "C", 25.5},
		{Temperature, 25.5, "℃", 25.5},
		{Temperature, 77, "degF", 25},
		{Temperature, 32, "° F", 0},
		{Temperature, -40, "degF", -40},
		{ORP, 350, "mV", 350},
	} {
		got, err := ToCanonical(c.q, c.value, c.unit)
		if err != nil || math.Abs(got-c.want) > 1e-5*math.Max(1, math.Abs(c.want)) {
			t.Errorf("ToCanonical(%s, %v, %q) = %v, %v; want %v", c.q, c.value, c.unit, got, err, c.want)
		}
	}
}

func TestToCanonicalRefuses(t *testing.T) {
	for _, c := range []struct {
		q      Quantity
		value  float64
		unit   string
		reason Reason
		text   string
	}{
		{Alkalinity, 8, "", MissingUnit, `"8" has no unit (allowed: dKH, meq/L, mmol/L, ppm CaCO3, mg/L CaCO3); write the unit behind the number, as in 8 dKH`},
		{Alkalinity, 140, "ppm", WrongUnit, `"ppm" is no unit of alkalinity (allowed: dKH, meq/L, mmol/L, ppm CaCO3, mg/L CaCO3); say of what: ppm CaCO3, if calcium carbonate is meant`},
		{Alkalinity, 2300, "umol/kg", WrongUnit, `"umol/kg" is no unit of alkalinity (allowed: dKH, meq/L, mmol/L, ppm CaCO3, mg/L CaCO3); alkalinity per kilogram needs the density: enter dKH or meq/L`},
		{Calcium, 8, "dKH", WrongUnit, `"dKH" is no unit of calcium (allowed: mg/L, ug/L, mmol/L, umol/L); dKH is a unit of alkalinity`},
		{Calcium, 8, "kg", WrongUnit, `"kg" is no unit of calcium (allowed: mg/L, ug/L, mmol/L, umol/L); kg is a unit of mass`},
		{Salinity, 1.026, "SG", WrongUnit, `"SG" is no unit of salinity (allowed: psu, ppt); specific gravity and conductivity are not taken here: give the salinity in psu`},
		{Salinity, 53, "mS/cm", WrongUnit, `"mS/cm" is no unit of salinity (allowed: psu, ppt); specific gravity and conductivity are not taken here: give the salinity in psu`},
		{Temperature, 298, "K", WrongUnit, `"K" is no unit of temperature (allowed: degC, degF); subtract 273.15 and enter degC`},
		{PH, 8, "mg/L", WrongUnit, `"mg/L" is no unit of pH (allowed: pH); mg/L is a unit of dissolved substances`},
		{Switch, 1, "", WrongUnit, "a switch is on or off and has no level"},
		{Calcium, math.NaN(), "mg/L", NotANumber, `"NaN mg/L" is not a finite number`},
		{Calcium, math.Inf(-1), "mg/L", NotANumber, `"-Inf mg/L" is not a finite number`},
		{Calcium, 1e308, "mmol/L", NotANumber, `"1e+308 mmol/L" is not a finite number`},
	} {
		got, err := ToCanonical(c.q, c.value, c.unit)
		var e *Error
		if !errors.As(err, &e) || e.Reason != c.reason || err.Error() != c.text || got != 0 {
			t.Errorf("ToCanonical(%s, %v, %q) = %v, %v;\n want %s: %s", c.q, c.value, c.unit, got, err, c.reason, c.text)
		}
		if _, err := FromCanonical(c.q, c.value, c.unit); err == nil && c.value != 1e308 {
			t.Errorf("FromCanonical(%s, %v, %q) gave no error", c.q, c.value, c.unit)
		}
	}
	if _, err := ToCanonical("calcuim", 400, "mg/L"); err == nil {
		t.Error("an unknown quantity was converted")
	}
}

// Every conversion inverts, for every unit of every quantity.
func TestConversionsInvert(t *testing.T) {
	for _, q := range Quantities() {
		for _, d := range unitsOf(q) {
			rapid.Check(t, func(t *rapid.T) {
				v := rapid.Float64Range(-1e6, 1e6).Draw(t, "value")
				c, err := ToCanonical(q, v, d.name)
				if err != nil {
					t.Fatal(err)
				}
				back, err := FromCanonical(q, c, d.name)
				if err != nil {
					t.Fatal(err)
				}
				if math.Abs(back-v) > 1e-9*math.Max(1, math.Abs(v)) {
					t.Fatalf("%s: %v %s -> %v -> %v", q, v, d.name, c, back)
				}
			})
		}
	}
}

// No spelling stands for two units of one quantity or measure.
func TestSpellingsAreUnique(t *testing.T) {
	tables := map[string][]unitDef{}
	for _, q := range Quantities() {
		tables[string(q)] = unitsOf(q)
	}
	for _, m := range []measure{volumes, volumesPerDay, rates, lengths, masses, densities, saltConcentrations, percents} {
		tables[m.name] = m.units
	}
	for name, defs := range tables {
		seen := map[string]string{}
		for _, d := range defs {
			for _, s := range append([]string{fold(d.name)}, d.also...) {
				if s != fold(s) {
					t.Errorf("%s: spelling %q of %s is not folded and can never match", name, s, d.name)
				}
				if other, dup := seen[s]; dup {
					t.Errorf("%s: %q stands for %s and %s", name, s, other, d.name)
				}
				seen[s] = d.name
			}
			if !(d.factor > 0) {
				t.Errorf("%s: factor of %s is %v", name, d.name, d.factor)
			}
		}
	}
}
