package stock

import (
	"fmt"
	"time"

	"aliquot/planner/units"
)

// Largest figures that a person may ask a recipe for: beyond these a unit slipped.
const (
	litresOfStockMost  = 1000
	litresOfSystemMost = 20_000
	mlPerDayMost       = 100_000
)

// Rise gives what ml of a solution of this strength changes in so many litres of water, in canonical units, in the
// order of units.Quantities. Volumes must be above 0.
func Rise(strength map[units.Quantity]float64, ml, litres float64) ([]Change, error) {
	if err := above(ml, mlPerDayMost, "a dose", "mL"); err != nil {
		return nil, err
	}
	if err := above(litres, litresOfSystemMost, "a system", "L"); err != nil {
		return nil, err
	}
	var list []Change
	for _, q := range units.Quantities() {
		if s, ok := strength[q]; ok {
			list = append(list, Change{q, s * ml / litres})
		}
	}
	return list, nil
}

// Change is a difference of a level in the quantity's canonical unit.
type Change struct {
	Quantity units.Quantity
	By       float64
}

func above(v, most float64, what, unit string) error {
	if !(v > 0 && v <= most) {
		return fmt.Errorf("%s of %g %s is not above 0 and at most %g %s", what, v, unit, most, unit)
	}
	return nil
}

// GramsPerLitreFor is StrengthOf backwards for one salt: the grams to weigh for each litre of solution of which 1 mL
// changes 1 L by strength (canonical unit). Purity as in Part.
func GramsPerLitreFor(salt string, purity float64, q units.Quantity, strength float64) (float64, error) {
	one, err := StrengthOf([]Part{{Salt: salt, GramsPerLitre: 1, Purity: purity}})
	if err != nil {
		return 0, err
	}
	if !(one[q] > 0) {
		return 0, fmt.Errorf("%s brings no %s", salt, q)
	}
	grams := strength / one[q]
	if !(strength > 0 && grams > 0 && grams <= gramsMost) {
		return 0, fmt.Errorf("a strength of %g %s takes %.4g g/L of %s; allowed is above 0 and at most %d g/L", strength, q.Unit(), grams, salt, gramsMost)
	}
	return grams, nil
}

// GramsPerLitreForRise gives the grams for each litre of solution of which mlPerDay raise a system of so many litres of
// water by risePerDay (canonical unit).
func GramsPerLitreForRise(salt string, purity float64, q units.Quantity, risePerDay, mlPerDay, systemLitres float64) (float64, error) {
	if err := above(mlPerDay, mlPerDayMost, "a daily dose", "mL"); err != nil {
		return 0, err
	}
	if err := above(systemLitres, litresOfSystemMost, "a system", "L"); err != nil {
		return 0, err
	}
	return GramsPerLitreFor(salt, purity, q, risePerDay*systemLitres/mlPerDay)
}

// Recipe is everything that a person who mixes a solution needs to know.
type Recipe struct {
	Solution Solution
	Litres   float64   // of finished solution
	Grams    []float64 // to weigh, in the order of Solution
	Strength map[units.Quantity]float64
	// AppearsOver is the longest of the parts: see Salt.
	AppearsOver time.Duration
	Dissolving  Dissolving
	Cautions    []string
	Notes       []string
}

// RecipeOf works out a solution of so many litres, dissolved and kept at celsius (15..30). It refuses what StrengthOf
// refuses, and what does not dissolve.
func RecipeOf(parts []Part, litres, celsius float64) (Recipe, error) {
	if err := above(litres, litresOfStockMost, "a batch", "L"); err != nil {
		return Recipe{}, err
	}
	strength, err := StrengthOf(parts)
	if err != nil {
		return Recipe{}, err
	}
	d, err := Dissolve(parts, celsius)
	if err != nil {
		return Recipe{}, err
	}
	if d.Verdict == DoesNotDissolve {
		return Recipe{}, fmt.Errorf("the solution does not dissolve: %s", d.Worst().Steps)
	}
	r := Recipe{Solution: append(Solution(nil), parts...), Litres: litres, Strength: strength, Dissolving: d, Cautions: mixingCautions(parts)}
	for _, p := range parts {
		s, err := Lookup(p.Salt)
		if err != nil {
			return Recipe{}, err
		}
		r.Grams = append(r.Grams, p.GramsPerLitre*litres)
		r.AppearsOver = max(r.AppearsOver, s.AppearsOver)
		if s.Note != "" {
			r.Notes = append(r.Notes, s.Name+": "+s.Note)
		}
		if forms := formsText(s); forms != "" {
			r.Notes = append(r.Notes, forms)
		}
	}
	return r, nil
}

// formsText tells the factors between the forms of a salt, so that a look at the jar settles the matter (H-33).
func formsText(s Salt) string {
	forms, err := Forms(s.Name)
	if err != nil || len(forms) < 2 {
		return ""
	}
	text := "1 g of " + s.Name + " is as much as"
	for _, f := range forms {
		if f.Salt.Name != s.Name {
			text += fmt.Sprintf(" %.3f g of %s,", f.Grams, f.Salt.Name)
		}
	}
	return text[:len(text)-1] + ": look at the jar"
}

// mixingCautions adds what holds for every concentrated solution to the salts' own cautions (H-45).
func mixingCautions(parts []Part) []string {
	list := append(Cautions(parts), "add the salt to water a little at a time, stir until it is clear, let it cool before closing; label the container with content, strength and date")
	return append(list, sulfateNotes(parts)...)
}
