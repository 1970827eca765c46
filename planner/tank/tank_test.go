package tank

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"aliquot/planner/units"
)

var start = time.Date(2027, 3, 1, 7, 0, 0, 0, time.UTC)

// newTank makes an invented tank of 300 L that does nothing by itself but what change adds.
func newTank(t testing.TB, change func(*Params)) *Tank {
	t.Helper()
	p := Params{Seed: 7, NetLitres: 300, Start: map[units.Quantity]float64{
		units.Alkalinity: 8, units.Calcium: 430, units.Magnesium: 1330, units.Nitrate: 5, units.PH: 8.1,
	}}
	if change != nil {
		change(&p)
	}
	tank, err := New(p, start)
	if err != nil {
		t.Fatal(err)
	}
	return tank
}

func want(t testing.TB, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s is %.9g; want %.9g within %g", what, got, want, within)
	}
}

func afterDays(d float64) time.Time { return start.Add(time.Duration(d * float64(day))) }

func TestConstantsAgreeWithUnits(t *testing.T) {
	dkh, err := units.ToCanonical(units.Alkalinity, 1, "meq/L")
	if err != nil {
		t.Fatal(err)
	}
	// 7.146959 mg/L Ca per dKH: Ca2+ + 2 HCO3- -> CaCO3 + CO2 + H2O with CIAAW 2021 weights.
	want(t, "calcium per dKH", mgCalciumPerDKH, 7.146959, 1e-5)
	ca, _ := units.IonMass(units.Calcium)
	want(t, "calcium per dKH from units", mgCalciumPerDKH, ca/2/dkh, 1e-4)
	no3, _ := units.IonMass(units.Nitrate)
	want(t, "nitrate per dKH from units", mgNitratePerDKH, no3/dkh, 1e-3)
	// 22 mg/L of nitrate formed take 1 dKH (common practice, rounded).
	want(t, "nitrate per dKH, the trade's figure", mgNitratePerDKH, 22, 0.5)
}

func TestStartsWhereParamsSayOrAtOrdinaryLevels(t *testing.T) {
	tank := newTank(t, nil)
	for q, level := range map[units.Quantity]float64{
		units.Alkalinity: 8, units.Calcium: 430, units.Magnesium: 1330, units.Nitrate: 5, units.PH: 8.1,
		units.Potassium: 408, units.Strontium: 8.1, units.Salinity: 35, units.Temperature: 25.5, units.Iron: 0,
	} {
		want(t, string(q), tank.Level(q), level, 1e-12)
	}
	for _, q := range []units.Quantity{units.ORP, units.Switch, "colour"} {
		if got := tank.Level(q); !math.IsNaN(got) {
			t.Errorf("level of %s is %v; want NaN", q, got)
		}
	}
	for _, q := range units.Quantities() {
		if _, has := slot(q); has == (q == units.ORP || q == units.Switch) {
			t.Errorf("slot(%s) = %v; a tank has every quantity but ORP and switch", q, has)
		}
	}
}

func TestQuietTankDoesNotMove(t *testing.T) {
	tank := newTank(t, nil)
	tank.Advance(afterDays(100))
	for _, q := range bySlot {
		want(t, string(q), tank.Level(q), newTank(t, nil).Level(q), 1e-9)
	}
	want(t, "volume", tank.Litres(), 300, 0)
	if !tank.Now().Equal(afterDays(100)) {
		t.Errorf("Now = %v; want %v", tank.Now(), afterDays(100))
	}
	tank.Advance(start)
	if !tank.Now().Equal(afterDays(100)) {
		t.Errorf("Now = %v after an earlier Advance; want it unchanged", tank.Now())
	}
}

func TestCalciumAndMagnesiumFollowAlkalinity(t *testing.T) {
	tank := newTank(t, func(p *Params) { p.Uptake = Uptake{PerDay: 1.4, Law: Constant} })
	tank.Advance(afterDays(2))
	want(t, "alkalinity", tank.Level(units.Alkalinity), 8-2.8, 1e-9)
	// 2.80385 dKH are 1 meq/L and go with 20.039 mg/L calcium.
	want(t, "calcium", tank.Level(units.Calcium), 430-2.8/2.80385*20.039, 1e-6)
	want(t, "magnesium", tank.Level(units.Magnesium), 1330-0.1*2.8/2.80385*20.039, 1e-6)
}

func TestLawsOfUptake(t *testing.T) {
	mm := Uptake{PerDay: 2, Reference: 8, Law: MichaelisMenten, HalfLevel: 4}
	linear := Uptake{PerDay: 2, Reference: 8, Law: Linear, Slope: 1.5}
	constant := Uptake{PerDay: 2, Reference: 8, Law: Constant}
	tests := []struct {
		name    string
		u       Uptake
		dkh, ca float64
		want    float64
	}{
		{"saturating at the reference", mm, 8, 430, 2},
		{"saturating at K: half of the most", mm, 4, 430, 2 * 12.0 / 8 / 2},
		{"saturating, very high: the most", mm, 4e5, 430, 3},
		{"saturating without K", Uptake{PerDay: 2, Reference: 8}, 3, 430, 2},
		{"linear at the reference", linear, 8, 430, 2},
		{"linear above", linear, 10, 430, 2 * (1 + 1.5*0.25)},
		{"linear far below", linear, 2, 430, 0},
		{"constant", constant, 3, 430, 2},
		{"fading alkalinity", constant, 0.25, 430, 1},
		{"no alkalinity", constant, 0, 430, 0},
		{"fading calcium", constant, 8, 5, 0.5},
		{"no calcium", constant, 8, 0, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			tank := newTank(t, func(p *Params) {
				p.Uptake = tt.u
				p.Start[units.Calcium] = tt.ca
			})
			tank.levels[alkalinity] = tt.dkh
			want(t, "uptake per day", tank.CalcificationPerDay(), tt.want, 1e-4)
		})
	}
}

func TestReferenceIsTheStartIfNotSaid(t *testing.T) {
	tank := newTank(t, func(p *Params) { p.Uptake = Uptake{PerDay: 1.5, HalfLevel: 5} })
	want(t, "uptake at the start", tank.CalcificationPerDay(), 1.5, 1e-12)
}

func TestLinearLawAgainstItsSolution(t *testing.T) {
	const u, k, r, a0 = 2.0, 1.5, 8.0, 10.0
	tank := newTank(t, func(p *Params) {
		p.Start[units.Alkalinity] = a0
		p.Uptake = Uptake{PerDay: u, Reference: r, Law: Linear, Slope: k}
	})
	for d := 0.5; d <= 5; d += 0.5 {
		tank.Advance(afterDays(d))
		exact := r - r/k + (a0-r+r/k)*math.Exp(-u*k/r*d)
		want(t, "alkalinity", tank.Level(units.Alkalinity), exact, 1e-5)
	}
}

func TestGrowthCompounds(t *testing.T) {
	tank := newTank(t, func(p *Params) { p.Uptake = Uptake{PerDay: 0.2, Law: Constant, GrowthPerDay: 0.02} })
	tank.Advance(afterDays(20))
	taken := 0.2 * (math.Pow(1.02, 20) - 1) / math.Log(1.02)
	want(t, "alkalinity", tank.Level(units.Alkalinity), 8-taken, 1e-6)
	want(t, "uptake per day", tank.CalcificationPerDay(), 0.2*math.Pow(1.02, 20), 1e-9)
}

func TestDaySwing(t *testing.T) {
	noonTank := newTank(t, func(p *Params) {
		p.Uptake = Uptake{PerDay: 1, Law: Constant, DaySwing: 0.8}
		p.MidLight = 3 * time.Hour // 15:00 UTC
	})
	at := func(hour float64) float64 {
		noonTank.Advance(start.Add(time.Duration((hour - 7) * float64(time.Hour))))
		return noonTank.Level(units.Alkalinity)
	}
	morning := at(9)
	light := morning - at(21) // 12 h around 15:00
	dark := noonTank.Level(units.Alkalinity) - at(33)
	want(t, "uptake of a whole day", morning-noonTank.Level(units.Alkalinity), 1, 1e-6)
	// The mean of 1 + 0.8·cos over the half day around its peak is 1 + 0.8·2/π.
	want(t, "uptake in the light half", light, 0.5*(1+0.8*2/math.Pi), 1e-4)
	want(t, "uptake in the dark half", dark, 0.5*(1-0.8*2/math.Pi), 1e-4)
	want(t, "what an estimate should find", noonTank.CalcificationPerDay(), 1, 1e-9)
}

func TestStepChangeIsExactInTime(t *testing.T) {
	stepAt := start.Add(25*time.Hour + 3*time.Minute + 7*time.Second)
	tank := newTank(t, func(p *Params) { p.Uptake = Uptake{PerDay: 1, Law: Constant, StepAt: stepAt, StepFactor: 0.25} })
	tank.Advance(afterDays(3))
	before := stepAt.Sub(start).Hours() / 24
	want(t, "alkalinity", tank.Level(units.Alkalinity), 8-before-0.25*(3-before), 1e-9)

	already := newTank(t, func(p *Params) { p.Uptake = Uptake{PerDay: 1, Law: Constant, StepAt: start, StepFactor: 2} })
	want(t, "uptake with the step at the start", already.CalcificationPerDay(), 2, 1e-12)
}

func TestWanderIsSeededSlowAndOfItsSize(t *testing.T) {
	make := func(seed uint64) *Tank {
		return newTank(t, func(p *Params) {
			p.Seed = seed
			p.Uptake = Uptake{PerDay: 0.001, Law: Constant, WanderSD: 0.2, WanderTime: 48 * time.Hour}
		})
	}
	a, twin, other := make(1), make(1), make(2)
	var n, sum, squares, steps float64
	last, differs := 0.0, false
	for h := 1; h <= 24*2000; h++ {
		now := start.Add(time.Duration(h) * time.Hour)
		for _, tank := range []*Tank{a, twin, other} {
			tank.Advance(now)
		}
		if a.wander != twin.wander {
			t.Fatalf("same seed, different wander after %d h", h)
		}
		differs = differs || a.wander != other.wander
		n, sum, squares = n+1, sum+a.wander, squares+a.wander*a.wander
		steps, last = steps+(a.wander-last)*(a.wander-last), a.wander
	}
	if !differs {
		t.Error("two seeds give the same wander")
	}
	// 2000 days hold about 2000/(2·2) independent values: sd is known to some 3 %, the mean to 0.2/√500.
	want(t, "mean", sum/n, 0, 0.04)
	want(t, "standard deviation", math.Sqrt(squares/n-sum/n*sum/n), 0.2, 0.025)
	want(t, "hourly change", math.Sqrt(steps/n), 0.2*math.Sqrt(2*(1-math.Exp(-1.0/48))), 0.002)
}

func TestNitrificationTakesAlkalinityWithoutCalcium(t *testing.T) {
	tank := newTank(t, func(p *Params) { p.NitrateFormedPerDay = 2.2114 })
	tank.Advance(afterDays(10))
	want(t, "nitrate", tank.Level(units.Nitrate), 5+22.114, 1e-6)
	want(t, "alkalinity", tank.Level(units.Alkalinity), 7, 1e-4)
	want(t, "calcium", tank.Level(units.Calcium), 430, 0)

	back := newTank(t, func(p *Params) {
		p.Start[units.Nitrate] = 22.114
		p.NitrateUptakePerDay = 0.1
	})
	back.Advance(afterDays(5))
	left := 22.114 * math.Exp(-0.5)
	want(t, "nitrate taken up", back.Level(units.Nitrate), left, 1e-5)
	want(t, "alkalinity given back", back.Level(units.Alkalinity), 8+(22.114-left)/22.114, 1e-4)
}

func TestEvaporationConcentrates(t *testing.T) {
	tank := newTank(t, func(p *Params) { p.EvaporationLitresPerDay, p.TopOffShare = 4, 0.25 })
	tank.Advance(afterDays(10))
	want(t, "volume", tank.Litres(), 270, 1e-9)
	for q, level := range map[units.Quantity]float64{units.Salinity: 35, units.Calcium: 430, units.Strontium: 8.1} {
		want(t, string(q), tank.Level(q), level*300/270, 1e-6)
	}
	want(t, "temperature", tank.Level(units.Temperature), 25.5, 0)
	tank.Advance(afterDays(1000))
	want(t, "volume after a forgotten year", tank.Litres(), 150, 0)

	kept := newTank(t, func(p *Params) { p.EvaporationLitresPerDay, p.TopOffShare = 4, 1 })
	kept.Advance(afterDays(10))
	want(t, "topped off volume", kept.Litres(), 300, 0)
	want(t, "topped off salinity", kept.Level(units.Salinity), 35, 0)
}

func TestOtherUptakeStopsAtZero(t *testing.T) {
	tank := newTank(t, func(p *Params) {
		p.OtherPerDay = map[units.Quantity]float64{units.Strontium: 0.1, units.Iodide: 0.01}
	})
	tank.Advance(afterDays(10))
	want(t, "strontium", tank.Level(units.Strontium), 7.1, 1e-9)
	want(t, "iodide", tank.Level(units.Iodide), 0, 0)
}

func TestParamsAreTheCallersOwn(t *testing.T) {
	levels := map[units.Quantity]float64{units.Alkalinity: 9}
	tank := newTank(t, func(p *Params) { p.Start = levels })
	levels[units.Alkalinity] = 1
	want(t, "alkalinity", tank.Level(units.Alkalinity), 9, 0)
}

// drawParams draws a tank; a wild one takes up far more than any reef.
func drawParams(t *rapid.T, wild float64) Params {
	f := func(name string, least, top float64) float64 { return rapid.Float64Range(least, top).Draw(t, name) }
	return Params{
		Seed: rapid.Uint64().Draw(t, "seed"), NetLitres: f("litres", 20, 2000),
		Start: map[units.Quantity]float64{units.Alkalinity: f("dkh", 5, 12), units.Calcium: f("ca", 300, 500)},
		Uptake: Uptake{
			PerDay: f("uptake", 0, 3*wild), Law: Law(rapid.IntRange(0, 3).Draw(t, "law")), HalfLevel: f("half", 0, 10),
			Slope: f("slope", 0, 3), GrowthPerDay: f("growth", -0.02*wild, 0.02*wild), DaySwing: f("swing", 0, 1),
			WanderSD: f("sd", 0, 0.3), WanderTime: 36 * time.Hour,
			StepAt: start.Add(time.Duration(f("step", 0, 5) * float64(day))), StepFactor: f("factor", 0, 1.5*wild),
		},
		NitrateFormedPerDay: f("formed", 0, 5), NitrateUptakePerDay: f("taken", 0, 0.5),
		EvaporationLitresPerDay: f("evaporation", 0, 5), TopOffShare: f("topoff", 0, 1), TemperatureSwing: 0.4,
		Life: Life{PhotosynthesisPerDay: f("light", 0, 600*wild), RespirationPerDay: f("dark", 0, 600*wild)}, GasExchangePerHour: f("gas", 0, 10), RoomPCO2: f("room", 300, 1500),
		OtherPerDay: map[units.Quantity]float64{units.Strontium: f("sr", 0, 3)},
	}
}

func TestHowTimeIsCutDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		p := drawParams(rt, 1)
		whole, err := New(p, start)
		if err != nil {
			rt.Fatal(err)
		}
		cut, err := New(p, start)
		if err != nil {
			rt.Fatal(err)
		}
		looks := rapid.Bool().Draw(rt, "looks")
		for _, seconds := range rapid.SliceOfN(rapid.IntRange(1, 40_000), 0, 20).Draw(rt, "cuts") {
			cut.Advance(cut.Now().Add(time.Duration(seconds) * time.Second))
			if looks {
				cut.Level(units.PH)
			}
		}
		end := afterDays(10).Add(7 * time.Minute)
		whole.Advance(end)
		cut.Advance(end)
		for _, q := range bySlot {
			if a, b := whole.Level(q), cut.Level(q); a != b {
				rt.Fatalf("%s is %.17g in one go and %.17g in pieces", q, a, b)
			}
		}
	})
}

// A dose of nothing cuts a step of integration in two: that moves levels by less than any test or probe can see.
func TestChangesAtOddTimesCostNoAccuracy(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		p := drawParams(rt, 1)
		whole, err := New(p, start)
		if err != nil {
			rt.Fatal(err)
		}
		cut, err := New(p, start)
		if err != nil {
			rt.Fatal(err)
		}
		for _, seconds := range rapid.SliceOfN(rapid.IntRange(1, 40_000), 1, 20).Draw(rt, "cuts") {
			if err := cut.Dose(cut.Now().Add(time.Duration(seconds)*time.Second), Addition{}); err != nil {
				rt.Fatal(err)
			}
		}
		end := afterDays(10)
		whole.Advance(end)
		cut.Advance(end)
		for _, q := range bySlot {
			a, b := whole.Level(q), cut.Level(q)
			if !(math.Abs(a-b) <= 1e-4*max(1, math.Abs(a))) {
				rt.Fatalf("%s is %.9g in one go and %.9g in pieces", q, a, b)
			}
		}
	})
}

func TestLevelsStayFiniteAndNeverNegative(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		tank, err := New(drawParams(rt, 3), start)
		if err != nil {
			rt.Fatal(err)
		}
		for i := range 20 {
			tank.Advance(afterDays(float64(i)))
			for _, q := range bySlot {
				if v := tank.Level(q); !(v >= 0 && v < 1e6) {
					rt.Fatalf("%s is %v after %d days", q, v, i)
				}
			}
		}
	})
}

// Whatever the form of uptake: alkalinity lost to calcification and calcium keep the ratio of CaCO3.
func TestStoichiometryHolds(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		p := drawParams(rt, 3)
		p.NitrateFormedPerDay, p.NitrateUptakePerDay, p.EvaporationLitresPerDay = 0, 0, 0
		tank, err := New(p, start)
		if err != nil {
			rt.Fatal(err)
		}
		dkh, ca := tank.Level(units.Alkalinity), tank.Level(units.Calcium)
		tank.Advance(afterDays(20))
		dkh, ca = dkh-tank.Level(units.Alkalinity), ca-tank.Level(units.Calcium)
		if !(dkh >= 0 && math.Abs(ca-dkh*mgCalciumPerDKH) < 1e-6) {
			rt.Fatalf("%.9g dKH went with %.9g mg/L calcium; want %.9g", dkh, ca, dkh*mgCalciumPerDKH)
		}
	})
}
