package config

import (
	"fmt"

	"aliquot/planner"
	"aliquot/planner/units"
	"aliquot/safety"
)

// pump is one channel together with all that it refers to. Parts that do not exist, or could not be read, are
// nil; every check does what it can with the rest.
type pump struct {
	*Channel
	path      string
	system    *System
	container *Container
	stock     *Supplement
	node      *Node
}

// plant is a site with its names resolved.
type plant struct {
	*reader
	site  *Site
	pumps []pump
}

// relate checks what must hold between entries: first that names exist, then figures against each other.
func (r *reader) relate(s *Site) {
	p := plant{reader: r, site: s}
	p.resolve()
	p.shareCourses()
	for _, c := range p.pumps {
		p.checkDemand(c)
		p.checkLimits(c)
		p.checkTimes(c)
		p.checkAttended(c)
		p.checkAutoOff(c)
		p.checkShift(c)
		p.checkPlumbing(c)
		p.checkNeed(c)
		p.checkSlots(c)
		p.checkCourse(c)
	}
	p.checkOutputs()
	p.checkTopics()
	p.checkApart()
	p.checkInterlocks()
	p.checkTargets()
	p.checkLimewater()
	p.checkPorts()
	p.warnOfWhole()
}

// resolve finds what every name refers to and reports names of nothing.
func (p *plant) resolve() {
	s := p.site
	supplements := p.lookup("supplement", "supplements", ids(s.Supplements, func(x Supplement) string { return x.ID }))
	containers := p.lookup("container", "containers", ids(s.Containers, func(x Container) string { return x.ID }))
	systems := p.lookup("system", "systems", ids(s.Systems, func(x System) string { return x.ID }))
	nodes := p.lookup("node", "nodes", ids(s.Nodes, func(x Node) string { return x.ID }))
	channels := p.lookup("channel", "channels", ids(s.Channels, func(x Channel) string { return x.ID }))

	for _, c := range s.Containers {
		supplements.find(childPath("containers."+c.ID, "supplement"), c.Supplement)
	}
	for _, b := range s.Probes {
		systems.find(childPath("probes."+b.ID, "system"), b.System)
	}
	for i := range s.Channels {
		c := &s.Channels[i]
		path := "channels." + c.ID
		m := pump{Channel: c, path: path}
		if i, ok := systems.find(path+".system", c.System); ok {
			m.system = &s.Systems[i]
		}
		if i, ok := nodes.find(path+".node", c.Node); ok {
			m.node = &s.Nodes[i]
		}
		if i, ok := containers.find(path+".container", c.Container); ok {
			m.container = &s.Containers[i]
			if i, ok := supplements.index[m.container.Supplement]; ok {
				m.stock = &s.Supplements[i]
			}
		}
		channels.find(path+".share.of", c.ShareOf)
		p.pumps = append(p.pumps, m)
	}
	p.resolveSupplies(nodes)
	for _, l := range s.Interlocks {
		p.findAll(channels, p.place(l.path+".block"), l.path+".block", l.Block)
	}
	p.resolveApart(channels)
}

// resolveSupplies finds the supply relays of nodes. One that feeds nothing would be thought to guard something.
func (p *plant) resolveSupplies(nodes lookup) {
	s, feeds := p.site, map[string]bool{}
	for _, n := range s.Nodes {
		path := "nodes." + n.ID + ".supply"
		if i, ok := nodes.find(path, n.Supply); ok && s.Nodes[i].Style != Supply {
			p.at(path, fmt.Sprintf("the node %s has style %s", n.Supply, s.Nodes[i].Style), "must have style supply", "")
		}
		feeds[n.Supply] = true
	}
	for _, m := range p.pumps {
		if m.node != nil && m.node.Style == Supply {
			p.at(m.path+".node", fmt.Sprintf("the node %s is a supply relay", m.node.ID), "must drive a pump: style bounded-run or switch", "name the pump's node here, and the relay as supply of that node")
		}
	}
	for _, n := range s.Nodes {
		if n.Style != Supply {
			continue
		}
		if !feeds[n.ID] {
			p.at("nodes."+n.ID, "no node names it as its supply", "a supply relay must feed at least one node", "add supply: "+n.ID+" to the nodes whose pumps it feeds, or remove it")
		}
		for _, l := range s.Interlocks {
			if l.Name == n.ID {
				p.at(l.path+".name", "the supply relay "+n.ID+" has the same name", "they must differ: both are cleared by name", "")
			}
		}
	}
}

// resolveApart drops pairs that name no channel.
func (p *plant) resolveApart(channels lookup) {
	kept := p.site.KeepApart[:0]
	for _, pair := range p.site.KeepApart {
		if p.findAll(channels, p.place(pair.path+".channels"), pair.path+".channels", []string{pair.A, pair.B}) {
			kept = append(kept, pair)
		}
	}
	p.site.KeepApart = kept
}

// lookup finds entries of one section by name.
type lookup struct {
	*reader
	kind  string
	names []string
	index map[string]int
	skip  bool // the section is missing, which is reported elsewhere
}

func (p *plant) lookup(kind, section string, names []string) lookup {
	l := lookup{reader: p.reader, kind: kind, names: names, index: map[string]int{}}
	for i, n := range names {
		l.index[n] = i
	}
	_, there := p.places[section]
	l.skip = !there
	return l
}

// find gives the index of a name; an unknown one is reported at path. An empty name was reported before.
func (l lookup) find(path, name string) (int, bool) {
	i, ok := l.index[name]
	if !ok && name != "" && !l.skip {
		l.at(path, unknownName(l.kind, name), knownNames(l.names), didYouMean(name, l.names))
	}
	return i, ok
}

// findAll reports each unknown name of a list at one place.
func (p *plant) findAll(l lookup, at Pos, path string, names []string) bool {
	all := true
	for _, n := range names {
		if _, ok := l.index[n]; !ok {
			all = false
			if !l.skip {
				p.problem(at, path, unknownName(l.kind, n), knownNames(l.names), didYouMean(n, l.names))
			}
		}
	}
	return all
}

func unknownName(kind, name string) string { return fmt.Sprintf("there is no %s %q", kind, clip(name)) }

func knownNames(names []string) string {
	if len(names) == 0 {
		return "none is declared"
	}
	return "declared: " + joined(names)
}

func ids[T any](list []T, id func(T) string) []string {
	out := make([]string, len(list))
	for i, x := range list {
		out[i] = id(x)
	}
	return out
}

// pump finds a channel by name.
func (p *plant) pump(id string) (pump, bool) {
	for _, c := range p.pumps {
		if c.ID == id {
			return c, true
		}
	}
	return pump{}, false
}

// effect is how much v of a channel's supplement moves q in its system, canonical unit; false if that is not
// known.
func (c pump) effect(q units.Quantity, v safety.Microlitres) (float64, bool) {
	if c.stock == nil || c.stock.Strength == nil || c.system == nil || !(c.system.NetLitres > 0) {
		return 0, false
	}
	return v.Millilitres() * c.stock.Strength[q] / c.system.NetLitres, true
}

// moved lists the quantities that a channel's supplement moves, in the fixed order of units.
func (c pump) moved() []units.Quantity {
	var list []units.Quantity
	if c.stock == nil {
		return nil
	}
	for _, q := range units.Quantities() {
		if c.stock.Strength[q] != 0 {
			list = append(list, q)
		}
	}
	return list
}

// worstRun is the most that one run of volume v may move before tolerance: v, or for a relay with a fixed
// on-time all that the pump moves in it.
func (c pump) worstRun(v safety.Microlitres) safety.Microlitres {
	if c.node != nil && c.node.AutoOff > 0 && c.NominalRate > 0 {
		return max(v, c.NominalRate.VolumeIn(safety.MillisecondsUp(c.node.AutoOff)))
	}
	return v
}

// longestRun is the time that one run may take.
func (c pump) longestRun() safety.Milliseconds {
	if c.node != nil && c.node.AutoOff > 0 {
		return max(c.Limits.RunTime, safety.MillisecondsUp(c.node.AutoOff))
	}
	return c.Limits.RunTime
}

// need is the daily volume that is known in advance, mL: a fixed one, a base, or a share of either; planned
// says that runs of that size are what will be planned, rather than a fallback.
func (p *plant) need(c pump, depth int) (ml float64, words string, planned, ok bool) {
	switch {
	case depth > len(p.pumps):
		return 0, "", false, false // a circle, reported elsewhere
	case c.Mode == planner.Fixed:
		return c.FixedPerDay, "fixed is " + num(c.FixedPerDay) + " mL/day", true, c.FixedPerDay > 0
	case c.Mode == planner.Follow && c.Base != nil:
		return c.Base.Millilitres(), "base is " + num(c.Base.Millilitres()) + " mL/day", false, *c.Base > 0
	case c.Mode == planner.Share:
		of, found := p.pump(c.ShareOf)
		if !found || !(c.ShareRatio > 0) {
			return 0, "", false, false
		}
		ml, _, planned, ok = p.need(of, depth+1)
		ml *= c.ShareRatio
		return ml, fmt.Sprintf("share is %s × %s = %s mL/day", num(c.ShareRatio), c.ShareOf, num(ml)), planned, ok
	}
	return 0, "", false, false
}
