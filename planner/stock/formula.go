package stock

import (
	"fmt"
	"strings"

	"aliquot/planner/units"
)

// MolarMass sums the atomic weights of a chemical formula in g/mol. Groups stand in parentheses, water of
// crystallisation behind a point: Ca(OH)2, CaCl2.6H2O.
func MolarMass(formula string) (float64, error) {
	total := 0.0
	for _, part := range strings.Split(formula, ".") {
		count, rest := leadingCount(part)
		p := formulaReader{text: rest}
		mass, err := p.group(0)
		if err != nil {
			return 0, fmt.Errorf("formula %q: %w", formula, err)
		}
		if p.at != len(p.text) || mass == 0 {
			return 0, fmt.Errorf("formula %q: cannot be read from %q on", formula, p.text[p.at:])
		}
		total += float64(count) * mass
	}
	return total, nil
}

type formulaReader struct {
	text string
	at   int
}

// group reads elements and nested groups up to a closing parenthesis or the end.
func (p *formulaReader) group(depth int) (float64, error) {
	mass := 0.0
	for p.at < len(p.text) && p.text[p.at] != ')' {
		one, err := p.member(depth)
		if err != nil {
			return 0, err
		}
		count, rest := leadingCount(p.text[p.at:])
		p.at = len(p.text) - len(rest)
		mass += one * float64(count)
	}
	return mass, nil
}

func (p *formulaReader) member(depth int) (float64, error) {
	if p.text[p.at] != '(' {
		return p.element()
	}
	if depth >= 2 {
		return 0, fmt.Errorf("groups are nested too deeply")
	}
	p.at++
	mass, err := p.group(depth + 1)
	if err != nil {
		return 0, err
	}
	if p.at >= len(p.text) {
		return 0, fmt.Errorf("a closing parenthesis is missing")
	}
	p.at++
	return mass, nil
}

func (p *formulaReader) element() (float64, error) {
	end := p.at + 1
	if end < len(p.text) && p.text[end] >= 'a' && p.text[end] <= 'z' {
		end++
	}
	symbol := p.text[p.at:end]
	weight, ok := units.AtomicWeight(symbol)
	if !ok {
		return 0, fmt.Errorf("%q is no element known here", symbol)
	}
	p.at = end
	return weight, nil
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
