package stock

import (
	"fmt"

	"aliquot/planner/units"
)

// Part is one salt of a recipe.
type Part struct {
	Salt          string  // a name or formula that Lookup knows
	GramsPerLitre float64 // as weighed, in one litre of finished solution, above 0
	// Purity is the share of the weighed grams that is this salt, above 0 and at most 1; 0 stands for 1.
	Purity float64
}

// pure gives the grams of the salt itself in one litre.
func (p Part) pure() float64 {
	if p.Purity == 0 {
		return p.GramsPerLitre
	}
	return p.GramsPerLitre * p.Purity
}

// Solution is a recipe: what is in one litre of a stock solution.
type Solution []Part

// gramsMost bounds all salts of a recipe together, g/L: more than the heaviest solution of these salts holds.
const gramsMost = 1500

// StrengthOf gives what 1 mL of the solution does to 1 L of water, per quantity in its canonical unit. Sodium
// carbonate at 80 g/L gives 4.23 dKH of alkalinity. It refuses unknown, ambiguous or repeated salts, impossible
// amounts, and recipes whose parts precipitate each other: their strength is not what was weighed in.
func StrengthOf(parts []Part) (map[units.Quantity]float64, error) {
	if len(parts) == 0 {
		return nil, fmt.Errorf("the solution has no salt; name at least one with its g/L")
	}
	salts, err := checkParts(parts)
	if err != nil {
		return nil, err
	}
	strength := make(map[units.Quantity]float64)
	for i, s := range salts {
		moles := parts[i].pure() / s.MolarMass // mol/L, which is mmol in 1 mL
		if s.AlkEquivalents != 0 {
			alk, err := units.ToCanonical(units.Alkalinity, moles*s.AlkEquivalents, "meq/L")
			if err != nil {
				return nil, err
			}
			strength[units.Alkalinity] += alk
		}
		for _, ion := range s.Ions {
			level, err := units.ToCanonical(ion.Quantity, moles*ion.PerMole, "mmol/L")
			if err != nil {
				return nil, err
			}
			strength[ion.Quantity] += level
		}
	}
	return strength, nil
}

// checkParts looks up every salt and judges the recipe as a whole.
func checkParts(parts []Part) ([]Salt, error) {
	salts := make([]Salt, len(parts))
	total := 0.0
	for i, p := range parts {
		s, err := Lookup(p.Salt)
		if err != nil {
			return nil, err
		}
		if !(p.GramsPerLitre > 0 && p.GramsPerLitre <= gramsMost) {
			return nil, fmt.Errorf("%s: %g g/L is not above 0 and at most %d g/L", s.Name, p.GramsPerLitre, gramsMost)
		}
		if !(p.Purity == 0 || p.Purity >= 0.01 && p.Purity <= 1) {
			return nil, fmt.Errorf("%s: a purity of %g is outside 0.01..1; 0.97 is 97 %%", s.Name, p.Purity)
		}
		for _, earlier := range salts[:i] {
			if earlier.Name == s.Name {
				return nil, fmt.Errorf("%s is named twice; add the amounts up", s.Name)
			}
			if reason, bad := Incompatible(earlier.Classes, s.Classes); bad {
				return nil, fmt.Errorf("%s and %s cannot be in one solution: %s", earlier.Name, s.Name, reason)
			}
		}
		salts[i] = s
		total += p.GramsPerLitre
	}
	if !(total <= gramsMost) {
		return nil, fmt.Errorf("the solution holds %g g/L of salts, at most %d g/L is possible", total, gramsMost)
	}
	return salts, nil
}

// Cautions gives what a person who mixes, refills or primes this solution must be told (H-45), one sentence
// for each salt that has one, in the order of the recipe. Unknown salts add nothing.
func Cautions(parts []Part) []string {
	var list []string
	for _, p := range parts {
		if s, err := Lookup(p.Salt); err == nil && s.Caution != "" {
			list = append(list, s.Name+": "+s.Caution)
		}
	}
	if c := Classes(parts); has(c, Sulfate) && (has(c, CalciumSalt) || has(c, Lime) || has(c, Strontium)) {
		list = append(list, "sulfate with calcium or strontium in one solution may precipitate: only dilute solutions stay clear")
	}
	return list
}

// Caustic says whether a solution burns: its refill needs an extra confirmation (H-45).
func Caustic(classes []Class) bool { return has(classes, Hydroxide) || has(classes, Lime) }
