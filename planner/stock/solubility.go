package stock

import (
	"fmt"
	"maps"
	"math"
)

// Temperatures at which a stock solution is judged, °C.
const (
	roomLeast = 15.0
	roomMost  = 30.0
)

// Shares of saturation at which a recipe warns and is refused. Warning at 80 % is this program's own choice: rooms
// cool down, and weighing errs.
const (
	dissolvesWarn = 0.80
	dissolvesMost = 1.00
)

// Solubility is how much of a dry salt 100 g of water hold at one temperature.
type Solubility struct {
	Celsius float64
	// GramsPer100 is grams of the anhydrous salt for each 100 g of water, all water counted.
	GramsPer100 float64
	// Spread is how far handbooks disagree, as a share of the value; 0.03 unless they are known to be further apart.
	Spread float64
	Solid  string // what lies on the ground at saturation
	Source string
	// Steps says from which values it was worked out.
	Steps string
}

// SolubilityOf gives the handbook solubility of a salt, on the anhydrous basis whatever form is named, from 15 to 30
// °C. Between handbook values it is interpolated along a straight line. Below the lowest it goes on along that
// line, which for these curves errs to the low side; above the highest, a value that rises is held.
func SolubilityOf(salt string, celsius float64) (Solubility, error) {
	s, err := Lookup(salt)
	if err != nil {
		return Solubility{}, err
	}
	return solubilityOf(s, celsius)
}

func solubilityOf(s Salt, celsius float64) (Solubility, error) {
	if !(celsius >= roomLeast && celsius <= roomMost) {
		return Solubility{}, fmt.Errorf("%g degC is outside %g..%g degC, for which solubilities are known here", celsius, roomLeast, roomMost)
	}
	entry, ok := solubilityEntry(s.Formula)
	if !ok {
		return Solubility{}, fmt.Errorf("%s: no handbook value is known here; dissolve a little first", s.Name)
	}
	return entry.at(celsius), nil
}

// solubilityEntry finds the table's row by the dry salt's atoms. Quicklime becomes slaked lime.
func solubilityEntry(formula string) (solubilityRow, bool) {
	if formula == "CaO" {
		formula = "Ca(OH)2"
	}
	dry, _, err := waterOf(formula)
	if err != nil {
		return solubilityRow{}, false
	}
	for _, row := range solubilityTable {
		if found, err := atomsOf(row.dry); err == nil && maps.Equal(found, dry) {
			return row, true
		}
	}
	return solubilityRow{}, false
}

func (r solubilityRow) at(celsius float64) Solubility {
	s := Solubility{Celsius: celsius, Spread: r.spread, Solid: r.solid, Source: r.source}
	last := len(r.points) - 1
	switch {
	case last == 0:
		s.GramsPer100 = r.points[0].grams
		s.Steps = fmt.Sprintf("%g g of %s in 100 g of water at %g degC, the only value", s.GramsPer100, r.dry, r.points[0].celsius)
		return s
	case celsius > r.points[last].celsius && r.points[last].grams >= r.points[last-1].grams:
		s.GramsPer100 = r.points[last].grams
		s.Steps = fmt.Sprintf("%g g of %s in 100 g of water at %g degC, held above that", s.GramsPer100, r.dry, r.points[last].celsius)
		return s
	}
	i := 0
	for i < last-1 && celsius > r.points[i+1].celsius {
		i++
	}
	a, b := r.points[i], r.points[i+1]
	s.GramsPer100 = a.grams + (b.grams-a.grams)*(celsius-a.celsius)/(b.celsius-a.celsius)
	how := "between"
	if celsius < a.celsius || celsius > b.celsius {
		how = "along the line of"
	}
	s.Steps = fmt.Sprintf("%.4g g of %s in 100 g of water at %g degC, %s %g g at %g and %g g at %g degC", s.GramsPer100, r.dry, celsius, how, a.grams, a.celsius, b.grams, b.celsius)
	return s
}

// GramsOfForm gives the grams of a hydrate that 100 g of added water take up, since a hydrate brings water of its own:
// 126 g of calcium chloride dihydrate at 20 °C. It is +Inf where the hydrate melts in its own water.
func (s Solubility) GramsOfForm(form Salt) float64 {
	dryMass := form.MolarMass - float64(form.Waters)*molar("H2O")
	part := s.GramsPer100 / (100 + s.GramsPer100) * form.MolarMass / dryMass
	if !(part < 1) {
		return math.Inf(1)
	}
	return 100 * part / (1 - part)
}

// DissolvingVerdict says whether a recipe dissolves. The zero value is the strict one.
type DissolvingVerdict int

// Verdicts.
const (
	DoesNotDissolve DissolvingVerdict = iota
	DissolvingUnknown
	NearlySaturated
	Dissolves
)

func (v DissolvingVerdict) String() string {
	switch v {
	case Dissolves:
		return "dissolves"
	case NearlySaturated:
		return "nearly saturated"
	case DissolvingUnknown:
		return "unknown"
	}
	return "does not dissolve"
}

// Saturation is how near one salt of a recipe, or all together, is to what its water holds.
type Saturation struct {
	Salt string
	// Share of saturation; 0 if no handbook value is known.
	Share float64
	Steps string
}

// Dissolving is a judgement of a recipe at one temperature.
type Dissolving struct {
	Verdict DissolvingVerdict
	Parts   []Saturation
	// Together is the sum of the shares: salts that share an ion push each other out. It warns, and it refuses where all
	// parts share an element besides C, H and O.
	Together float64
}

// Worst gives the part nearest to saturation.
func (d Dissolving) Worst() Saturation {
	var worst Saturation
	for _, p := range d.Parts {
		if p.Share >= worst.Share {
			worst = p
		}
	}
	return worst
}

// Dissolve judges whether the parts dissolve at celsius (15..30). The water in a litre of solution is taken as what
// the dry salts' own volume leaves of it: dissolved salts take less room than solid ones, so the share of saturation
// is overstated, by up to an eighth for the strongest solutions. Own choice, to the careful side.
func Dissolve(parts []Part, celsius float64) (Dissolving, error) {
	if !(celsius >= roomLeast && celsius <= roomMost) {
		return Dissolving{}, fmt.Errorf("%g degC is outside %g..%g degC, for which solubilities are known here", celsius, roomLeast, roomMost)
	}
	salts, err := checkParts(parts)
	if err != nil {
		return Dissolving{}, err
	}
	dry := make([]float64, len(salts))
	water := 1000.0 // mL
	for i, s := range salts {
		row, _ := solubilityEntry(s.Formula)
		dry[i] = parts[i].pure() / s.MolarMass * row.dryMass(s)
		water -= dry[i] / row.solidDensity()
	}
	d := Dissolving{Verdict: Dissolves}
	for i, s := range salts {
		p := saturationOf(s, dry[i], water*waterKgPerL, celsius)
		d.Parts = append(d.Parts, p)
		d.Together += p.Share
		d.Verdict = min(d.Verdict, verdictOf(p))
	}
	if d.Together > dissolvesMost && len(parts) > 1 && shareElement(salts) {
		d.Verdict = DoesNotDissolve
	} else if d.Together > dissolvesWarn {
		d.Verdict = min(d.Verdict, NearlySaturated)
	}
	return d, nil
}

const waterKgPerL = 0.997 // at 25 °C

func saturationOf(s Salt, dryGrams, waterGrams, celsius float64) Saturation {
	p := Saturation{Salt: s.Name}
	sol, err := solubilityOf(s, celsius)
	switch {
	case err != nil:
		p.Steps = err.Error()
	case !(waterGrams > 0):
		p.Share = dissolvesMost * 10
		p.Steps = s.Name + ": the salts alone fill more than the litre"
	default:
		p.Share = dryGrams / waterGrams * 100 / sol.GramsPer100
		p.Steps = fmt.Sprintf("%s: %.4g g of the dry salt in %.4g g of water, that is %.4g g in 100 g; handbook: %s; %.0f %% of saturation",
			s.Name, dryGrams, waterGrams, dryGrams/waterGrams*100, sol.Steps, p.Share*100)
	}
	return p
}

func verdictOf(p Saturation) DissolvingVerdict {
	switch {
	case p.Share == 0:
		return DissolvingUnknown
	case !(p.Share <= dissolvesMost):
		return DoesNotDissolve
	case p.Share > dissolvesWarn:
		return NearlySaturated
	}
	return Dissolves
}

// shareElement says whether one element besides carbon, hydrogen and oxygen is in every salt.
func shareElement(salts []Salt) bool {
	first, err := atomsOf(salts[0].Formula)
	if err != nil {
		return true
	}
	for symbol := range first {
		if symbol == "C" || symbol == "H" || symbol == "O" {
			continue
		}
		all := true
		for _, s := range salts[1:] {
			found, err := atomsOf(s.Formula)
			all = all && (err != nil || found[symbol] > 0)
		}
		if all {
			return true
		}
	}
	return false
}
