package stock

import (
	"math"
	"strings"
	"testing"

	"aliquot/planner/checktable"
	"aliquot/planner/units"
)

const (
	ciaaw  = "CIAAW/IUPAC Standard Atomic Weights 2021 (Prohaska et al. 2022, Pure Appl. Chem. 94:573-600)"
	stoich = "stoichiometry with CIAAW 2021 weights"
	caco3  = "Smith & Key 1975, Limnol. Oceanogr. 20:493; Chisholm & Gattuso 1991, Limnol. Oceanogr. 36:1232"
	jcp1   = "Hathorne et al. 2013, Geochem. Geophys. Geosyst. 14:3730-3750 (JCp-1)"
	sea08  = "Millero et al. 2008, Deep-Sea Res. I 55:50-72; TEOS-10 Manual Table D.3"
)

func checkMasses(t *testing.T) []*checktable.Check {
	weights := &checktable.Check{Name: "atomic weights", Source: ciaaw, Unit: "g/mol", Tolerance: 1e-15}
	masses := &checktable.Check{Name: "molar masses", Source: ciaaw, Unit: "g/mol", Tolerance: 5e-4}
	alk := &checktable.Check{Name: "alkalinity of 1 g", Source: stoich, Unit: "meq/g", Tolerance: 5e-4}
	element := &checktable.Check{Name: "element in 1 g", Source: stoich, Unit: "mg/g", Tolerance: 5e-4}
	for _, row := range readRefs(t, "atomic_weights.csv") {
		got, _ := units.AtomicWeight(row["element"])
		weights.Add(t, row["element"], got-number(t, row["atomic_weight"]))
	}
	for _, row := range readRefs(t, "molar_masses.csv") {
		mass := molar(row["formula"])
		masses.Add(t, row["formula"], mass-number(t, row["molar_mass_g_mol"]))
		if row["element"] != "" {
			found, err := atomsOf(row["formula"])
			if err != nil {
				t.Fatal(err)
			}
			weight, _ := units.AtomicWeight(row["element"])
			element.Add(t, row["formula"], 1000*weight*float64(found[row["element"]])/mass-number(t, row["element_mg_per_g"]))
		}
		if s, ok := saltOfFormula(t, row["formula"]); ok && row["alk_meq_per_g"] != "" {
			alk.Add(t, row["formula"], s.PerGram().AlkalinityMeq-number(t, row["alk_meq_per_g"]))
		}
	}
	return []*checktable.Check{weights, masses, alk, element}
}

func saltOfFormula(t *testing.T, formula string) (Salt, bool) {
	t.Helper()
	for _, s := range saltTable {
		if s.Formula == formula {
			got, err := withMass(s)
			if err != nil {
				t.Fatal(err)
			}
			return got, true
		}
	}
	return Salt{}, false
}

// Handbooks that are known to disagree by more than 3 %: the tolerance is what they differ by.
func checkSolubility(t *testing.T) []*checktable.Check {
	same := &checktable.Check{Name: "solubility, the table used", Source: crcTable, Unit: "relative", Tolerance: 1e-3}
	other := &checktable.Check{Name: "solubility, other handbooks", Source: perryList + "; SRD 106", Unit: "relative", Tolerance: 0.03}
	apart := &checktable.Check{Name: "solubility, handbooks that disagree, over their known spread", Source: perryList + "; CRC Handbook", Unit: "spreads", Tolerance: 1}
	hydrates := &checktable.Check{Name: "solubility of hydrates in added water", Source: "derived from the CRC table", Unit: "relative", Tolerance: 0.03}
	left := 0
	for _, row := range readRefs(t, "solubility.csv") {
		entry, ok := solubilityEntry(row["salt_as_listed"])
		if !ok || row["temp_c"] == "" {
			left++
			continue
		}
		what := row["salt_as_listed"] + " at " + row["temp_c"]
		sol := entry.at(number(t, row["temp_c"]))
		want := number(t, row["g_per_100g_water"])
		switch {
		case row["verification"] == "derived":
			s, ok := saltOfFormula(t, row["salt_as_listed"])
			if !ok {
				t.Fatalf("%s is no salt of the catalogue", row["salt_as_listed"])
			}
			hydrates.Relative(t, what, sol.GramsOfForm(s), want)
		case strings.Contains(row["source"], "91st ed."):
			same.Relative(t, what, sol.GramsPer100, want)
		case entry.spread > 0.03:
			apart.Add(t, what, (want/sol.GramsPer100-1)/entry.spread)
		default:
			other.Relative(t, what, sol.GramsPer100, want)
		}
	}
	// Two rows of calcium carbonate, which no stock solution holds, and quicklime, which has no figure of its own.
	if left != 3 {
		t.Errorf("%d rows of solubility.csv were not compared; want 3", left)
	}
	if got := molarCaO / molar("Ca(OH)2"); math.Abs(got-0.7569) > 5e-5 {
		t.Errorf("quicklime over slaked lime is %v; want 0.7569", got)
	}
	return []*checktable.Check{same, other, apart, hydrates}
}

// gramsFor is the grams of a salt that raise 100 L.
func gramsFor(t *testing.T, salt string, q units.Quantity, rise float64) float64 {
	t.Helper()
	g, err := GramsPerLitreForRise(salt, 0, q, rise, 1000, 100) // one litre of solution to 100 L
	if err != nil {
		t.Fatal(err)
	}
	return g
}

func checkResidue(t *testing.T) []*checktable.Check {
	c := &checktable.Check{Name: "salt left by two-part dosing, and grams for a rise", Source: stoich, Unit: "relative", Tolerance: 1e-6}
	ions := &checktable.Check{Name: "sodium and chloride of sea salt", Source: sea08, Unit: "relative", Tolerance: 5e-4}
	perDKH := SaltLeftByTwoPart(1)
	per := func(formula string, n float64) float64 { return n * molarNaCl / molar(formula) }
	creep, err := SalinityCreep(100, 1, 0)
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]float64{
		"nacl_per_meq_alk": SaltLeftByTwoPart(dkhPerMeq()), "nacl_per_dkh": perDKH, "nacl_per_dkh_100l": perDKH / 10,
		"nacl_per_mg_ca": perDKH / CalciumPerDKH(), "nacl_per_g_cacl2_2h2o": per("CaCl2.2H2O", 2), "nacl_per_g_nahco3": per("NaHCO3", 1),
		"nacl_per_g_na2co3": per("Na2CO3", 2), "nacl_1dkh_day_365d": perDKH * 365 / 1000, "tds_rise_g_per_kg_1dkh_day_30d": creep.PSUPerMonth * saltPerPSU,
		"balanced_ratio_cacl2_2h2o_to_nahco3": gramsFor(t, "CaCl2.2H2O", units.Calcium, CalciumPerDKH()) / gramsFor(t, "NaHCO3", units.Alkalinity, 1),
		"balanced_ratio_cacl2_2h2o_to_na2co3": gramsFor(t, "CaCl2.2H2O", units.Calcium, CalciumPerDKH()) / gramsFor(t, "Na2CO3", units.Alkalinity, 1),
		"nahco3_per_dkh_100l":                 gramsFor(t, "NaHCO3", units.Alkalinity, 1), "na2co3_per_dkh_100l": gramsFor(t, "Na2CO3", units.Alkalinity, 1),
		"naoh_per_dkh_100l": gramsFor(t, "NaOH", units.Alkalinity, 1), "cacl2_2h2o_per_10ppm_ca_100l": gramsFor(t, "CaCl2.2H2O", units.Calcium, 10),
		"cacl2_per_10ppm_ca_100l":      gramsFor(t, "CaCl2 anhydrous", units.Calcium, 10),
		"mgcl2_6h2o_per_10ppm_mg_100l": gramsFor(t, "MgCl2.6H2O", units.Magnesium, 10), "mgso4_7h2o_per_10ppm_mg_100l": gramsFor(t, "MgSO4.7H2O", units.Magnesium, 10),
		"srcl2_6h2o_per_1ppm_sr_100l": gramsFor(t, "SrCl2.6H2O", units.Strontium, 1), "kcl_per_10ppm_k_100l": gramsFor(t, "KCl", units.Potassium, 10),
	}
	shift, err := IonShiftAfter(0, 0)
	if err != nil {
		t.Fatal(err)
	}
	sea := map[string]float64{"cl_to_na_mass_in_reference_seawater": shift.ChloridePerG, "non_nacl_fraction_of_sea_salt": 1 - seaSodiumPart - seaChloridePart}
	for _, row := range readRefs(t, "two_part_residue.csv") {
		name := row["quantity"]
		switch {
		case strings.HasPrefix(name, "reaction_"):
			checkReaction(t, row["value"])
		case sea[name] != 0:
			ions.Relative(t, name, sea[name], number(t, row["value"]))
		case got[name] != 0:
			c.Relative(t, name, got[name], number(t, row["value"]))
		default:
			t.Errorf("no figure for %s", name)
		}
	}
	return []*checktable.Check{c, ions}
}

// checkReaction holds a written reaction against the law of conservation: as many atoms before as after. Ions'
// charges are cut off.
func checkReaction(t *testing.T, text string) {
	t.Helper()
	for _, equation := range strings.Split(text, ";") {
		if i := strings.Index(equation, "("); strings.Contains(equation, " (") && i > 0 {
			equation = equation[:strings.Index(equation, " (")]
		}
		left, right, ok := strings.Cut(equation, "->")
		if !ok {
			continue
		}
		a, b := sideMass(t, left), sideMass(t, right)
		if math.Abs(a-b) > 1e-6 {
			t.Errorf("%q: %v g before, %v g after", equation, a, b)
		}
	}
}

func sideMass(t *testing.T, side string) float64 {
	t.Helper()
	total := 0.0
	for _, term := range strings.Split(side, " + ") {
		text := strings.TrimSpace(term)
		count, rest := 1, text
		if head, tail, ok := strings.Cut(text, " "); ok {
			count, _ = leadingCount(head)
			rest = tail
		}
		rest = strings.TrimSuffix(strings.TrimSuffix(rest, "2+"), "-")
		mass, err := MolarMass(rest)
		if err != nil {
			t.Fatalf("%q: %v", side, err)
		}
		total += float64(count) * mass
	}
	return total
}

func checkCarbonate(t *testing.T) []*checktable.Check {
	c := &checktable.Check{Name: "calcium and alkalinity of calcium carbonate", Source: caco3, Unit: "relative", Tolerance: 1e-6}
	coral := &checktable.Check{Name: "strontium in coral aragonite", Source: jcp1 + "; Armid et al. 2011; Swart et al. 2002", Unit: "relative", Tolerance: 1e-6}
	magnesium := &checktable.Check{Name: "magnesium in coral aragonite", Source: jcp1 + ", number not verified", Unit: "relative", Tolerance: 1e-6, Memory: true}
	ratios := &checktable.Check{Name: "magnesium and strontium per calcium in seawater", Source: sea08, Unit: "relative", Tolerance: 1e-6}
	lime, _ := saltOfFormula(t, "NaHCO3")
	got := map[string]struct {
		c     *checktable.Check
		value float64
	}{
		"ca_per_meq_alk": {c, CalciumPerDKH() * dkhPerMeq()}, "ca_per_dkh": {c, CalciumPerDKH()}, "dkh_per_20mg_ca": {c, 20 / CalciumPerDKH()},
		"caco3_per_meq_alk": {c, CarbonatePerDKH() * dkhPerMeq()}, "caco3_per_dkh_100l": {c, CarbonatePerDKH() / 10}, "alk_per_g_caco3": {c, 1000 / (CarbonatePerDKH() * dkhPerMeq())},
		// One mole of carbon for each equivalent comes with bicarbonate, and half of it goes out as CO2.
		"dic_per_alk": {c, lime.PerGram().CarbonPerEquivalent / 2},
		"srca_jcp1":   {coral, srPerCa * 1000}, "sr_per_meq_alk": {coral, StrontiumPerDKH() * dkhPerMeq()}, "sr_per_dkh": {coral, StrontiumPerDKH()},
		"srca_temp_porites_cylindrica_intercept": {coral, PoritesCylindrica().At(0)}, "srca_temp_porites_cylindrica_slope": {coral, PoritesCylindrica().At(1) - PoritesCylindrica().At(0)},
		"srca_temp_montastraea_intercept": {coral, Montastraea().At(0)}, "srca_temp_montastraea_slope": {coral, Montastraea().At(1) - Montastraea().At(0)},
		"mgca_jcp1": {magnesium, mgPerCa * 1000}, "mg_per_meq_alk": {magnesium, MagnesiumPerDKH() * dkhPerMeq()}, "mg_per_dkh": {magnesium, MagnesiumPerDKH()},
		"mg_ca_seawater_molar": {ratios, seaMagnesium / seaCalcium}, "sr_ca_seawater_molar": {ratios, 1000 * seaStrontium / seaCalcium},
	}
	for _, row := range readRefs(t, "caco3_stoichiometry.csv") {
		if row["quantity"] == "mg_mol_percent_coralline_algae" {
			if row["value"] != "10-25" || mgShareMost != 0.25 {
				t.Errorf("the range of coralline algae is %s, the bound used %v", row["value"], mgShareMost)
			}
			continue
		}
		g, ok := got[row["quantity"]]
		if !ok {
			t.Errorf("no figure for %s", row["quantity"])
			continue
		}
		g.c.Relative(t, row["quantity"], g.value, number(t, row["value"]))
	}
	return []*checktable.Check{c, coral, magnesium, ratios}
}

func checkSeawater(t *testing.T) []*checktable.Check {
	c := &checktable.Check{Name: "reference seawater, the ions used", Source: sea08, Unit: "relative", Tolerance: 1e-4}
	for _, row := range readRefs(t, "reference_seawater.csv") {
		molality := number(t, row["molality_mol_per_kg_water"])
		if used, ok := map[string]float64{"SO4": seaSulfate, "Cl": seaChloride, "Mg": seaMagnesium, "Ca": seaCalcium, "Sr": seaStrontium}[row["species"]]; ok {
			c.Relative(t, row["species"], used, molality)
		}
		if used, ok := map[string]float64{"Na": seaSodiumPart, "Cl": seaChloridePart}[row["species"]]; ok {
			c.Relative(t, row["species"], used, number(t, row["mass_fraction_of_sea_salt"]))
		}
	}
	return []*checktable.Check{c}
}

// Change of titration alkalinity for one mole of nitrogen, reactions R1, R7 and R12 of the source's Table 2.
func checkNitrogen(t *testing.T) []*checktable.Check {
	c := &checktable.Check{Name: "alkalinity of nitrogen reactions", Source: "Middelburg et al. 2020, Rev. Geophys. 58, e2019RG000681, Table 2", Unit: "eq/mol", Tolerance: 1e-12}
	mmol := molar("NO3") // mg/L of 1 mmol/L
	c.Add(t, "mineralised, then nitrified", AlkalinityOfNitrate(mmol, FromFood)/dkhPerMeq()-(1-2))
	c.Add(t, "nitrified", AlkalinityOfNitrate(mmol, FromAmmonium)/dkhPerMeq()-(-2))
	c.Add(t, "taken up", AlkalinityOfNitrate(-mmol, FromFood)/dkhPerMeq()-1)
	return []*checktable.Check{c}
}
