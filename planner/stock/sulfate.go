package stock

import (
	"fmt"
	"math"
)

// poorSulfates are the sulfates that fall out of mixed solutions: the product of both ions, (mol/L)², up to which
// pure water at 25 °C keeps them. Gypsum: 0.0152 mol/kg (W. L. Marshall, R. Slusher 1966, J. Phys. Chem. 70:4015-4027).
// Strontium sulfate: solubility product 3.44e-7 (CRC Handbook of Chemistry and Physics, 91st ed.).
var poorSulfates = []struct {
	element, name string
	product       float64
}{
	{"Ca", "gypsum", 0.0152 * 0.0152},
	{"Sr", "strontium sulfate", 3.44e-7},
}

// brineMost: salts raise the product; gypsum dissolves up to about four times as well in strong brines. So below the
// product in pure water nothing precipitates, and sixteen times above it everything does. Own choice in between.
const brineMost = 16.0

// sulfateNotes compares calcium × sulfate and strontium × sulfate of a recipe with what stays dissolved, one sentence
// for each pair that the recipe holds. Unknown salts add nothing.
func sulfateNotes(parts []Part) []string {
	found := map[string]float64{} // mol/L
	for _, p := range parts {
		s, err := Lookup(p.Salt)
		if err != nil {
			continue
		}
		atoms, err := atomsOf(s.Formula)
		if err != nil {
			continue
		}
		for _, symbol := range []string{"Ca", "Sr", "S"} {
			found[symbol] += p.pure() / s.MolarMass * float64(atoms[symbol])
		}
	}
	var list []string
	for _, x := range poorSulfates {
		ratio := found[x.element] * found["S"] / x.product
		switch {
		case !(ratio > 0) || math.IsInf(ratio, 0):
		case ratio <= 1:
			list = append(list, fmt.Sprintf("%s stays dissolved: the product of its ions is %.2g of what pure water holds", x.name, ratio))
		case ratio <= brineMost:
			list = append(list, fmt.Sprintf("%s may precipitate: the product of its ions is %.2g times what pure water holds; brine holds more", x.name, ratio))
		default:
			list = append(list, fmt.Sprintf("%s precipitates: the product of its ions is %.2g times what pure water holds; use two containers", x.name, ratio))
		}
	}
	return list
}
