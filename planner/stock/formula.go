package stock

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"aliquot/planner/units"
)

// MolarMass sums the atomic weights of a chemical formula in g/mol. Groups stand in parentheses, water of
// crystallisation behind a point, a raised dot or an asterisk: Ca(OH)2, CaCl2.6H2O, Na2CO3·10H2O, MgSO4*7H2O.
func MolarMass(formula string) (float64, error) {
	found, err := atomsOf(formula)
	if err != nil {
		return 0, err
	}
	return massOf(found), nil
}

// massOf adds in the order of the symbols, so that the last digit is always the same.
func massOf(found map[string]int) float64 {
	symbols := make([]string, 0, len(found))
	for s := range found {
		symbols = append(symbols, s)
	}
	slices.Sort(symbols)
	total := 0.0
	for _, s := range symbols {
		weight, _ := units.AtomicWeight(s)
		total += weight * float64(found[s])
	}
	return total
}

// plain writes a formula with ASCII digits and a point before its waters.
var plain = strings.NewReplacer("·", ".", "•", ".", "∙", ".", "⋅", ".", "*", ".", " . ", ".", " · ", ".", " * ", ".",
	"₀", "0", "₁", "1", "₂", "2", "₃", "3", "₄", "4", "₅", "5", "₆", "6", "₇", "7", "₈", "8", "₉", "9")

// atomsOf counts the atoms of a formula by symbol; there is at least one.
func atomsOf(formula string) (map[string]int, error) {
	all := map[string]int{}
	for _, part := range strings.Split(plain.Replace(formula), ".") {
		count, rest := leadingCount(part)
		p := formulaReader{text: rest}
		one, err := p.group(0)
		if err != nil {
			return nil, fmt.Errorf("formula %q: %w", clip(formula), err)
		}
		if p.at != len(p.text) || len(one) == 0 || count == 0 {
			return nil, fmt.Errorf("formula %q: cannot be read from %q on", clip(formula), clip(p.text[p.at:]))
		}
		addAtoms(all, one, count)
	}
	return all, nil
}

func addAtoms(to, from map[string]int, times int) {
	for s, n := range from {
		if n*times > 0 {
			to[s] += n * times
		}
	}
}

type formulaReader struct {
	text string
	at   int
}

// group reads elements and nested groups up to a closing parenthesis or the end.
func (p *formulaReader) group(depth int) (map[string]int, error) {
	found := map[string]int{}
	for p.at < len(p.text) && p.text[p.at] != ')' {
		one, err := p.member(depth)
		if err != nil {
			return nil, err
		}
		count, rest := leadingCount(p.text[p.at:])
		p.at = len(p.text) - len(rest)
		addAtoms(found, one, count)
	}
	return found, nil
}

func (p *formulaReader) member(depth int) (map[string]int, error) {
	if p.text[p.at] != '(' {
		return p.element()
	}
	if depth >= 2 {
		return nil, fmt.Errorf("groups are nested too deeply")
	}
	p.at++
	found, err := p.group(depth + 1)
	if err != nil {
		return nil, err
	}
	if p.at >= len(p.text) {
		return nil, fmt.Errorf("a closing parenthesis is missing")
	}
	p.at++
	return found, nil
}

func (p *formulaReader) element() (map[string]int, error) {
	end := p.at + 1
	if end < len(p.text) && p.text[end] >= 'a' && p.text[end] <= 'z' {
		end++
	}
	symbol := p.text[p.at:end]
	if _, ok := units.AtomicWeight(symbol); !ok {
		return nil, fmt.Errorf("%q is no element known here", symbol)
	}
	p.at = end
	return map[string]int{symbol: 1}, nil
}

// leadingCount reads a count of at most three digits, 1 if there is none.
func leadingCount(s string) (count int, rest string) {
	i := 0
	for i < len(s) && i < 3 && s[i] >= '0' && s[i] <= '9' {
		count = count*10 + int(s[i]-'0')
		i++
	}
	if i == 0 {
		return 1, s
	}
	return count, s[i:]
}

// waterOf splits a formula into the atoms of the dry salt and its moles of water: CaCl2.2H2O gives those of CaCl2
// and 2. Only a last part of H2O behind a point counts as water of crystallisation.
func waterOf(formula string) (dry map[string]int, waters int, err error) {
	text := plain.Replace(strings.TrimSpace(formula))
	if head, tail, ok := cutLast(text, "."); ok {
		count, rest := leadingCount(strings.TrimSpace(tail))
		if rest == "H2O" || rest == "(H2O)" {
			text, waters = strings.TrimSpace(head), count
		}
	}
	dry, err = atomsOf(text)
	return dry, waters, err
}

func cutLast(s, sep string) (before, after string, found bool) {
	if i := strings.LastIndex(s, sep); i >= 0 {
		return s[:i], s[i+len(sep):], true
	}
	return s, "", false
}

// molar gives the molar mass of a formula of this package's own tables, all of which the tests read.
func molar(formula string) float64 {
	mass, err := MolarMass(formula)
	if err != nil {
		return math.NaN()
	}
	return mass
}
