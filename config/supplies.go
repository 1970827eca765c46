package config

import (
	"fmt"
	"strings"
	"time"

	"aliquot/planner/stock"
	"aliquot/planner/units"
	"aliquot/safety"

	"gopkg.in/yaml.v3"
)

// Bounds of containers. The capacity has no upper bound but that of the type.
const (
	maxCapacity  = 1_000_000 * safety.Millilitre
	maxWarn      = 365 * 24 * time.Hour
	maxHeightMM  = 10_000
	maxTareG     = 1_000_000
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
	solution, strength := m.has("solution"), m.has("strength")
	switch {
	case solution && strength:
		m.refuse("strength", "solution says what was dissolved", "a supplement has either solution or strength")
	case solution:
		readSolution(m.items["solution"], &s)
	case strength:
		readClaims(m.items["strength"], &s)
	default:
		e.problem("neither solution nor strength", "must have one of them", "name the salts with their g/L, or what the label claims")
	}
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

func readContainer(e entry) Container {
	c := Container{ID: e.name, At: e.at}
	m, ok := e.open()
	if !ok {
		return c
	}
	take(m, "supplement", &c.Supplement, readText)
	take(m, "capacity", &c.Capacity, volume(10*safety.Millilitre, maxCapacity))
	take(m, "warn", &c.Warn, duration(time.Hour, maxWarn))
	take(m, "stop", &c.Stop, volume(safety.Millilitre, maxCapacity))
	var height float64
	if take(m, "top_to_outlet", &height, measure(units.ParseLength, -maxHeightMM, maxHeightMM, "mm")) {
		c.TopToOutletMM = &height
	}
	if v, ok := m.get("level"); ok {
		c.Level = readLevel(v)
	}
	if c.Capacity > 0 && c.Stop >= c.Capacity {
		e.r.at(e.path+".stop", fmt.Sprintf("stop is %v, capacity is %v", c.Stop, c.Capacity), "stop must be below capacity", "nothing could ever be dosed from it")
	}
	return c
}

// readLevel reads a scale or level sensor. A scale needs to know what of the weight is solution.
func readLevel(v value) *Level {
	l := &Level{}
	m, ok := v.open()
	if !ok {
		return l
	}
	take(m, "topic", &l.Topic, readTopic)
	take(m, "path", &l.Path, readJSONPath)
	if !take(m, "unit", &l.Unit, readWord("g", "kg", "mL", "L")) {
		return l
	}
	if l.Unit == "mL" || l.Unit == "L" {
		m.refuse("tare", "unit is "+l.Unit, "a volume has no tare")
		m.refuse("density", "unit is "+l.Unit, "a volume needs no density")
		return l
	}
	for _, key := range []string{"tare", "density"} {
		if !m.has(key) {
			m.missing(key)
		}
	}
	take(m, "tare", &l.TareG, measure(units.ParseMass, 0, maxTareG, "g"))
	take(m, "density", &l.DensityKgPerL, measure(units.ParseDensity, 0.7, 2.0, "kg/L"))
	return l
}
