package config

import (
	"fmt"
	"strings"
	"time"

	"aliquot/planner/units"
	"aliquot/safety"
)

// Bounds of probes, gaps and interlocks.
const (
	maxProbeAge  = 30 * time.Minute
	minStuck     = 10 * time.Minute
	maxStuck     = 7 * 24 * time.Hour
	maxGap       = 12 * time.Hour
	maxWhenFor   = time.Hour
	maxUntilFor  = 24 * time.Hour
	maxPHAbove   = safety.PHAlarm
	minPHBetween = 0.05
)

// readApart reads one group and gives every pair of it.
func readApart(v value) ([]Pair, bool) {
	m, ok := v.open()
	if !ok {
		return nil, false
	}
	gap := safety.DefaultGap
	if m.has("gap") && !take(m, "gap", &gap, duration(safety.MinGap, maxGap)) {
		gap = 0 // unknown: the slots are not judged by it
	}
	var names []string
	take(m, "channels", &names, readNames)
	var pairs []Pair
	for i, a := range names {
		for _, b := range names[i+1:] {
			pairs = append(pairs, Pair{A: a, B: b, Gap: gap, At: v.at, path: v.path})
		}
	}
	if m.has("channels") && names != nil && len(pairs) == 0 {
		m.r.at(m.path+".channels", fmt.Sprintf("found %d channel", len(names)), "must be two or more", "")
	}
	return pairs, len(pairs) > 0
}

// readNames reads a list of names, each once.
func readNames(v value) ([]string, bool) {
	items, ok := v.list()
	if !ok {
		return nil, false
	}
	names := []string{}
	seen := map[string]bool{}
	for _, item := range items {
		s, ok := item.text()
		switch {
		case !ok:
		case seen[s]:
			item.problem(fmt.Sprintf("%q is there twice", clip(s)), "", "remove one")
		default:
			seen[s] = true
			names = append(names, s)
		}
	}
	return names, true
}

func readProbe(e entry) Probe {
	p := Probe{ID: e.name, At: e.at, StaleAfter: safety.ProbeAge}
	m, ok := e.open()
	if !ok {
		return p
	}
	take(m, "system", &p.System, readText)
	take(m, "topic", &p.Topic, readTopic)
	take(m, "path", &p.Path, readJSONPath)
	take(m, "stale_after", &p.StaleAfter, duration(time.Second, maxProbeAge))
	take(m, "stuck_after", &p.StuckAfter, duration(minStuck, maxStuck))
	if !take(m, "quantity", &p.Quantity, readProbeQuantity) {
		return p
	}
	if p.Quantity == units.Switch {
		readSwitchProbe(m, &p)
	} else {
		readLevelProbe(m, &p)
	}
	return p
}

func readProbeQuantity(v value) (units.Quantity, bool) { return readWord(units.Quantities()...)(v) }

func readSwitchProbe(m mapping, p *Probe) {
	for _, key := range []string{"unit", "range", "stuck_after", "estimate"} {
		m.refuse(key, "quantity is switch", "a switch is on or off")
	}
	for _, key := range []string{"on", "off"} {
		if !m.has(key) {
			m.missing(key)
		}
	}
	take(m, "on", &p.On, readLine)
	take(m, "off", &p.Off, readLine)
	m.differ("on", "off", p.On, p.Off)
}

func readLevelProbe(m mapping, p *Probe) {
	for _, key := range []string{"on", "off"} {
		m.refuse(key, "quantity is "+string(p.Quantity), key+" belongs to quantity: switch")
	}
	for _, key := range []string{"system", "range"} {
		if !m.has(key) {
			m.missing(key)
		}
	}
	if !m.has("stuck_after") {
		m.r.warn(m.path+".stuck_after", "not declared", "a probe that repeats one value for ever is believed", "")
	}
	var estimate string
	take(m, "estimate", &estimate, readWord("use", "ignore"))
	p.Unheard = estimate == "ignore"
	p.Unit = p.Quantity.Unit()
	if v, ok := m.get("unit"); ok {
		p.Unit = ""
		if s, ok := readLine(v); ok {
			if _, err := units.ToCanonical(p.Quantity, 1, s); err != nil {
				v.unitsProblem(err)
			} else {
				p.Unit = s
			}
		}
	} else if p.Quantity != units.PH {
		m.missing("unit")
	}
	if v, ok := m.get("range"); ok && p.Unit != "" {
		p.Low, p.High, ok = readRange(v)
		if ok {
			v.rangeFits(p)
		}
	}
}

// widest is the widest range that still tells a reading from nonsense, canonical unit; this program's own
// choice.
func widest(q units.Quantity) (low, high float64) {
	switch q {
	case units.PH:
		return 4, 12
	case units.Temperature:
		return 0, 50
	case units.Salinity:
		return 0, 60
	case units.ORP:
		return -1500, 1500
	case units.Alkalinity:
		return 0, 30
	}
	return 0, 2500
}

// rangeFits refuses a range so wide that nothing would be implausible.
func (v value) rangeFits(p *Probe) {
	least, most := widest(p.Quantity)
	low, lerr := units.FromCanonical(p.Quantity, least, p.Unit)
	high, herr := units.FromCanonical(p.Quantity, most, p.Unit)
	if lerr == nil && herr == nil && p.Low >= low && p.High <= high {
		return
	}
	v.problem(fmt.Sprintf("the range is %s to %s", num(p.Low), num(p.High)),
		fmt.Sprintf("for %s it must lie inside %s to %s %s", p.Quantity, num(round3(low)), num(round3(high)), p.Unit), "a reading outside counts as not read: keep it near what a tank can have")
	p.Low, p.High = 0, 0
}

// readRange reads two numbers with two points between them.
func readRange(v value) (low, high float64, ok bool) {
	s, ok := readLine(v)
	if !ok {
		return 0, 0, false
	}
	a, b, found := strings.Cut(s, "..")
	if !found {
		v.problem(fmt.Sprintf("%q is no range", clip(s)), v.wantedType(), "write the lower and the upper number with two points between")
		return 0, 0, false
	}
	low, err := units.ParseNumber(a)
	if err == nil {
		high, err = units.ParseNumber(b)
	}
	if err != nil {
		v.unitsProblem(err)
		return 0, 0, false
	}
	if !(low < high) {
		v.problem(fmt.Sprintf("the range begins at %s and ends at %s", num(low), num(high)), "must rise", "")
		return 0, 0, false
	}
	return low, high, true
}
