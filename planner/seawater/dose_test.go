package seawater

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// reef is a tank of 8 dKH at pH 8.1, an invented scenario.
func reef(t *testing.T) (System, Carbonate) {
	t.Helper()
	s := must[System](t)(NewSystem(Water{Salinity: 35, Temperature: 26}))
	a := must[MicromolPerKg](t)(s.Water().AlkalinityFromDKH(8))
	return s, must[Carbonate](t)(s.AlkalinityPH(a, 8.1))
}

func TestSaltsMovePH(t *testing.T) {
	s, c := reef(t)
	rise := must[MicromolPerKg](t)(s.Water().AlkalinityFromDKH(0.5))
	hydroxide := must[float64](t)(s.Step(c, rise, Hydroxide))
	carbonate := must[float64](t)(s.Step(c, rise, Carbonates))
	bicarbonate := must[float64](t)(s.Step(c, rise, Bicarbonate))
	if !(hydroxide > carbonate && carbonate > 0 && bicarbonate < 0) {
		t.Errorf("0.5 dKH moves pH by %+.3f, %+.3f, %+.3f; want hydroxide above carbonate above 0 above bicarbonate", hydroxide, carbonate, bicarbonate)
	}
	if zero := must[float64](t)(s.Step(c, 0, Carbonates)); zero != 0 {
		t.Errorf("no rise moves pH by %v", zero)
	}
	after := must[Carbonate](t)(s.Closed(c, rise, Carbonates))
	near(t, "alkalinity after", float64(after.Alkalinity), float64(c.Alkalinity+rise), 1e-9)
	near(t, "carbon after", float64(after.Carbon), float64(c.Carbon+rise/2), 1e-9)
	// Calcification is carbonate taken away: pH falls.
	if fall := must[float64](t)(s.Step(c, -rise, Carbonates)); !(fall < 0) {
		t.Errorf("calcification of 0.5 dKH moves pH by %+.3f; want a fall", fall)
	}
}

// Common practice: a step of 0.05 from pH 8.1 is about 0.2 dKH of carbonate or 0.1 dKH of hydroxide; rounded down, so
// that the rule of thumb is on the safe side of what is computed.
func TestRuleOfThumb(t *testing.T) {
	s, c := reef(t)
	for _, tt := range []struct {
		salt Salt
		dkh  float64
	}{{Carbonates, 0.2}, {Hydroxide, 0.1}} {
		got, bounded, err := s.LargestRiseDKH(c, tt.salt, DefaultStep)
		if err != nil || !bounded || !(got >= tt.dkh && got < 1.5*tt.dkh) {
			t.Errorf("LargestRiseDKH(%v) = %.3f, %v, %v; want %v to half as much again", tt.salt, got, bounded, err, tt.dkh)
		}
		hard, _, err := s.LargestRiseDKH(c, tt.salt, HardStep)
		if err != nil || !(hard > 2*got) {
			t.Errorf("hard step allows %.3f dKH, the default %.3f; want more than twice: the buffer grows with pH", hard, got)
		}
	}
}

func TestLargestRiseInvertsStep(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSystem(t)
		a := MicromolPerKg(rapid.Float64Range(1000, 5000).Draw(t, "alkalinity"))
		c, err := s.AlkalinityPH(a, TotalPH(rapid.Float64Range(7, 8.9).Draw(t, "ph")))
		if err != nil {
			return // no such water
		}
		salt := Salt(rapid.Float64Range(0, 1).Draw(t, "salt"))
		step := rapid.Float64Range(0.001, 0.3).Draw(t, "step")
		rise, bounded, err := s.LargestRise(c, salt, step)
		if err != nil {
			t.Fatal(err)
		}
		if !(rise > 0) || c.Alkalinity+rise > HighestAlkalinity+1e-6 {
			t.Fatalf("rise %v from %v", rise, c.Alkalinity)
		}
		if !bounded {
			rise *= 0.999999
		}
		got, err := s.Step(c, rise, salt)
		var out *RangeError
		if errors.As(err, &out) && out.Name == "dissolved inorganic carbon" {
			return // more carbon than is solved
		}
		if err != nil {
			t.Fatal(err)
		}
		if bounded && !(math.Abs(math.Abs(got)-step) < 1e-8) || !bounded && !(math.Abs(got) < step) {
			t.Fatalf("rise %v (bounded %v) moves pH by %v; step %v", rise, bounded, got, step)
		}
		part := rapid.Float64Range(0.01, 0.99).Draw(t, "part")
		smaller, err := s.Step(c, rise*MicromolPerKg(part), salt)
		if err != nil || !(math.Abs(smaller) <= step+1e-9) {
			t.Fatalf("%v of the largest rise moves pH by %v (%v); step %v", part, smaller, err, step)
		}
	})
}

// Where the carbon of the salt balances the water's own, no rise moves pH far.
func TestUnboundedRise(t *testing.T) {
	s, c := reef(t)
	share, _ := s.carbonateShare(hydrogen(c.PH))
	balanced := Salt(1 / share)
	rise, bounded, err := s.LargestRise(c, balanced, 0.5)
	if err != nil || bounded || rise != HighestAlkalinity-c.Alkalinity {
		t.Errorf("LargestRise = %v, %v, %v; want all that is left and not bounded", rise, bounded, err)
	}
}

func TestStepPerDKHIsTheSlope(t *testing.T) {
	s, c := reef(t)
	one := must[MicromolPerKg](t)(s.Water().AlkalinityFromDKH(1))
	for _, salt := range []Salt{Hydroxide, Carbonates, 0.8, Bicarbonate} {
		up, down := must[float64](t)(s.Step(c, one/1000, salt)), must[float64](t)(s.Step(c, -one/1000, salt))
		near(t, "slope per dKH", must[float64](t)(s.StepPerDKH(c, salt)), (up-down)*500, 1e-5)
	}
}

// Open to the air the salt no longer matters and more alkalinity means a higher pH.
func TestAired(t *testing.T) {
	s, c := reef(t)
	rise := must[MicromolPerKg](t)(s.Water().AlkalinityFromDKH(1))
	still := must[Carbonate](t)(s.Aired(c, 0, c.PCO2))
	near(t, "pH without a rise at the water's own pCO2", float64(still.PH), float64(c.PH), 1e-9)
	after := must[Carbonate](t)(s.Aired(c, rise, c.PCO2))
	closed := must[Carbonate](t)(s.Closed(c, rise, Hydroxide))
	if !(after.PH > c.PH && after.PH < closed.PH) {
		t.Errorf("pH %v aired, %v closed, %v before; want it between", after.PH, closed.PH, c.PH)
	}
	near(t, "pCO2", float64(after.PCO2), float64(c.PCO2), 1e-6)
}

func TestDoseRefuses(t *testing.T) {
	s, c := reef(t)
	nan := math.NaN()
	for _, salt := range []Salt{-0.01, 1.01, Salt(nan)} {
		_, err := s.Closed(c, 10, salt)
		refused(t, "Closed", err, "carbon per equivalent", "")
		_, _, err = s.LargestRise(c, salt, 0.05)
		refused(t, "LargestRise", err, "carbon per equivalent", "")
		_, err = s.StepPerDKH(c, salt)
		refused(t, "StepPerDKH", err, "carbon per equivalent", "")
	}
	for _, rise := range []float64{nan, 10001, -10001, math.Inf(1)} {
		_, err := s.Closed(c, MicromolPerKg(rise), Carbonates)
		refused(t, "Closed", err, "rise of alkalinity", solver)
		_, err = s.Aired(c, MicromolPerKg(rise), 400)
		refused(t, "Aired", err, "rise of alkalinity", solver)
	}
	for _, step := range []float64{0, -0.05, 1.01, nan} {
		_, _, err := s.LargestRise(c, Carbonates, step)
		refused(t, "LargestRise", err, "pH step", solver)
		_, _, err = s.LargestRiseDKH(c, Carbonates, step)
		refused(t, "LargestRiseDKH", err, "pH step", solver)
	}
	var empty Carbonate
	_, err := s.Step(empty, 10, Carbonates)
	refused(t, "Step from nothing", err, "alkalinity", solver)
	_, err = s.StepPerDKH(empty, Carbonates)
	refused(t, "StepPerDKH from nothing", err, "alkalinity", solver)
	_, _, err = s.LargestRise(empty, Carbonates, 0.05)
	refused(t, "LargestRise from nothing", err, "alkalinity", solver)
	high := must[Carbonate](t)(s.AlkalinityPH(3000, 9.48))
	_, _, err = s.LargestRise(high, Hydroxide, 0.05)
	refused(t, "LargestRise beyond the highest pH", err, "pH (total scale)", solver)
	_, err = s.Closed(c, 5000, Hydroxide)
	refused(t, "Closed beyond the highest pH", err, "pH (total scale)", solver)
}
