package seawater

import (
	"bytes"
	"encoding/csv"
	"flag"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write testdata/checks.csv anew")

const (
	unesco  = "Fofonoff & Millard 1983 (UNESCO Tech. Pap. Mar. Sci. 44)"
	guide   = "Dickson Sabine & Christian 2007 (Guide) ch. 5"
	pyco2   = "PyCO2SYS 1.8.3.4 (Humphreys et al. 2022)"
	gsw     = "GSW-Python 3.6.16"
	formula = "independent implementation of the published formula"
)

// Every published and recomputed value against what this package gives; the table of the deviations is a file.
func TestPublishedValues(t *testing.T) {
	var all []*check
	for _, group := range []func(*testing.T) []*check{
		salinityChecks, conductivityChecks, densityChecks, gravityChecks, pureWaterChecks,
		constantChecks, totalChecks, gridChecks, carbonateChecks, compositionChecks,
	} {
		all = append(all, group(t)...)
	}
	for _, c := range all {
		t.Run(c.name, func(t *testing.T) {
			if c.count == 0 {
				t.Fatal("nothing was compared")
			}
			if !c.memory && !(c.worst <= c.tolerance) {
				t.Errorf("worst of %d is off by %.3g %s; allowed %.3g (%s)", c.count, c.worst, c.unit, c.tolerance, c.source)
			}
		})
	}
	golden(t, all)
}

func golden(t *testing.T, all []*check) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	rows := [][]string{{"check", "source", "tolerance", "worst", "unit", "count", "gates"}}
	for _, c := range all {
		rows = append(rows, c.row())
	}
	if err := w.WriteAll(rows); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join("testdata", "checks.csv")
	if *update {
		if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(want, b.Bytes()) {
		t.Errorf("%s is stale, -update writes it anew; now:\n%s", path, b.String())
	}
}

func salinityChecks(t *testing.T) []*check {
	published := &check{name: "PSS-78 published", source: unesco, unit: "psu", tolerance: 1e-5}
	computed := &check{name: "PSS-78 computed", source: gsw, unit: "psu", tolerance: 1e-5}
	x := readTable(t, "pss78.csv")
	for i := range x.rows {
		c, old := x.number(i, "conductivity_ms_cm"), IPTS68(x.number(i, "temp_ipts68_c"))
		p := Dbar(x.number(i, "pressure_dbar"))
		if old > 35 { // the check value at 40 °C tests the polynomial, not the scale
			published.add(float64(salinityOf(x.number(i, "r_ratio"), old, p)), x.number(i, "sp_published"))
			continue
		}
		near(t, "the file's own ITS-90 temperature", float64(old.ITS90()), x.number(i, "temp_its90_c"), 6e-6)
		got := must[PSU](t)(Salinity(Conductivity(c), old.ITS90(), p))
		if x.text(i, "kind") == "published" {
			published.add(float64(got), x.number(i, "sp_published"))
		} else {
			computed.add(float64(got), x.number(i, "sp"))
		}
	}
	return []*check{published, computed}
}

func conductivityChecks(t *testing.T) []*check {
	c := &check{name: "PSS-78 inverse", source: gsw, unit: "mS/cm", tolerance: 1e-4}
	ratio := &check{name: "PSS-78 inverse ratio", source: gsw, unit: "1", tolerance: 2e-6}
	x := readTable(t, "pss78_inverse.csv")
	for i := range x.rows {
		got := must[Conductivity](t)(ConductivityOf(PSU(x.number(i, "sp")), Celsius(x.number(i, "temp_its90_c")), 0))
		c.add(float64(got), x.number(i, "conductivity_ms_cm"))
		ratio.add(float64(got)/standardConductivity, x.number(i, "r_ratio"))
	}
	back := &check{name: "PSS-78 inverse published", source: unesco, unit: "mS/cm", tolerance: 1e-4}
	x = readTable(t, "pss78.csv")
	for i := range x.rows {
		if s := x.number(i, "sp"); s < 42 && x.number(i, "temp_ipts68_c") <= 35 && x.has(i, "sp_published") {
			at := IPTS68(x.number(i, "temp_ipts68_c")).ITS90()
			got := must[Conductivity](t)(ConductivityOf(PSU(s), at, Dbar(x.number(i, "pressure_dbar"))))
			back.add(float64(got), x.number(i, "conductivity_ms_cm"))
		}
	}
	return []*check{c, ratio, back}
}

func densityChecks(t *testing.T) []*check {
	published := &check{name: "EOS-80 published", source: unesco, unit: "kg/m3", tolerance: 1e-4}
	computed := &check{name: "EOS-80 computed", source: formula, unit: "kg/m3", tolerance: 1e-4}
	teos := &check{name: "EOS-80 against TEOS-10 (another equation)", source: gsw, unit: "kg/m3", tolerance: 1e-2}
	x := readTable(t, "seawater_density.csv")
	for i := range x.rows {
		at := Celsius(x.number(i, "temp_c"))
		if x.text(i, "temp_scale") == "IPTS-68" {
			at = IPTS68(x.number(i, "temp_c")).ITS90()
		}
		got := float64(must[Density](t)(DensityOf(PSU(x.number(i, "sp")), at)))
		c := computed
		switch {
		case strings.HasPrefix(x.text(i, "equation"), "TEOS-10"):
			c = teos
		case x.text(i, "kind") == "published":
			c = published
		}
		c.add(got, x.number(i, "density_kg_m3"))
	}
	return []*check{published, computed, teos}
}

func gravityChecks(t *testing.T) []*check {
	sg := &check{name: "specific gravity", source: formula, unit: "1", tolerance: 2e-6}
	named := &check{name: "specific gravity by label", source: formula, unit: "1", tolerance: 2e-6}
	back := &check{name: "salinity from specific gravity", source: formula, unit: "psu", tolerance: 3e-3}
	x := readTable(t, "specific_gravity.csv")
	for i := range x.rows {
		s, want := PSU(x.number(i, "sp")), x.number(i, "sg")
		scale := SGScale{Sample: Celsius(x.number(i, "temp_sample_c")), Water: Celsius(x.number(i, "temp_ref_c"))}
		sg.add(must[float64](t)(SpecificGravity(s, scale)), want)
		label, ok := SGScaleNamed(x.text(i, "label"))
		if !ok {
			t.Errorf("scale %s is unknown", x.text(i, "label"))
		}
		named.add(must[float64](t)(SpecificGravity(s, label)), want)
		back.add(float64(must[PSU](t)(SalinityFromSpecificGravity(want, label))), float64(s))
	}
	return []*check{sg, named, back}
}

func pureWaterChecks(t *testing.T) []*check {
	const tanakaPaper = "Tanaka et al. 2001 Metrologia 38:301"
	printed := &check{name: "pure water table", source: tanakaPaper, unit: "kg/m3", tolerance: 1e-4}
	computed := &check{name: "pure water formula", source: tanakaPaper, unit: "kg/m3", tolerance: 1e-6}
	iapws := &check{name: "pure water against IAPWS-95 (another equation)", source: "IAPWS-95", unit: "kg/m3", tolerance: 2e-3}
	eos := &check{name: "EOS-80 at 0 psu", source: formula, unit: "kg/m3", tolerance: 1e-4}
	x := readTable(t, "water_density.csv")
	for i := range x.rows {
		at := Celsius(x.number(i, "temp_its90_c"))
		got := float64(must[Density](t)(WaterDensity(at)))
		printed.add(got, x.number(i, "density_tanaka_table_kg_m3"))
		computed.add(got, x.number(i, "density_tanaka_formula_kg_m3"))
		iapws.add(got, x.number(i, "density_iapws95_kg_m3"))
		eos.add(float64(must[Density](t)(DensityOf(0, at))), x.number(i, "density_eos80_s0_kg_m3"))
	}
	return []*check{printed, computed, iapws, eos}
}

// standard is the water of the Guide's check values.
var standard = Water{Salinity: 35, Temperature: 25}

// ofGuide are the constants in the form in which the file of check values has them.
func ofGuide(k Constants) map[string]float64 {
	return map[string]float64{
		"K0 ln": math.Log(k.K0), "K1 log10": math.Log10(k.K1), "K2 log10": math.Log10(k.K2), "K1 ln": math.Log(k.K1), "K2 ln": math.Log(k.K2),
		"KB ln": math.Log(k.KB), "KW ln": math.Log(k.KW), "KS ln": math.Log(k.KS), "KF ln": math.Log(k.KF),
		"KP1 ln": math.Log(k.KP1), "KP2 ln": math.Log(k.KP2), "KP3 ln": math.Log(k.KP3), "KSi ln": math.Log(k.KSi),
		"Ksp_calcite -log10": -math.Log10(k.KspCalcite), "Ksp_aragonite -log10": -math.Log10(k.KspAragonite),
		"Ksp_calcite ln": math.Log(k.KspCalcite), "Ksp_aragonite ln": math.Log(k.KspAragonite),
	}
}

// half is half a unit in the last printed digit.
func half(printed string) float64 {
	_, decimals, _ := strings.Cut(printed, ".")
	return 0.5 * math.Pow(10, -float64(len(decimals)))
}

func constantChecks(t *testing.T) []*check {
	values := ofGuide(must[Constants](t)(standard.Constants()))
	computed := &check{name: "constants at 35 psu and 25 degC, recomputed", source: formula, unit: "ln or log10", tolerance: 1e-6}
	others := &check{name: "constants at 35 psu and 25 degC, another program", source: pyco2, unit: "ln or log10", tolerance: 1e-6}
	water := &check{name: "KW KP KSi, another program (other scale conversion)", source: pyco2, unit: "ln", tolerance: 9e-3}
	list := []*check{computed, others, water}
	x := readTable(t, "carbonate_constants.csv")
	for i := range x.rows {
		name := x.text(i, "quantity")
		got, ok := values[name+" "+x.text(i, "form")]
		if !ok {
			continue // totals and constants of others: totalChecks counts them
		}
		computed.add(got, x.number(i, "computed_guide_formula"))
		if strings.HasPrefix(name, "KW") || strings.HasPrefix(name, "KP") || name == "KSi" {
			water.add(got, x.number(i, "pyco2sys_1_8_3_4"))
		} else {
			others.add(got, x.number(i, "pyco2sys_1_8_3_4"))
		}
		if printed := x.text(i, "published_check_value"); printed != "" {
			c := &check{name: name + " published", source: guide, unit: x.text(i, "form"), tolerance: half(printed)}
			if strings.HasPrefix(name, "Ksp") {
				c.source, c.memory = "Zeebe & Wolf-Gladrow 2001 app. A.10", true
			}
			c.add(got, x.number(i, "published_check_value"))
			list = append(list, c)
		}
	}
	if computed.count != len(values) {
		t.Errorf("%d constants were compared; want %d", computed.count, len(values))
	}
	return list
}

func totalChecks(t *testing.T) []*check {
	totals := standard.Totals()
	values := map[string]MicromolPerKg{"total_boron": totals.Borate, "total_sulfate": totals.Sulfate, "total_fluoride": totals.Fluoride, "total_calcium": totals.Calcium}
	unused := map[string]bool{"K1 (Roy 1993)": true, "K2 (Roy 1993)": true, "total_boron_Lee2010": true}
	computed := &check{name: "totals at 35 psu", source: formula, unit: "umol/kg", tolerance: 1e-3}
	rounded := &check{name: "totals at 35 psu, rounded", source: "Guide and CO2SYS programs", unit: "%", tolerance: 1, memory: true}
	x := readTable(t, "carbonate_constants.csv")
	constants := ofGuide(must[Constants](t)(standard.Constants()))
	for i := range x.rows {
		name := x.text(i, "quantity")
		v, ok := values[name]
		if _, known := constants[name+" "+x.text(i, "form")]; !ok && !known && !unused[name] {
			t.Errorf("row %q of %s is compared with nothing", name, x.file)
		}
		if ok {
			computed.add(float64(v), x.number(i, "computed_guide_formula"))
			rounded.percent(float64(v), x.number(i, "published_check_value"))
		}
	}
	return []*check{computed, rounded}
}

func gridChecks(t *testing.T) []*check {
	c := &check{name: "constants at 20 to 40 psu and 15 to 30 degC", source: formula, unit: "ln", tolerance: 1e-5}
	x := readTable(t, "carbonate_constants_grid.csv")
	for i := range x.rows {
		w := Water{Salinity: PSU(x.number(i, "salinity")), Temperature: Celsius(x.number(i, "temp_c"))}
		k := must[Constants](t)(w.Constants())
		for _, v := range []struct {
			column string
			k      float64
		}{{"ln_k0", k.K0}, {"ln_k1_total", k.K1}, {"ln_k2_total", k.K2}, {"ln_kb_total", k.KB}, {"ln_kw_total", k.KW}, {"ln_ks_free", k.KS},
			{"ln_kf_total", k.KF}, {"ln_ksp_calcite", k.KspCalcite}, {"ln_ksp_aragonite", k.KspAragonite}} {
			c.add(math.Log(v.k), x.number(i, v.column))
		}
	}
	return []*check{c}
}

func carbonateChecks(t *testing.T) []*check {
	carbon := &check{name: "carbonate system, DIC from TA and pH", source: pyco2, unit: "umol/kg", tolerance: 0.3}
	ph := &check{name: "carbonate system, pH from TA and DIC", source: pyco2, unit: "pH", tolerance: 5e-4}
	species := &check{name: "carbonate system, CO2 HCO3", source: pyco2, unit: "umol/kg", tolerance: 0.3}
	co3 := &check{name: "carbonate system, CO3", source: pyco2, unit: "umol/kg", tolerance: 0.1}
	borate := &check{name: "carbonate system, BOH4 OH (totals and KW differ)", source: pyco2, unit: "umol/kg", tolerance: 0.3}
	gas := &check{name: "carbonate system, fCO2 and pCO2", source: pyco2, unit: "%", tolerance: 0.05}
	omega := &check{name: "carbonate system, saturation of aragonite and calcite", source: pyco2, unit: "1", tolerance: 2e-3}
	aired := &check{name: "carbonate system, pH from TA and pCO2", source: pyco2, unit: "pH", tolerance: 5e-4}
	x := readTable(t, "carbonate_system.csv")
	for i := range x.rows {
		at := func(column string) float64 { return x.number(i, column) }
		s := must[System](t)(NewSystem(Water{Salinity: PSU(at("salinity")), Temperature: Celsius(at("temp_c"))}))
		ta := MicromolPerKg(at("ta_umol_kg"))
		var c Carbonate
		switch x.text(i, "given") {
		case "TA+pH":
			c = must[Carbonate](t)(s.AlkalinityPH(ta, TotalPH(at("ph_total"))))
			carbon.add(float64(c.Carbon), at("dic_umol_kg"))
		case "TA+DIC":
			c = must[Carbonate](t)(s.AlkalinityCarbon(ta, MicromolPerKg(at("dic_umol_kg"))))
			ph.add(float64(c.PH), at("ph_total"))
		default:
			t.Fatalf("row %d: given %q", i, x.text(i, "given"))
		}
		species.add(float64(c.CO2), at("co2_umol_kg"))
		species.add(float64(c.HCO3), at("hco3_umol_kg"))
		co3.add(float64(c.CO3), at("co3_umol_kg"))
		borate.add(float64(c.BOH4), at("boh4_umol_kg"))
		borate.add(float64(c.OH), at("oh_umol_kg"))
		gas.percent(float64(c.FCO2), at("fco2_uatm"))
		gas.percent(float64(c.PCO2), at("pco2_uatm"))
		omega.add(c.Aragonite, at("omega_aragonite"))
		omega.add(c.Calcite, at("omega_calcite"))
		aired.add(float64(must[Carbonate](t)(s.AlkalinityPCO2(ta, Microatm(at("pco2_uatm")))).PH), at("ph_total"))
	}
	return []*check{carbon, ph, species, co3, borate, gas, omega, aired}
}

// The reference composition was worked out from TA and pCO2 with constants of the same family; its species must
// come out of their sums.
func compositionChecks(t *testing.T) []*check {
	const millero2008 = "Millero et al. 2008 Deep-Sea Res. I 55:50"
	x := readTable(t, "reference_seawater.csv")
	amount := map[string]float64{}
	for i := range x.rows {
		amount[x.text(i, "species")] = x.number(i, "mmol_per_kg") * 1000
	}
	totals := standard.Totals()
	sum := &check{name: "totals against the reference composition", source: millero2008, unit: "%", tolerance: 0.2}
	sum.percent(float64(totals.Borate), amount["B (total)"])
	sum.percent(float64(totals.Sulfate), amount["SO4"])
	sum.percent(float64(totals.Fluoride), amount["F"])
	sum.percent(float64(totals.Calcium), amount["Ca"])
	s := must[System](t)(NewSystem(Water{Salinity: 35, Temperature: 25, Boron: MicromolPerKg(amount["B (total)"])}))
	part := &check{name: "species of the reference composition", source: millero2008, unit: "%", tolerance: 1}
	oh := 7.9 // µmol/kg, in the composition too but not in the file
	ta := MicromolPerKg(amount["HCO3"] + 2*amount["CO3"] + amount["BOH4"] + oh)
	c := must[Carbonate](t)(s.AlkalinityPCO2(ta, 333/0.99681))
	part.percent(float64(c.HCO3), amount["HCO3"])
	part.percent(float64(c.CO3), amount["CO3"])
	part.percent(float64(c.BOH4), amount["BOH4"])
	return []*check{sum, part}
}
