package stock

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Common practice: 22 mg/L of nitrate formed take 1 dKH, consumed they give it back.
func TestAlkalinityOfNitrate(t *testing.T) {
	for _, c := range []struct {
		rise float64
		from NitrogenSource
		want float64
	}{{22, FromFood, -1}, {-22, FromFood, 1}, {22, FromAmmonium, -2}, {-22, FromAmmonium, 1}, {0, FromFood, 0}} {
		if got := AlkalinityOfNitrate(c.rise, c.from); math.Abs(got-c.want) > 0.01*math.Abs(c.want) {
			t.Errorf("%v mg/L from %v: %v dKH; want about %v", c.rise, c.from, got, c.want)
		}
	}
	// Food that becomes nitrate and is taken up again leaves alkalinity as it was.
	if got := AlkalinityOfNitrate(10, FromFood) + AlkalinityOfNitrate(-10, FromFood); math.Abs(got) > 1e-12 {
		t.Errorf("there and back: %v dKH", got)
	}
}

func balanceKinds(b Balance) string {
	var list []string
	for _, f := range b.Findings {
		list = append(list, string(f.Kind))
	}
	return strings.Join(list, " ")
}

func TestCheck(t *testing.T) {
	ca := CalciumPerDKH()
	use := func(v, sd float64) *Use { return &Use{v, sd} }
	for _, c := range []struct {
		name string
		uses Uses
		want string
	}{
		{"as corals take them", Uses{Alkalinity: Use{1, 0.05}, Calcium: Use{ca, 0.5}}, "holds"},
		{"with magnesium", Uses{Alkalinity: Use{1, 0.05}, Calcium: Use{ca, 0.5}, Magnesium: use(0.5, 0.3)}, "holds"},
		{"coralline algae", Uses{Alkalinity: Use{1, 0.02}, Calcium: Use{0.78 * ca, 0.2}, Magnesium: use(1, 0.1)}, "holds"},
		{"twice the calcium", Uses{Alkalinity: Use{1, 0.05}, Calcium: Use{2 * ca, 0.5}}, "calcium"},
		{"half the calcium", Uses{Alkalinity: Use{1, 0.05}, Calcium: Use{ca / 2, 0.4}}, "alkalinity"},
		{"half the calcium, nitrate explains it", Uses{Alkalinity: Use{1, 0.05}, Calcium: Use{ca / 2, 0.4}, NitrateRise: use(11, 1)}, "nitrate holds"},
		{"nitrate taken up explains too much calcium", Uses{Alkalinity: Use{0.5, 0.03}, Calcium: Use{ca, 0.4}, NitrateRise: use(-11, 1)}, "nitrate holds"},
		{"half the calcium, poor tests", Uses{Alkalinity: Use{1, 0.3}, Calcium: Use{ca / 2, 5}}, "too_vague"},
		{"calcium rises", Uses{Alkalinity: Use{1, 0.05}, Calcium: Use{-2, 0.5}}, "negative alkalinity"},
		{"alkalinity rises", Uses{Alkalinity: Use{-0.5, 0.05}, Calcium: Use{0, 0.5}}, "negative"},
		{"magnesium runs away", Uses{Alkalinity: Use{1, 0.05}, Calcium: Use{ca, 0.5}, Magnesium: use(10, 1)}, "magnesium"},
		{"magnesium at its most", Uses{Alkalinity: Use{1, 0.05}, Calcium: Use{ca, 0.5}, Magnesium: use(MagnesiumPerDKHMost(), 0.1)}, "holds"},
		{"magnesium rises", Uses{Alkalinity: Use{1, 0.05}, Calcium: Use{ca, 0.5}, Magnesium: use(-9, 1)}, "negative"},
		{"nothing is used", Uses{Alkalinity: Use{0, 0.05}, Calcium: Use{0, 0.5}}, "too_vague"},
	} {
		b, err := Check(c.uses, 0.95)
		if err != nil || balanceKinds(b) != c.want {
			t.Errorf("%s: %q, %v; want %q\n%+v", c.name, balanceKinds(b), err, c.want, b.Findings)
		}
	}
}

// The limit is that of the normal distribution, shared among the comparisons: 2.394 for 95 % and three, 2.576 for five
// (quantiles of 1 − 0.05/6 and 1 − 0.05/10).
func TestCheckLimits(t *testing.T) {
	u := Uses{Alkalinity: Use{1, 0.05}, Calcium: Use{CalciumPerDKH(), 0.5}}
	three, err := Check(u, 0.95)
	u.Magnesium = &Use{0.1, 1}
	five, err2 := Check(u, 0.95)
	if err != nil || err2 != nil || math.Abs(three.ZLimit-2.3940) > 1e-4 || math.Abs(five.ZLimit-2.5758) > 1e-4 {
		t.Errorf("%v, %v and %v, %v", three.ZLimit, err, five.ZLimit, err2)
	}
	// Just below and just above the limit.
	sd := math.Hypot(0.5, CalciumPerDKH()*0.05)
	for _, c := range []struct {
		z    float64
		want bool
	}{{2.39, false}, {2.40, true}} {
		b, err := Check(Uses{Alkalinity: Use{1, 0.05}, Calcium: Use{CalciumPerDKH() + c.z*sd, 0.5}}, 0.95)
		if err != nil || b.Wrong() != c.want {
			t.Errorf("at %v sd: %v, %v; want wrong %v", c.z, balanceKinds(b), err, c.want)
		}
	}
}

func TestCheckRefuses(t *testing.T) {
	good := Uses{Alkalinity: Use{1, 0.1}, Calcium: Use{7, 1}}
	for _, confidence := range []float64{0.79, 0.99995, 1, 0, math.NaN()} {
		if b, err := Check(good, confidence); err == nil || b.Findings != nil {
			t.Errorf("a confidence of %v: %+v", confidence, b)
		}
	}
	for name, u := range map[string]Uses{
		"no sd": {Alkalinity: Use{1, 0}, Calcium: Use{7, 1}}, "negative sd": {Alkalinity: Use{1, 0.1}, Calcium: Use{7, -1}}, "NaN": {Alkalinity: Use{math.NaN(), 0.1}, Calcium: Use{7, 1}},
		"NaN sd": {Alkalinity: Use{1, 0.1}, Calcium: Use{7, math.NaN()}}, "too much": {Alkalinity: Use{51, 0.1}, Calcium: Use{7, 1}}, "magnesium": {Alkalinity: good.Alkalinity, Calcium: good.Calcium, Magnesium: &Use{1, 0}},
		"nitrate": {Alkalinity: good.Alkalinity, Calcium: good.Calcium, NitrateRise: &Use{math.Inf(1), 1}},
	} {
		if b, err := Check(u, 0.95); err == nil || b.Findings != nil {
			t.Errorf("%s: %+v", name, b)
		}
	}
}

// Good tests are hardly ever blamed: with tests scattered about the truth, at most 5 in 100 are called wrong.
func TestCheckDoesNotBlameGoodTests(t *testing.T) {
	state := uint64(42)
	uniform := func() float64 { // D. H. Lehmer's sequence with the constants of Knuth's MMIX: the same count in every run
		state = state*6364136223846793005 + 1442695040888963407
		return float64(state>>11) / (1 << 53)
	}
	gauss := func() float64 { return math.Sqrt(-2*math.Log(1-uniform())) * math.Cos(2*math.Pi*uniform()) }
	const rounds = 4000
	for _, algae := range []float64{0, 0.1, mgShareMost} {
		wrong := 0
		for range rounds {
			alk := 2 * uniform()
			mg := alk / dkhPerMeq() / 2 * molarMg * algae
			u := Uses{Alkalinity: Use{alk + 0.05*gauss(), 0.05}, Calcium: Use{alk*CalciumPerDKH()*(1-algae) + 0.6*gauss(), 0.6}, Magnesium: &Use{mg + 0.5*gauss(), 0.5}}
			b, err := Check(u, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			if b.Wrong() {
				wrong++
			}
		}
		if wrong > rounds*5/100 {
			t.Errorf("%v of the carbonate from algae: %d of %d good sets are blamed", algae, wrong, rounds)
		}
	}
}

func TestCheckIsFinite(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(most float64, name string) Use {
			return Use{rapid.Float64Range(-most, most).Draw(t, name), most * math.Pow(10, rapid.Float64Range(-6, 0).Draw(t, name+" sd"))}
		}
		mg, no3 := draw(1000, "magnesium"), draw(500, "nitrate")
		b, err := Check(Uses{draw(50, "alkalinity"), draw(500, "calcium"), &mg, &no3, FromFood}, rapid.Float64Range(0.8, 0.9999).Draw(t, "confidence"))
		if err != nil || len(b.Findings) == 0 || !(b.ZLimit > 1.5 && b.ZLimit < 6) || !(b.CalciumExpected >= b.CalciumLeast && b.CalciumLeast >= 0) {
			t.Fatalf("%+v, %v", b, err)
		}
		for _, f := range b.Findings {
			if math.IsNaN(f.Z) || math.IsInf(f.Z, 0) || f.Text == "" || strings.Contains(f.Text, "NaN") {
				t.Fatalf("%+v", f)
			}
		}
	})
}
