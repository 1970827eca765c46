package seawater

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func drawSystem(t *rapid.T) System {
	w := Water{
		Salinity:    PSU(rapid.Float64Range(19, 43).Draw(t, "s")),
		Temperature: Celsius(rapid.Float64Range(5, 35).Draw(t, "t")),
		Phosphate:   MicromolPerKg(rapid.SampledFrom([]float64{0, 0.5, 100}).Draw(t, "phosphate")),
		Silicate:    MicromolPerKg(rapid.SampledFrom([]float64{0, 5, 300}).Draw(t, "silicate")),
	}
	s, err := NewSystem(w)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// drawState draws alkalinity and pH over all that is solved; false for waters that cannot be.
func drawState(t *rapid.T, s *System) (Carbonate, bool) {
	a := MicromolPerKg(rapid.Float64Range(200, 10000).Draw(t, "alkalinity"))
	ph := TotalPH(rapid.Float64Range(6.5, 9.5).Draw(t, "ph"))
	c, err := s.AlkalinityPH(a, ph)
	var none *NoSolutionError
	var out *RangeError
	if errors.As(err, &none) || (errors.As(err, &out) && strings.HasPrefix(out.Name, "dissolved")) {
		return Carbonate{}, false
	}
	if err != nil {
		t.Fatal(err)
	}
	return c, true
}

func closeTo(a, b, relative float64) bool { return math.Abs(a-b) <= relative*math.Abs(b) }

// All four ways to solve meet at the same water.
func TestEverySolutionInverts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSystem(t)
		c, ok := drawState(t, &s)
		if !ok {
			return
		}
		if s.Water().Salinity == 0 {
			t.Fatal("the system forgot its water")
		}
		if c.PH < 6.5+1e-6 || c.PH > 9.5-1e-6 || c.Alkalinity < 200.001 || c.Alkalinity > 9999.999 {
			return // rounding may cross a limit
		}
		for name, solve := range map[string]func() (Carbonate, error){
			"TA and DIC":  func() (Carbonate, error) { return s.AlkalinityCarbon(c.Alkalinity, c.Carbon) },
			"DIC and pH":  func() (Carbonate, error) { return s.CarbonPH(c.Carbon, c.PH) },
			"TA and pCO2": func() (Carbonate, error) { return s.AlkalinityPCO2(c.Alkalinity, c.PCO2) },
		} {
			got, err := solve()
			if err != nil {
				t.Fatalf("%s of %+v: %v", name, c, err)
			}
			if !(math.Abs(float64(got.PH-c.PH)) < 1e-9) || !closeTo(float64(got.Carbon), float64(c.Carbon), 1e-6) ||
				!closeTo(float64(got.Alkalinity), float64(c.Alkalinity), 1e-9) || !closeTo(float64(got.PCO2), float64(c.PCO2), 1e-6) {
				t.Fatalf("%s: %+v; want %+v", name, got, c)
			}
		}
	})
}

// The species are an account: they add up to carbon and alkalinity, and obey the constants.
func TestSpeciesAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSystem(t)
		c, ok := drawState(t, &s)
		if !ok {
			return
		}
		k, err := s.Water().Constants()
		if err != nil {
			t.Fatal(err)
		}
		totals := s.Water().Totals()
		h := math.Pow(10, -float64(c.PH))
		free := h / (1 + float64(totals.Sulfate)*1e-6/k.KS)
		hso4 := float64(totals.Sulfate) / (1 + k.KS/free)
		hf := float64(totals.Fluoride) / (1 + k.KF/h)
		p3 := h*h*h + k.KP1*h*h + k.KP1*k.KP2*h + k.KP1*k.KP2*k.KP3
		phosphate := float64(totals.Phosphate) * (k.KP1*k.KP2*h + 2*k.KP1*k.KP2*k.KP3 - h*h*h) / p3
		silicate := float64(totals.Silicate) / (1 + h/k.KSi)
		alkalinity := float64(c.HCO3+2*c.CO3+c.BOH4+c.OH) + phosphate + silicate - free*1e6 - hso4 - hf
		if !closeTo(alkalinity, float64(c.Alkalinity), 1e-9) || !closeTo(float64(c.CO2+c.HCO3+c.CO3), float64(c.Carbon), 1e-12) {
			t.Fatalf("%+v: sums %v and %v", c, alkalinity, c.CO2+c.HCO3+c.CO3)
		}
		if !closeTo(float64(c.HCO3)*h/float64(c.CO2), k.K1, 1e-9) || !closeTo(float64(c.CO3)*h/float64(c.HCO3), k.K2, 1e-9) {
			t.Fatalf("%+v does not obey K1 and K2", c)
		}
		if !closeTo(float64(c.CO2)/float64(c.FCO2), k.K0, 1e-9) || !(c.PCO2 > c.FCO2) {
			t.Fatalf("%+v does not obey K0", c)
		}
		// KF may be extrapolated because fluoride does not count; this is the promise.
		if !(hf < 0.02) {
			t.Fatalf("hydrogen fluoride %v umol/kg", hf)
		}
	})
}

// No input in range gives NaN or a negative amount.
func TestNoNonsense(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSystem(t)
		a := MicromolPerKg(rapid.Float64Range(200, 10000).Draw(t, "alkalinity"))
		var c Carbonate
		var err error
		switch rapid.IntRange(0, 2).Draw(t, "way") {
		case 0:
			c, err = s.AlkalinityPH(a, TotalPH(rapid.Float64Range(6.5, 9.5).Draw(t, "ph")))
		case 1:
			c, err = s.AlkalinityCarbon(a, MicromolPerKg(rapid.Float64Range(1, 15000).Draw(t, "carbon")))
		case 2:
			c, err = s.AlkalinityPCO2(a, Microatm(math.Exp(rapid.Float64Range(math.Log(1e-4), math.Log(200000)).Draw(t, "pco2"))))
		}
		if err != nil {
			if c != (Carbonate{}) {
				t.Fatalf("%+v beside %v", c, err)
			}
			return
		}
		for _, v := range []float64{float64(c.Alkalinity), float64(c.Carbon), float64(c.PH), float64(c.PCO2), float64(c.FCO2), float64(c.CO2),
			float64(c.HCO3), float64(c.CO3), float64(c.BOH4), float64(c.OH), c.Aragonite, c.Calcite} {
			if !(v > 0) || math.IsInf(v, 0) {
				t.Fatalf("%+v has %v in it", c, v)
			}
		}
		if !(c.Calcite > c.Aragonite) || c.PH < LowestPH || c.PH > HighestPH {
			t.Fatalf("%+v", c)
		}
	})
}

func TestDirections(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSystem(t)
		a := MicromolPerKg(rapid.Float64Range(1500, 5000).Draw(t, "alkalinity"))
		ph := TotalPH(rapid.Float64Range(7.2, 8.8).Draw(t, "ph"))
		c, err := s.AlkalinityPH(a, ph)
		if err != nil {
			return // no such water
		}
		up, err1 := s.AlkalinityPH(a, ph+0.01)
		more, err2 := s.AlkalinityCarbon(a, c.Carbon+1)
		gas, err3 := s.AlkalinityPCO2(a, c.PCO2*1.01)
		basic, err4 := s.CarbonPH(c.Carbon, ph+0.01) // with alkalinity held, saturation has a maximum near pH 8.8
		if err := errors.Join(err1, err2, err3, err4); err != nil {
			return // at a limit
		}
		if !(basic.Aragonite > c.Aragonite && basic.Alkalinity > c.Alkalinity) {
			t.Fatalf("pH up with the carbon held: %+v after %+v", basic, c)
		}
		if !(up.PCO2 < c.PCO2 && up.Carbon < c.Carbon) {
			t.Fatalf("pH up: %+v after %+v", up, c)
		}
		if !(more.PH < c.PH && more.PCO2 > c.PCO2) || !(gas.PH < c.PH && gas.Carbon > c.Carbon) {
			t.Fatalf("carbon up: %+v, gas up: %+v, after %+v", more, gas, c)
		}
	})
}

func TestSolverLimits(t *testing.T) {
	s := must[System](t)(NewSystem(standard))
	nan := math.NaN()
	ok := func(name string, c Carbonate, err error) {
		t.Helper()
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	c, err := s.AlkalinityPH(200, 7.5)
	ok("lowest alkalinity", c, err)
	c, err = s.AlkalinityPH(10000, 9.5)
	ok("highest alkalinity and pH", c, err)
	c, err = s.AlkalinityPH(10000, 6.5)
	ok("highest alkalinity, lowest pH", c, err)
	for _, a := range []float64{199.9, 10000.1, 0, -1, nan, math.Inf(1)} {
		_, err := s.AlkalinityPH(MicromolPerKg(a), 8)
		refused(t, "AlkalinityPH", err, "alkalinity", solver)
		_, err = s.AlkalinityCarbon(MicromolPerKg(a), 2000)
		refused(t, "AlkalinityCarbon", err, "alkalinity", solver)
		_, err = s.AlkalinityPCO2(MicromolPerKg(a), 400)
		refused(t, "AlkalinityPCO2", err, "alkalinity", solver)
	}
	for _, ph := range []float64{6.49, 9.51, 0, nan} {
		_, err := s.AlkalinityPH(2300, TotalPH(ph))
		refused(t, "AlkalinityPH", err, "pH (total scale)", solver)
		_, err = s.CarbonPH(2000, TotalPH(ph))
		refused(t, "CarbonPH", err, "pH (total scale)", solver)
	}
	for _, x := range []float64{0, 0.99, 15001, nan} {
		_, err := s.AlkalinityCarbon(2300, MicromolPerKg(x))
		refused(t, "AlkalinityCarbon", err, "dissolved inorganic carbon", solver)
		_, err = s.CarbonPH(MicromolPerKg(x), 8)
		refused(t, "CarbonPH", err, "dissolved inorganic carbon", solver)
	}
	for _, p := range []float64{0, -1, 200001, nan} {
		_, err := s.AlkalinityPCO2(2300, Microatm(p))
		refused(t, "AlkalinityPCO2", err, "pCO2", solver)
	}
	_, err = s.CarbonPH(14000, 9.5)
	refused(t, "CarbonPH", err, "alkalinity", solver)
	_, err = s.AlkalinityCarbon(2300, 6000)
	refused(t, "AlkalinityCarbon of acid water", err, "pH (total scale)", solver)
	_, err = s.AlkalinityCarbon(9000, 1)
	refused(t, "AlkalinityCarbon of lye", err, "pH (total scale)", solver)
	_, err = s.AlkalinityPCO2(200, 200000)
	refused(t, "AlkalinityPCO2 of acid water", err, "pH (total scale)", solver)
}

// Borate and hydroxide can hold more than a low alkalinity: that pair of readings is a contradiction.
func TestContradiction(t *testing.T) {
	s := must[System](t)(NewSystem(standard))
	_, err := s.AlkalinityPH(250, 9.4)
	var none *NoSolutionError
	if !errors.As(err, &none) {
		t.Fatalf("error %v; want a *NoSolutionError", err)
	}
	for _, part := range []string{"250 umol/kg", "pH 9.400", "borate and hydroxide", "; test alkalinity again"} {
		if !strings.Contains(err.Error(), part) {
			t.Errorf("%q does not say %q", err, part)
		}
	}
}

// A balance whose root lies outside comes out as the nearer end, so that it is refused by its pH and never NaN.
func TestSolverStopsAtItsEnds(t *testing.T) {
	s := must[System](t)(NewSystem(standard))
	near(t, "pH of lye", -math.Log10(s.solve(1, 0.002, byCarbon)), 12, 1e-9)
	near(t, "pH of acid", -math.Log10(s.solve(-0.5, 0.002, byCarbon)), 3, 1e-9)
	near(t, "pH of lye in contact with CO2", -math.Log10(s.solve(1e6, 1e-5, byCO2)), 12, 1e-9)
	near(t, "pH of acid in contact with CO2", -math.Log10(s.solve(-0.5, 1e-5, byCO2)), 3, 1e-9)
}

// Slopes of the balance against differences: a wrong slope would only slow the solver and so go unseen.
func TestSlopes(t *testing.T) {
	w := standard
	w.Phosphate, w.Silicate = 100, 200
	s := must[System](t)(NewSystem(w))
	for _, ph := range []float64{4, 6, 7, 8, 9, 11} {
		u := -ph * math.Ln10
		for name, f := range map[string]func(float64) (float64, float64){
			"minor": s.minor, "phosphate": s.phosphate, "carbonateShare": s.carbonateShare, "carbonatePerCO2": s.carbonatePerCO2} {
			up, _ := f(math.Exp(u + 1e-5))
			down, _ := f(math.Exp(u - 1e-5))
			value, slope := f(math.Exp(u))
			near(t, name, slope, (up-down)/2e-5, 1e-6*(math.Abs(slope)+math.Abs(value)))
		}
	}
}

// Nutrients: phosphate at pH 8.1 is nearly all HPO4, one equivalent each and a little more.
func TestNutrientsHoldAlkalinity(t *testing.T) {
	plain := must[System](t)(NewSystem(standard))
	w := standard
	w.Phosphate = 10
	with := must[System](t)(NewSystem(w))
	a, b := must[Carbonate](t)(plain.AlkalinityPH(2300, 8.1)), must[Carbonate](t)(with.AlkalinityPH(2300, 8.1))
	share, _ := plain.carbonateShare(hydrogen(8.1))
	near(t, "equivalents per phosphate", float64(a.Carbon-b.Carbon)*share/10, 1.13, 0.05)
	w.Phosphate, w.Silicate = 0, 100
	with = must[System](t)(NewSystem(w))
	c := must[Carbonate](t)(with.AlkalinityPH(2300, 8.1))
	// 1/(1 + h/KSi) with the published ln KSi = -21.61.
	near(t, "equivalents per silicate", float64(a.Carbon-c.Carbon)*share/100, 1/(1+math.Pow(10, -8.1)/math.Exp(-21.61)), 1e-3)
}

// A keeper's calcium moves saturation and nothing else.
func TestMeasuredCalcium(t *testing.T) {
	w := standard
	w.Calcium = 2 * standard.Totals().Calcium
	a := must[Carbonate](t)(ptr(must[System](t)(NewSystem(standard))).AlkalinityPH(2300, 8.1))
	b := must[Carbonate](t)(ptr(must[System](t)(NewSystem(w))).AlkalinityPH(2300, 8.1))
	near(t, "aragonite with twice the calcium", b.Aragonite, 2*a.Aragonite, 1e-9)
	if a.PH != b.PH || a.Carbon != b.Carbon || a.PCO2 != b.PCO2 {
		t.Errorf("calcium moved the equilibrium: %+v, %+v", a, b)
	}
}

func ptr[T any](v T) *T { return &v }
