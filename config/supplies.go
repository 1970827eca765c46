package config

import (
	"strings"

	"aliquot/planner/stock"
	"aliquot/planner/units"

	"gopkg.in/yaml.v3"
)

// Bounds of solutions.
const (
	maxSaltGPerL = 1500
	leastPurity  = 1 // %, as planner/stock has it
)

func joined(list []string) string { return strings.Join(list, ", ") }

func readSupplement(e entry) Supplement {
	s := Supplement{ID: e.name, At: e.at}
	m, ok := e.open()
	if !ok {
		return s
	}
	kinds := []struct {
		key, says string
		read      func(value, *Supplement)
	}{
		{"solution", "says what was dissolved", readSolution},
		{"strength", "says what it does", readClaims},
		{"limewater", "says what it is", readLimewater},
	}
	first := ""
	for _, k := range kinds {
		switch {
		case !m.has(k.key):
		case first == "":
			first = k.key + " " + k.says
			k.read(m.items[k.key], &s)
		default:
			m.refuse(k.key, first, "a supplement has one of solution, strength and limewater")
		}
	}
	if first == "" {
		e.problem("none of solution, strength and limewater", "must have one of them", "name the salts with their g/L, or what the label claims")
	}
	readAppears(m, &s)
	return s
}

// readSolution reads a recipe and works out what it does.
func readSolution(v value, s *Supplement) {
	m, ok := v.open()
	if !ok {
		return
	}
	whole := true
	for _, name := range m.names {
		item := m.items[name]
		if _, err := stock.Lookup(name); err != nil {
			item.problem(err.Error(), "", "")
			whole = false
			continue
		}
		salt, ok := readSalt(name, item)
		if !ok {
			whole = false
			continue
		}
		s.Solution = append(s.Solution, salt)
	}
	if !whole {
		return
	}
	strength, err := stock.StrengthOf(s.Parts())
	if err != nil {
		v.problem(err.Error(), "", "")
		return
	}
	s.Strength, s.Classes = strength, stock.Classes(s.Parts())
}

// readSalt reads how much of a salt was weighed in: plain, or a mapping that says its purity too.
func readSalt(name string, v value) (Salt, bool) {
	salt, amount := Salt{Name: name, Purity: 1}, measure(units.ParseSaltConcentration, 0.001, maxSaltGPerL, "g/L")
	if v.y.Kind != yaml.MappingNode {
		g, ok := amount(v)
		salt.GPerL = g
		return salt, ok
	}
	m, ok := v.open()
	if !ok {
		return salt, false
	}
	ok = take(m, "amount", &salt.GPerL, amount)
	percent := 100.0
	if m.has("purity") && !take(m, "purity", &percent, measure(units.ParsePercent, leastPurity, 100, "%")) {
		return salt, false
	}
	salt.Purity = percent / 100
	return salt, ok
}

// readClaims reads what a label says.
func readClaims(v value, s *Supplement) {
	m, ok := v.open()
	if !ok {
		return
	}
	if len(m.names) == 0 {
		v.problem("no quantity is claimed", "must name at least one", "")
	}
	strength := map[units.Quantity]float64{}
	var claimed []units.Quantity
	for _, name := range m.names {
		item := m.items[name]
		q, ok := entry{name, item}.quantityKey()
		if !ok {
			continue
		}
		text, ok := readLine(item)
		if !ok {
			continue
		}
		x, err := stock.ParseClaim(q, text)
		if err != nil {
			item.problem(err.Error(), "", "")
			continue
		}
		s.Claims = append(s.Claims, Claim{q, text})
		claimed = append(claimed, q)
		strength[q] = x
	}
	if len(claimed) == len(m.names) && len(claimed) > 0 {
		s.Strength, s.Classes = strength, stock.ClassesOfClaim(claimed)
	}
}
