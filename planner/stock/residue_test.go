package stock

import (
	"math"
	"strings"
	"testing"

	"aliquot/planner/units"

	"pgregory.net/rapid"
)

func TestSalinityCreep(t *testing.T) {
	// 1 dKH a day leaves 20.84269 mg/L NaCl a day: 62.5 g in 100 L in 30 days, 0.611 g/kg, 0.608 psu.
	c, err := SalinityCreep(100, 1, 0)
	if err != nil || math.Abs(c.GramsPerMonth-62.528) > 1e-3 || math.Abs(c.PSUPerMonth-0.60815) > 1e-4 || !math.IsInf(c.PSUAtLast, 1) || math.Abs(c.FreshLitresPerMonth-1.7376) > 1e-3 {
		t.Errorf("%+v, %v", c, err)
	}
	changed, err := SalinityCreep(100, 1, 0.2)
	if err != nil || math.Abs(changed.PSUAtLast-5*c.PSUPerMonth) > 1e-12 {
		t.Errorf("%+v, %v; a fifth a month ends at five months' worth", changed, err)
	}
	none, err := SalinityCreep(100, 0, 0.2)
	if err != nil || none.PSUPerMonth != 0 || none.PSUAtLast != 0 {
		t.Errorf("%+v, %v", none, err)
	}
	for _, bad := range [][3]float64{{0, 1, 0}, {20_001, 1, 0}, {100, -0.1, 0}, {100, 20.1, 0}, {100, 1, -0.1}, {100, 1, 1.1}, {math.NaN(), 1, 0}, {100, math.NaN(), 0}, {100, 1, math.NaN()}} {
		if got, err := SalinityCreep(bad[0], bad[1], bad[2]); err == nil || got != (Creep{}) {
			t.Errorf("%v: %+v", bad, got)
		}
	}
}

// The creep is in proportion to the dose and the same concentration in every volume.
func TestSalinityCreepScales(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		litres, dkh := rapid.Float64Range(5, 10_000).Draw(t, "L"), rapid.Float64Range(0.01, 10).Draw(t, "dKH")
		a, err := SalinityCreep(litres, dkh, 0.1)
		b, err2 := SalinityCreep(2*litres, 2*dkh, 0.1)
		if err != nil || err2 != nil || math.Abs(b.PSUPerMonth-2*a.PSUPerMonth) > 1e-9*b.PSUPerMonth || math.Abs(b.GramsPerMonth-4*a.GramsPerMonth) > 1e-9*b.GramsPerMonth {
			t.Fatalf("%+v, %v and %+v, %v", a, err, b, err2)
		}
	})
}

// What SaltLeftByTwoPart says is what the formulas of a balanced pair of solutions hold.
func TestTwoPartLeavesItsSpectators(t *testing.T) {
	for _, base := range []string{"NaHCO3", "Na2CO3", "NaOH", "Na2CO3.10H2O"} {
		alk, err := GramsPerLitreFor(base, 0, "alkalinity", 1)
		if err != nil {
			t.Fatal(err)
		}
		ca, err := GramsPerLitreFor("CaCl2.2H2O", 0, "calcium", CalciumPerDKH())
		if err != nil {
			t.Fatal(err)
		}
		a, err := SpectatorsOf([]Part{{Salt: base, GramsPerLitre: alk}})
		b, err2 := SpectatorsOf([]Part{{Salt: "CaCl2.2H2O", GramsPerLitre: ca}})
		if err != nil || err2 != nil || math.Abs(a.Sodium-b.Chloride) > 1e-12 || math.Abs(a.Sodium*molarNaCl-SaltLeftByTwoPart(1)) > 1e-9 {
			t.Errorf("%s: %+v, %v and %+v, %v; want %v mg NaCl", base, a, err, b, err2, SaltLeftByTwoPart(1))
		}
	}
	if x, err := SpectatorsOf([]Part{{Salt: "Ca(OH)2", GramsPerLitre: 1.5}}); err != nil || x != (Spectators{}) {
		t.Errorf("limewater leaves %+v, %v", x, err)
	}
	if _, err := SpectatorsOf([]Part{{Salt: "fairy dust", GramsPerLitre: 1}}); err == nil {
		t.Error("spectators of an unknown salt")
	}
}

func TestIonShiftAfter(t *testing.T) {
	// A year of 1 dKH a day: 7.61 g/L against 36.0 g/L of salt replace 1 − exp(−7.61/35.98) = 19.1 %.
	s, err := IonShiftAfter(1, 365)
	if err != nil || math.Abs(s.Replaced-0.1906) > 5e-4 || math.Abs(s.OtherIons+s.Replaced-1) > 1e-12 || !(s.ChloridePerG < 1.795 && s.ChloridePerG > 1.54) {
		t.Errorf("%+v, %v", s, err)
	}
	// Two halves one after the other are the whole.
	half, err := IonShiftAfter(1, 182.5)
	if err != nil || math.Abs(half.OtherIons*half.OtherIons-s.OtherIons) > 1e-12 {
		t.Errorf("%+v, %v", half, err)
	}
	for _, bad := range [][2]float64{{-1, 1}, {21, 1}, {1, -1}, {1, 3651}, {math.NaN(), 1}, {1, math.NaN()}} {
		if got, err := IonShiftAfter(bad[0], bad[1]); err == nil || got != (IonShift{}) {
			t.Errorf("%v: %+v", bad, got)
		}
	}
}

func TestMagnesiumBalanceOf(t *testing.T) {
	balanced := BalancedMagnesium()
	if math.Abs(balanced-0.12542) > 1e-4 {
		t.Errorf("%v g of sulfate to 1 g of chloride", balanced)
	}
	for _, c := range []struct {
		name  string
		parts []Part
		of    float64
		want  string
	}{
		{"balanced", []Part{{Salt: "MgCl2.6H2O", GramsPerLitre: 100}, {Salt: "MgSO4.7H2O", GramsPerLitre: 100 * balanced}}, 1, "near the sea's"},
		{"250 and 30", []Part{{Salt: "MgCl2.6H2O", GramsPerLitre: 250}, {Salt: "MgSO4.7H2O", GramsPerLitre: 30}}, 0.9568, "near the sea's"},
		{"twice the sulfate", []Part{{Salt: "MgCl2.6H2O", GramsPerLitre: 100}, {Salt: "MgSO4.7H2O", GramsPerLitre: 199 * balanced}}, 1.99, "near the sea's"},
		{"more than twice", []Part{{Salt: "MgCl2.6H2O", GramsPerLitre: 100}, {Salt: "MgSO4.7H2O", GramsPerLitre: 201 * balanced}}, 2.01, "sulfate builds up"},
		{"less than half", []Part{{Salt: "MgCl2.6H2O", GramsPerLitre: 100}, {Salt: "MgSO4.7H2O", GramsPerLitre: 49 * balanced}}, 0.49, "chloride builds up"},
		{"chloride only", []Part{{Salt: "MgCl2.6H2O", GramsPerLitre: 100}}, 0, "chloride builds up"},
		{"sulfate only", []Part{{Salt: "MgSO4.7H2O", GramsPerLitre: 100}}, math.Inf(1), "sulfate builds up"},
	} {
		b, err := MagnesiumBalanceOf(c.parts)
		if err != nil || !(b.OfSeawater == c.of || math.Abs(b.OfSeawater-c.of) < 1e-3) || !strings.Contains(b.Text, c.want) {
			t.Errorf("%s: %+v, %v; want %v, %q", c.name, b, err, c.of, c.want)
		}
	}
	for name, parts := range map[string][]Part{"no magnesium": {{Salt: "KCl", GramsPerLitre: 1}}, "nitrate": {{Salt: "magnesium nitrate hexahydrate", GramsPerLitre: 1}}, "unknown": {{Salt: "fairy dust", GramsPerLitre: 1}}} {
		if b, err := MagnesiumBalanceOf(parts); err == nil || b != (MagnesiumBalance{}) {
			t.Errorf("%s: %+v", name, b)
		}
	}
}

func TestSaturatedLimewater(t *testing.T) {
	for _, celsius := range []float64{15, 20, 25, 30} {
		w, err := SaturatedLimewater(celsius)
		// Common practice: 40 to 46 meq/L and 0.8 to 0.9 g/L of calcium, 1.5 to 1.7 g/L.
		if err != nil || !(w.MeqPerLitre >= 40 && w.MeqPerLitre <= 46) || !(w.Low < w.MeqPerLitre && w.High > w.MeqPerLitre) || !(w.CalciumPerL > 800 && w.CalciumPerL < 930) || !(w.GramsPerLitre >= 1.5 && w.GramsPerLitre <= 1.7) {
			t.Errorf("at %v degC %+v, %v", celsius, w, err)
		}
		// Two equivalents for one calcium, as calcification takes them.
		if math.Abs(w.CalciumPerML/w.StrengthDKH-CalciumPerDKH()) > 1e-9 {
			t.Errorf("at %v degC %v mg/L calcium for 1 dKH", celsius, w.CalciumPerML/w.StrengthDKH)
		}
	}
	cold, _ := SaturatedLimewater(15)
	warm, _ := SaturatedLimewater(30)
	if !(cold.MeqPerLitre > warm.MeqPerLitre) {
		t.Errorf("cold %v, warm %v meq/L", cold.MeqPerLitre, warm.MeqPerLitre)
	}
	for _, bad := range []float64{14.9, 30.1, math.NaN()} {
		if w, err := SaturatedLimewater(bad); err == nil || w != (Limewater{}) {
			t.Errorf("at %v degC %+v", bad, w)
		}
	}
}

func TestLimewaterPerDay(t *testing.T) {
	w, err := SaturatedLimewater(25)
	if err != nil {
		t.Fatal(err)
	}
	// Common practice: evaporation of 1 % a day brings 1.1 to 1.3 dKH.
	day, err := w.PerDay(300, 3000)
	if err != nil || day.MostML != 3000 || !(day.DKH >= 1.1 && day.DKH <= 1.3) || math.Abs(day.CalciumMgL-day.DKH*CalciumPerDKH()) > 1e-9 {
		t.Errorf("%+v, %v", day, err)
	}
	for _, bad := range [][2]float64{{0, 10}, {300, 0}, {300, -1}, {300, 30_001}, {math.NaN(), 10}, {300, math.NaN()}} {
		if got, err := w.PerDay(bad[0], bad[1]); err == nil || got != (LimewaterDay{}) {
			t.Errorf("%v: %+v", bad, got)
		}
	}
	same, err := w.WeakenedAfter(0, false)
	if err != nil || same != w {
		t.Errorf("fresh: %+v, %v", same, err)
	}
	open, err := w.WeakenedAfter(5, false)
	covered, err2 := w.WeakenedAfter(5, true)
	if err != nil || err2 != nil || math.Abs(open.MeqPerLitre/w.MeqPerLitre-math.Exp(-1)) > 1e-12 || !(covered.MeqPerLitre > open.MeqPerLitre && covered.High < w.High && covered.Low < w.Low) {
		t.Errorf("open %+v, %v; covered %+v, %v", open, err, covered, err2)
	}
	for _, bad := range []float64{-1, 366, math.NaN()} {
		if got, err := w.WeakenedAfter(bad, true); err == nil || got != (Limewater{}) {
			t.Errorf("after %v days: %+v", bad, got)
		}
	}
}

// Limewater as a recipe has the strength that its own figures give.
func TestLimewaterParts(t *testing.T) {
	for _, celsius := range []float64{15, 20, 25, 30} {
		w, err := SaturatedLimewater(celsius)
		if err != nil {
			t.Fatal(err)
		}
		strength, err := StrengthOf(w.Parts())
		if err != nil || math.Abs(strength[units.Alkalinity]-w.StrengthDKH) > 1e-6 || math.Abs(strength[units.Calcium]-w.CalciumPerML) > 1e-6 {
			t.Errorf("at %g degC the recipe gives %v, %v; want %g dKH and %g mg/L", celsius, strength, err, w.StrengthDKH, w.CalciumPerML)
		}
	}
}
