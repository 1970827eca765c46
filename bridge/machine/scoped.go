package machine

import (
	"maps"
	"slices"
)

// scoped finds in a list of what stands or holds the entries that speak of a thing. They are few, until something befalls a
// whole farm: then there is one for each channel.
type scoped struct {
	all []position           // of those that name nothing
	of  map[Scope][]position // by each name that they have
}

// scopesOf is the index of a list.
func scopesOf[T any](list []T, scope func(T) Scope) scoped {
	var x scoped
	for i := range list {
		x.add(scope(list[i]), i)
	}
	return x
}

// add notes the entry that is put behind all others.
func (x *scoped) add(c Scope, i int) {
	names := c.names()
	if len(names) == 0 {
		x.all = append(x.all, position(i))
		return
	}
	if x.of == nil {
		x.of = map[Scope][]position{}
	}
	for _, one := range names {
		x.of[one] = append(x.of[one], position(i))
	}
}

// names takes a scope apart into one for each thing that it names.
func (c Scope) names() []Scope {
	var out []Scope
	for _, one := range []Scope{{Channel: c.Channel}, {System: c.System}, {Interlock: c.Interlock}, {Supply: c.Supply}} {
		if one != (Scope{}) {
			out = append(out, one)
		}
	}
	return out
}

// like gives the entries among which those of exactly this scope are.
func (x *scoped) like(c Scope) []position {
	if names := c.names(); len(names) > 0 {
		return x.of[names[0]]
	}
	return x.all
}

// over gives the entries among which those are that cover a channel, in the order of the list.
func (x *scoped) over(c *channelState) []position {
	if len(x.of) == 0 {
		return x.all
	}
	out := x.all
	for _, one := range []Scope{{Channel: c.cfg.ID}, {System: c.cfg.System}, {Supply: c.cfg.Supply}} {
		if at := x.of[one]; len(at) > 0 {
			out = slices.Concat(out, at)
		}
	}
	if len(out) > len(x.all) {
		slices.Sort(out)
		out = slices.Compact(out)
	}
	return out
}

// clone is an independent copy.
func (x *scoped) clone() scoped {
	c := scoped{all: slices.Clone(x.all), of: maps.Clone(x.of)}
	for one := range c.of {
		c.of[one] = slices.Clone(c.of[one])
	}
	return c
}

func (k standing) scope() Scope { return k.Scope }
func (h hold) scope() Scope     { return h.Scope }
