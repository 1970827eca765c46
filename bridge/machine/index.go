package machine

import (
	"slices"

	"aliquot/planner/units"
)

// index finds things by name, and what belongs together. It is built once and only looked up: whatever is asked for each
// channel at each step must not look at every other one, or a farm costs the square of its size.
type index struct {
	channel, container, system, node, probe, interlock, supplement map[string]int

	// of channels, in their order
	into   map[string][]int // by system
	from   map[string][]int // by container
	on     map[string][]int // by node
	output map[nodeOutput]int

	probes map[string][]int // by system
	pairs  [][2]int         // of probes
	blocks map[string][]int // the interlocks that block a channel
	apart  map[string][]int // the groups that a channel is kept apart in
}

// nodeOutput is what a node switches.
type nodeOutput struct {
	node   string
	number int
}

// position is a place in a list of the state. Maps of it change with the state, unlike those of the index.
type position int

func newIndex(site *Site) *index {
	x := &index{channel: map[string]int{}, container: map[string]int{}, system: map[string]int{}, node: map[string]int{},
		probe: map[string]int{}, interlock: map[string]int{}, supplement: map[string]int{},
		into: map[string][]int{}, from: map[string][]int{}, on: map[string][]int{}, output: map[nodeOutput]int{},
		probes: map[string][]int{}, blocks: map[string][]int{}, apart: map[string][]int{}}
	for i := range site.Channels {
		x.addChannel(i, &site.Channels[i])
	}
	for i, c := range site.Containers {
		x.container[c.ID] = i
	}
	for i, c := range site.Systems {
		x.system[c.ID] = i
	}
	for i, n := range site.Nodes {
		x.node[n.ID] = i
	}
	for i, p := range site.Probes {
		x.probe[p.ID] = i
		x.probes[p.System] = append(x.probes[p.System], i)
	}
	x.pairs = x.pairsOf(site.Probes)
	for i, l := range site.Interlocks {
		x.interlock[l.Name] = i
		addOnce(x.blocks, l.Block, i)
	}
	for i, a := range site.KeepApart {
		addOnce(x.apart, a.Channels, i)
	}
	for i, p := range site.Supplements {
		x.supplement[p.ID] = i
	}
	return x
}

// pairsOf are the probes that are held against each other: those of pH in one water.
func (x *index) pairsOf(probes []Probe) (pairs [][2]int) {
	for i, p := range probes {
		if p.Quantity != units.PH || p.System == "" {
			continue
		}
		for _, j := range x.probes[p.System] {
			if j < i && probes[j].Quantity == units.PH {
				pairs = append(pairs, [2]int{j, i})
			}
		}
	}
	return pairs
}

func (x *index) addChannel(i int, c *Channel) {
	x.channel[c.ID] = i
	x.into[c.System] = append(x.into[c.System], i)
	x.from[c.Container] = append(x.from[c.Container], i)
	x.on[c.Node] = append(x.on[c.Node], i)
	if _, taken := x.output[nodeOutput{c.Node, c.Output}]; !taken {
		x.output[nodeOutput{c.Node, c.Output}] = i
	}
}

// addOnce notes i with every name; a name that stands twice in one list counts once.
func addOnce(m map[string][]int, names []string, i int) {
	for _, name := range names {
		if !slices.Contains(m[name], i) {
			m[name] = append(m[name], i)
		}
	}
}

func (s *State) channel(id string) *channelState {
	if i, ok := s.index.channel[id]; ok {
		return &s.channels[i]
	}
	return nil
}

func (s *State) container(id string) *containerState {
	if i, ok := s.index.container[id]; ok {
		return &s.contents[i]
	}
	return nil
}

func (s *State) system(id string) *systemState {
	if i, ok := s.index.system[id]; ok {
		return &s.systems[i]
	}
	return nil
}

func (s *State) node(id string) *nodeState {
	if i, ok := s.index.node[id]; ok {
		return &s.nodes[i]
	}
	return nil
}

func (s *State) probe(id string) *probeState {
	if i, ok := s.index.probe[id]; ok {
		return &s.probes[i]
	}
	return nil
}

func (s *State) supplement(id string) *Supplement {
	if i, ok := s.index.supplement[id]; ok {
		return &s.site.Supplements[i]
	}
	return nil
}
