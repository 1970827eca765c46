package config

import (
	"math"
	"testing"

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
