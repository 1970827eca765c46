package config

import (
	"fmt"

	"aliquot/planner/units"
	"aliquot/safety"
)

// levelUnits are what a level sensor may read in.
var levelUnits = []string{"g", "kg", "mL", "L", "mm", "cm", "%", "switch"}

const minTable, maxTable = 2, 100

// readLevel reads a scale, level sensor or float switch. Each kind has keys of its own; those of another are refused.
func readLevel(v value) *Level {
	l := &Level{}
	m, ok := v.open()
	if !ok {
		return l
	}
	take(m, "topic", &l.Topic, readTopic)
	take(m, "path", &l.Path, readJSONPath)
	if !take(m, "unit", &l.Unit, readWord(levelUnits...)) {
		return l
	}
	own := map[string]bool{}
	for _, key := range l.ownKeys() {
		own[key] = true
		if !m.has(key) {
			m.missing(key)
		}
	}
	for _, other := range []struct{ key, meaning string }{{"tare", "it belongs to g and kg"}, {"density", "it belongs to g and kg"},
		{"table", "it belongs to mm and cm"}, {"low", "it belongs to switch"}, {"enough", "it belongs to switch"}, {"mark", "it belongs to switch"}} {
		if !own[other.key] {
			m.refuse(other.key, "unit is "+l.Unit, other.meaning)
		}
	}
	switch l.Unit {
	case "g", "kg":
		take(m, "tare", &l.TareG, measure(units.ParseMass, 0, maxTareG, "g"))
		take(m, "density", &l.DensityKgPerL, measure(units.ParseDensity, 0.7, 2.0, "kg/L"))
	case "mm", "cm":
		l.Table = readLevelTable(m)
	case "switch":
		take(m, "low", &l.Low, readLine)
		take(m, "enough", &l.Enough, readLine)
		m.differ("low", "enough", l.Low, l.Enough)
		take(m, "mark", &l.Mark, volume(safety.Millilitre, maxCapacity))
	}
	return l
}

// ownKeys are the keys that a sensor of this unit must have besides its topic.
func (l *Level) ownKeys() []string {
	switch l.Unit {
	case "g", "kg":
		return []string{"tare", "density"}
	case "mm", "cm":
		return []string{"table"}
	case "switch":
		return []string{"low", "enough", "mark"}
	}
	return nil
}

// readLevelTable reads what a container holds at some heights, or at some distances from a sensor above the liquid. A
// table that goes up and down again could not be read backwards.
func readLevelTable(m mapping) []LevelAt {
	v, ok := m.get("table")
	if !ok {
		return nil
	}
	rows := readListed(m, "table", func(v value) (LevelAt, bool) {
		var row LevelAt
		r, ok := v.open()
		if !ok {
			return row, false
		}
		for _, key := range []string{"at", "holds"} {
			ok = ok && r.has(key)
			if !r.has(key) {
				r.missing(key)
			}
		}
		ok = take(r, "at", &row.MM, measure(units.ParseLength, 0, maxHeightMM, "mm")) && ok
		return row, take(r, "holds", &row.Holds, volume(0, maxCapacity)) && ok
	})
	if len(rows) < minTable || len(rows) > maxTable {
		v.problem(fmt.Sprintf("found %d good entries", len(rows)), fmt.Sprintf("a table needs %d to %d", minTable, maxTable), "measure it: pour in a known volume and note the reading")
		return rows
	}
	rises := rows[1].Holds > rows[0].Holds
	for i := 1; i < len(rows); i++ {
		a, b := rows[i-1], rows[i]
		if !(b.MM > a.MM) || b.Holds == a.Holds || (b.Holds > a.Holds) != rises {
			v.problem(fmt.Sprintf("entry %d is %s mm with %v, after %s mm with %v", i+1, num(b.MM), b.Holds, num(a.MM), a.Holds),
				"`at` must rise from entry to entry, and `holds` must rise with it or, for a sensor above the liquid, fall", "")
			break
		}
	}
	return rows
}

// tableOver is how much more than its capacity a table may say that a container holds, percent: the rim.
const tableOver = 10

// checkLevel compares a sensor with its container.
func checkLevel(e entry, c Container) {
	l := c.Level
	if l == nil || c.Capacity == 0 {
		return
	}
	if l.Mark >= c.Capacity {
		e.r.at(e.path+".level.mark", fmt.Sprintf("mark is %v, capacity is %v", l.Mark, c.Capacity), "mark must be below capacity", "say what the container holds when the float switch trips")
	}
	for i, row := range l.Table {
		if row.Holds > c.Capacity+c.Capacity*tableOver/100 {
			e.r.at(fmt.Sprintf("%s.level.table[%d].holds", e.path, i), fmt.Sprintf("it holds %v, capacity is %v", row.Holds, c.Capacity), fmt.Sprintf("must be at most %d %% above capacity", tableOver), "")
		}
	}
}
