package config

import (
	"math"
	"strings"
	"testing"
	"time"

	"aliquot/planner/stock"
	"aliquot/planner/units"
)

func supplementOf(t *testing.T, s *Site, id string) Supplement {
	t.Helper()
	for _, p := range s.Supplements {
		if p.ID == id {
			return p
		}
	}
	t.Fatalf("there is no supplement %s", id)
	return Supplement{}
}

// What is not the salt counts as nothing, in the strength and in what dissolves.
func TestPurityScalesTheStrength(t *testing.T) {
	const plain = "{sodium carbonate: 80 g/L}"
	for _, c := range []struct {
		name, salt string
		share      float64
	}{
		{"plain", plain, 1},
		{"without purity", "{sodium carbonate: {amount: 80 g/L}}", 1},
		{"all of it", "{sodium carbonate: {amount: 80 g/L, purity: 100 %}}", 1},
		{"usual", "{sodium carbonate: {amount: 80 g/L, purity: 99 %}}", 0.99},
		{"word", "{sodium carbonate: {amount: 80 g/L, purity: 97.5 percent}}", 0.975},
		{"least", "{sodium carbonate: {amount: 80 g/L, purity: 1%}}", 0.01},
	} {
		t.Run(c.name, func(t *testing.T) {
			site, problems, _ := Parse("f", []byte(edit(t, plain, c.salt)))
			if site == nil {
				t.Fatal(problems)
			}
			soda := supplementOf(t, site, "soda")
			pure, err := stock.StrengthOf([]stock.Part{{Salt: "sodium carbonate", GramsPerLitre: 80}})
			if err != nil {
				t.Fatal(err)
			}
			if got, want := soda.Strength[units.Alkalinity], c.share*pure[units.Alkalinity]; math.Abs(got-want) > 1e-9 {
				t.Errorf("strength is %g dKH, want %g", got, want)
			}
			if soda.Solution[0].GPerL != 80 {
				t.Errorf("%g g/L are to be weighed, want 80", soda.Solution[0].GPerL)
			}
			got, err := stock.Dissolve(soda.Parts(), 20)
			if err != nil {
				t.Fatal(err)
			}
			want, err := stock.Dissolve([]stock.Part{{Salt: "sodium carbonate", GramsPerLitre: 80 * c.share}}, 20)
			if err != nil || math.Abs(got.Together-want.Together) > 1e-12 {
				t.Errorf("share of saturation %g, want %g, %v", got.Together, want.Together, err)
			}
		})
	}
}

// How late alkalinity is: what is declared, what organic salts take without a word, and nothing for salts that act at once.
func TestAppearsOver(t *testing.T) {
	const chloride, soda = "{solution: {calcium chloride dihydrate: 111 g/L}}", "{solution: {sodium carbonate: 80 g/L}}"
	for _, c := range []struct {
		name, id, old, new string
		share              float64
		over               time.Duration
		warned             bool
	}{
		{"at once", "soda", soda, soda, 0, 0, false},
		{"least", "chloride", chloride, "{solution: {calcium formate: 100 g/L}, appears_over: 1h}", 1, time.Hour, false},
		{"most", "chloride", chloride, "{solution: {calcium formate: 100 g/L}, appears_over: 4d}", 1, 96 * time.Hour, false},
		{"not declared", "chloride", chloride, "{solution: {calcium formate: 100 g/L}}", 1, 48 * time.Hour, true},
		// One equivalent of each.
		{"half of it", "soda", soda, "{solution: {sodium bicarbonate: 42.003 g/L, sodium acetate anhydrous: 41.017 g/L}, appears_over: 24h}", 0.5, 24 * time.Hour, false},
		{"a label", "soda", soda, "{strength: {alkalinity: 1 dKH per mL in 4 L}}", 0, 0, false},
		{"a label that says so", "soda", soda, "{strength: {alkalinity: 1 dKH per mL in 4 L}, appears_over: 24h}", 1, 24 * time.Hour, false},
		{"a label of alkalinity and calcium", "chloride", chloride, "{strength: {alkalinity: 1 dKH per mL in 4 L, calcium: 5 mg/L per mL in 4 L}}", 1, 48 * time.Hour, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := baseSite(t)
			if c.old != c.new {
				text = edit(t, c.old, c.new)
			}
			site, problems, warnings := Parse("f", []byte(text))
			if site == nil {
				t.Fatal(problems)
			}
			checkInvariants(t, site)
			p := supplementOf(t, site, c.id)
			if math.Abs(p.LateShare-c.share) > 1e-4 || p.AppearsOver != c.over {
				t.Errorf("%g appears over %v; want %g over %v", p.LateShare, p.AppearsOver, c.share, c.over)
			}
			if said := strings.Contains(warnings.String(), "is taken to appear over 2d"); said != c.warned {
				t.Errorf("warned %v, want %v", said, c.warned)
			}
			// What a label says to appear late moves no pH at once, so that its unknown salts do not matter.
			if label := strings.Contains(warnings.String(), "the salts of soda are not known"); label != (c.name == "a label") {
				t.Errorf("the salts of soda are said to be unknown: %v", label)
			}
		})
	}
}

// Limewater is as strong as planner/stock has it, and its system's evaporation bounds it.
func TestLimewater(t *testing.T) {
	const soda, degrees = "{solution: {sodium carbonate: 80 g/L}}", "    temperature: 25 degC\n"
	evaporation := func(v string) string { return degrees + "    evaporation: " + v + "\n" }
	for _, c := range []struct{ name, temperature, evaporation, problem string }{
		{"usual", "25 degC", "3 L/day", ""},
		{"other unit", "77 degF", "3 L/day", ""},
		{"cold", "15 degC", "3 L/day", ""},
		{"below", "14.9 degC", "3 L/day", "must be 15 to 30 degC"},
		{"per_day at evaporation", "25 degC", "180 mL/day", ""},
		{"per_day above evaporation", "25 degC", "179.9 mL/day", "tank loses 179 mL/day by evaporation"},
		{"a tenth of the water", "25 degC", "30 L/day", ""},
		{"more than a tenth", "25 degC", "30.1 L/day", "at most a tenth of it a day, 30 L"},
		{"nothing evaporates", "25 degC", "0 mL/day", "out of range"},
	} {
		t.Run(c.name, func(t *testing.T) {
			site, problems, _ := Parse("f", []byte(edit(t, soda, "{limewater: {temperature: "+c.temperature+"}}", degrees, evaporation(c.evaporation))))
			if c.problem != "" {
				if site != nil || len(problems) != 1 || !strings.Contains(problems.String(), c.problem) {
					t.Errorf("problems %v; want %q", problems, c.problem)
				}
				return
			}
			if site == nil {
				t.Fatal(problems)
			}
			checkInvariants(t, site)
			p := supplementOf(t, site, "soda")
			want, err := stock.SaturatedLimewater(p.Limewater.Celsius)
			if err != nil || math.Abs(p.Strength[units.Alkalinity]-want.StrengthDKH) > 1e-9 || !highPH(p.Classes) || !stock.Caustic(p.Classes) {
				t.Errorf("strength %v, contents %v; want %g dKH, %v", p.Strength, p.Classes, want.StrengthDKH, err)
			}
		})
	}
}

// Evaporation far above what is usual is a slip that would loosen a bound.
func TestEvaporationAboveUsualIsSaid(t *testing.T) {
	const degrees = "    temperature: 25 degC\n"
	for _, c := range []struct {
		evaporation string
		warned      bool
	}{{"3 L/day", false}, {"9 L/day", false}, {"9.1 L/day", true}, {"30 L/day", true}} {
		site, problems, warnings := Parse("f", []byte(edit(t, degrees, degrees+"    evaporation: "+c.evaporation+"\n")))
		if site == nil {
			t.Fatal(problems)
		}
		if said := strings.Contains(warnings.String(), "more than 3 % of it a day"); said != c.warned {
			t.Errorf("%s of 300 L: warned %v, want %v", c.evaporation, said, c.warned)
		}
	}
}

// Whether or not a pH probe is there, what raises pH without an interlock is said; what appears late raises none.
func TestH26MissingInterlockIsSaid(t *testing.T) {
	const probe = "  ph: {system: tank, topic: cellar/ph, quantity: pH, range: 6.8..9.0, stale_after: 10m, stuck_after: 12h}\n"
	const lock = "  - {name: ph-high, when: {probe: ph, above: 8.50, for: 2m}, until: {below: 8.40, for: 10m}, block: [alk]}\n"
	const soda = "{solution: {sodium carbonate: 80 g/L}}"
	for _, c := range []struct {
		name  string
		pairs []string
		said  string
	}{
		{"all there", nil, ""},
		{"no interlock", []string{lock, ""}, "channels.alk: soda raises pH, and no interlock on the probe ph blocks it"},
		{"no probe", []string{lock, "", probe, ""}, "channels.alk: soda raises pH, and no pH probe watches tank"},
		{"no probe, bicarbonate", []string{lock, "", probe, "", soda, "{solution: {sodium bicarbonate: 80 g/L}}"}, ""},
		{"no probe, limewater", []string{lock, "", probe, "", soda, "{limewater: {temperature: 25 degC}}", "    temperature: 25 degC\n", "    temperature: 25 degC\n    evaporation: 3 L/day\n"}, "soda raises pH, and no pH probe watches tank"},
		{"no probe, a label", []string{lock, "", probe, "", soda, "{strength: {alkalinity: 1 dKH per mL in 4 L}}"}, "soda raises pH, and no pH probe watches tank"},
		{"no probe, late", []string{lock, "", probe, "", soda, "{solution: {sodium acetate trihydrate: 80 g/L}, appears_over: 24h}"}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := baseSite(t)
			if len(c.pairs) > 0 {
				text = edit(t, c.pairs...)
			}
			site, problems, warnings := Parse("f", []byte(text))
			if site == nil {
				t.Fatal(problems)
			}
			if got := warnings.String(); c.said != "" && !strings.Contains(got, c.said) || c.said == "" && strings.Contains(got, "raises pH") {
				t.Errorf("want %q in\n%s", c.said, got)
			}
		})
	}
}
