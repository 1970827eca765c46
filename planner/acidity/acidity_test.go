package acidity

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"aliquot/planner/seawater"
	"aliquot/planner/stock"
	"aliquot/planner/units"
)

var reef = Tank{SalinityPSU: 35, TemperatureC: 25, AlkalinityDKH: 8.3, Litres: 300}

func solution(salt string, grams float64) []stock.Part {
	return []stock.Part{{Salt: salt, GramsPerLitre: grams}}
}

func effectOf(t *testing.T, tank Tank, parts []stock.Part) Effect {
	t.Helper()
	e, err := Of(tank, parts)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// The step is that of planner/seawater for the rise that the strength gives.
func TestStepIsThatOfTheWater(t *testing.T) {
	for _, c := range []struct {
		name  string
		parts []stock.Part
		salt  seawater.Salt
	}{
		{"carbonate", solution("sodium carbonate", 80), seawater.Carbonates},
		{"bicarbonate", solution("sodium bicarbonate", 80), seawater.Bicarbonate},
		{"hydroxide", solution("sodium hydroxide", 20), seawater.Hydroxide},
		{"limewater", solution("calcium hydroxide", 1.5), seawater.Hydroxide},
		{"impure carbonate", []stock.Part{{Salt: "sodium carbonate", GramsPerLitre: 160, Purity: 0.5}}, seawater.Carbonates},
	} {
		t.Run(c.name, func(t *testing.T) {
			strength, err := stock.StrengthOf(c.parts)
			if err != nil {
				t.Fatal(err)
			}
			water := seawater.Water{Salinity: 35, Temperature: 25}
			system, err := seawater.NewSystem(water)
			if err != nil {
				t.Fatal(err)
			}
			level, _ := water.AlkalinityFromDKH(8.3)
			before, err := system.AlkalinityPH(level, UsualPH)
			if err != nil {
				t.Fatal(err)
			}
			rise, _ := water.AlkalinityFromDKH(5 * strength[units.Alkalinity] / 300)
			want, err := system.Step(before, rise, c.salt)
			if err != nil {
				t.Fatal(err)
			}
			got, err := effectOf(t, reef, c.parts).Step(5)
			if err != nil || math.Abs(got-want) > 1e-9 {
				t.Errorf("5 mL move pH by %g, %v; want %g", got, err, want)
			}
		})
	}
}

// Right after a dose carbonate moves pH up, hydroxide more, bicarbonate down, organic salts not at all.
func TestSaltsAreOrdered(t *testing.T) {
	step := func(salt string, meqPerGram float64) float64 {
		e := effectOf(t, reef, solution(salt, 100/meqPerGram)) // 100 meq/L each
		x, err := e.Step(100)
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
	carbonate, bicarbonate, hydroxide := step("sodium carbonate", 18.87), step("sodium bicarbonate", 11.90), step("sodium hydroxide", 25.0)
	if !(bicarbonate < 0 && 0 < carbonate && carbonate < hydroxide) {
		t.Errorf("steps: bicarbonate %g, carbonate %g, hydroxide %g", bicarbonate, carbonate, hydroxide)
	}
	for _, salt := range []string{"calcium formate", "calcium acetate monohydrate", "calcium chloride dihydrate"} {
		e, err := Of(reef, solution(salt, 50))
		if err != nil {
			t.Fatalf("%s: %v", salt, err)
		}
		x, err := e.Step(1e6)
		_, bounded, also := e.Largest(0.05)
		if e.Acts() || x != 0 || err != nil || bounded || also != nil {
			t.Errorf("%s: acts %v, step %g, %v, bounded %v, %v", salt, e.Acts(), x, err, bounded, also)
		}
	}
}

// Of a mixture only what acts at once counts.
func TestOrganicPartIsLeftOut(t *testing.T) {
	mixed := []stock.Part{{Salt: "sodium carbonate", GramsPerLitre: 20}, {Salt: "sodium acetate trihydrate", GramsPerLitre: 50}}
	if _, err := stock.Lookup(mixed[1].Salt); err != nil {
		mixed[1].Salt = "sodium acetate"
	}
	got, err := effectOf(t, reef, mixed).Step(20)
	if err != nil {
		t.Fatal(err)
	}
	want, err := effectOf(t, reef, mixed[:1]).Step(20)
	if err != nil || math.Abs(got-want) > 1e-9 {
		t.Errorf("with an organic salt the step is %g, %v; without it %g", got, err, want)
	}
}

// Largest is the inverse of Step, and smaller volumes move pH by less.
func TestLargestInvertsStep(t *testing.T) {
	salts := []string{"sodium carbonate", "sodium hydroxide", "calcium hydroxide", "sodium bicarbonate"}
	rapid.Check(t, func(t *rapid.T) {
		tank := Tank{
			SalinityPSU:   rapid.Float64Range(30, 38).Draw(t, "psu"),
			TemperatureC:  rapid.Float64Range(20, 30).Draw(t, "celsius"),
			AlkalinityDKH: rapid.Float64Range(6, 12).Draw(t, "dkh"),
			Litres:        rapid.Float64Range(5, 20_000).Draw(t, "litres"),
		}
		e, err := Of(tank, solution(rapid.SampledFrom(salts).Draw(t, "salt"), rapid.Float64Range(0.1, 60).Draw(t, "grams")))
		if err != nil {
			t.Fatal(err)
		}
		step := rapid.Float64Range(0.005, 0.1).Draw(t, "step")
		ml, bounded, err := e.Largest(step)
		if err != nil {
			t.Fatal(err)
		}
		if !bounded {
			return // bicarbonate never gets far
		}
		got, err := e.Step(ml)
		if err != nil || math.Abs(math.Abs(got)-step) > 1e-6 {
			t.Fatalf("%g mL move pH by %g, %v; want %g", ml, got, err, step)
		}
		less, err := e.Step(ml * rapid.Float64Range(0, 1).Draw(t, "part"))
		if err != nil || math.Abs(less) > step+1e-9 {
			t.Fatalf("a part of it moves pH by %g, %v; the whole by %g", less, err, step)
		}
	})
}

// Salinity, temperature and alkalinity of the system count; without a target 8 dKH do.
func TestWaterCounts(t *testing.T) {
	most := func(change func(*Tank)) float64 {
		tank := reef
		change(&tank)
		ml, bounded, err := effectOf(t, tank, solution("sodium carbonate", 80)).Largest(0.1)
		if err != nil || !bounded {
			t.Fatal(bounded, err)
		}
		return ml
	}
	usual := most(func(*Tank) {})
	if low := most(func(k *Tank) { k.AlkalinityDKH = 6 }); !(low < usual) {
		t.Errorf("at 6 dKH %g mL are allowed, at 8.3 dKH %g mL", low, usual)
	}
	if fresh := most(func(k *Tank) { k.SalinityPSU = 20 }); !(fresh < usual) {
		t.Errorf("at 20 psu %g mL are allowed, at 35 psu %g mL", fresh, usual)
	}
	if warm := most(func(k *Tank) { k.TemperatureC = 30 }); warm == usual {
		t.Errorf("temperature makes no difference: %g mL", warm)
	}
	if none, eight := most(func(k *Tank) { k.AlkalinityDKH = 0 }), most(func(k *Tank) { k.AlkalinityDKH = UsualDKH }); none != eight {
		t.Errorf("without a target %g mL, at 8 dKH %g mL", none, eight)
	}
	if double := most(func(k *Tank) { k.Litres *= 2 }); math.Abs(double-2*usual) > 1e-6 {
		t.Errorf("twice the water takes %g mL, want %g", double, 2*usual)
	}
}

func TestNearest(t *testing.T) {
	for _, c := range []struct {
		name     string
		psu, deg float64
		near     Tank
		same     bool
	}{
		{"usual", 35, 25, Tank{SalinityPSU: 35, TemperatureC: 25}, true},
		{"bounds", 19, 35, Tank{SalinityPSU: 19, TemperatureC: 35}, true},
		{"other bounds", 42, 5, Tank{SalinityPSU: 42, TemperatureC: 5}, true},
		{"fresh", 12, 25, Tank{SalinityPSU: 19, TemperatureC: 25}, false},
		{"salt and cold", 45, 4, Tank{SalinityPSU: 42, TemperatureC: 5}, false},
		{"warm", 35, 36, Tank{SalinityPSU: 35, TemperatureC: 35}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			near, same := Tank{SalinityPSU: c.psu, TemperatureC: c.deg}.Nearest()
			if near != c.near || same != c.same {
				t.Errorf("Nearest = %+v, %v; want %+v, %v", near, same, c.near, c.same)
			}
			near.Litres = 100
			if _, err := Of(near, solution("sodium carbonate", 80)); err != nil {
				t.Errorf("the formulas do not hold there: %v", err)
			}
		})
	}
}

func TestRefusals(t *testing.T) {
	soda := solution("sodium carbonate", 80)
	for _, c := range []struct {
		name  string
		tank  Tank
		parts []stock.Part
	}{
		{"no water", Tank{SalinityPSU: 35, TemperatureC: 25}, soda},
		{"not a number", Tank{SalinityPSU: 35, TemperatureC: 25, Litres: math.NaN()}, soda},
		{"endless", Tank{SalinityPSU: 35, TemperatureC: 25, Litres: math.Inf(1)}, soda},
		{"unknown salt", reef, solution("moon dust", 80)},
		{"too much", reef, solution("sodium carbonate", 2000)},
		{"hot", Tank{SalinityPSU: 35, TemperatureC: 60, Litres: 100}, soda},
		{"impossible alkalinity", Tank{SalinityPSU: 35, TemperatureC: 25, AlkalinityDKH: math.NaN(), Litres: 100}, soda},
	} {
		if _, err := Of(c.tank, c.parts); err == nil {
			t.Errorf("%s was taken", c.name)
		}
	}
	var outside *seawater.RangeError
	if _, err := Of(Tank{SalinityPSU: 5, TemperatureC: 25, Litres: 100}, soda); !errors.As(err, &outside) {
		t.Errorf("water outside the formulas gives %v", err)
	}
	e := effectOf(t, reef, soda)
	for _, ml := range []float64{-1, math.NaN(), math.Inf(1), 1e9} {
		if x, err := e.Step(ml); err == nil {
			t.Errorf("%g mL move pH by %g", ml, x)
		}
	}
	if _, _, err := e.Largest(0); err == nil {
		t.Error("a step of 0 has a volume")
	}
}
