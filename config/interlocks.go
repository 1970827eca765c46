package config

import "aliquot/planner/units"

// readInterlock reads one entry of the list. The probes are needed because their quantity says how the numbers
// read.
func readInterlock(v value, probes []Probe) (Interlock, bool) {
	l := Interlock{At: v.at, path: v.path}
	m, ok := v.open()
	if !ok {
		return l, false
	}
	take(m, "name", &l.Name, readName)
	take(m, "latch", &l.Latch, readBool)
	var stale string
	take(m, "stale", &stale, readWord("block", "ignore"))
	l.StaleIgnore = stale == "ignore"
	if b, ok := m.get("block"); ok {
		readBlock(b, &l)
	}
	when, hasWhen := m.openKey("when")
	until, hasUntil := m.openKey("until")
	if hasUntil && l.Latch {
		m.refuse("until", "latch is true", "a latched interlock stays until a person clears it")
		hasUntil = false
	}
	if !hasWhen {
		return l, true
	}
	probe, ok := readWhenProbe(when, &l, probes)
	if !ok {
		return l, true
	}
	whenOK := false
	if l.When, whenOK = readCondition(when, probe, maxWhenFor); !whenOK {
		l.When = Condition{}
	}
	if hasUntil {
		if c, ok := readCondition(until, probe, maxUntilFor); ok {
			l.Until = &c
			m.untilFits(&l, probe)
		}
	} else if !m.has("until") && !l.Latch && probe.Quantity != units.Switch {
		m.r.problem(m.at, m.path+".until", "this key is missing", "must say when it lets go, or latch: true", "")
	}
	return l, true
}

// openKey opens the mapping below a key, false if it is missing or no mapping.
func (m mapping) openKey(key string) (mapping, bool) {
	v, ok := m.get(key)
	if !ok {
		return mapping{}, false
	}
	return v.open()
}

// readBlock reads `all` or a list of channels.
func readBlock(v value, l *Interlock) {
	if v.y.Value == "all" {
		l.BlockAll = true
		return
	}
	names, ok := readNames(v)
	if ok && len(names) == 0 {
		v.problem("no channel is blocked", v.wantedType(), "")
	}
	l.Block = names
}

// readWhenProbe finds the probe of an interlock; false if it cannot be used.
func readWhenProbe(when mapping, l *Interlock, probes []Probe) (Probe, bool) {
	if !take(when, "probe", &l.Probe, readText) {
		return Probe{}, false
	}
	ids := make([]string, len(probes))
	for i, p := range probes {
		if p.ID == l.Probe {
			return p, p.Quantity == units.Switch || p.Unit != "" && p.Low < p.High
		}
		ids[i] = p.ID
	}
	when.items["probe"].problem(unknownName("probe", l.Probe), knownNames(ids), didYouMean(l.Probe, ids))
	return Probe{}, false
}
