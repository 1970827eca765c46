package discovery

import (
	"encoding/json"
	"strings"

	"aliquot/bridge/machine"
	"aliquot/bridge/topics"
	"aliquot/planner/units"
)

// Entry is a test that can be entered on the dashboard, in the unit that the keeper uses.
type Entry struct {
	System   string
	Quantity units.Quantity
	Unit     string // one of units.UnitNames, or another spelling of it
}

// Announcer makes the announcements of one site.
type Announcer struct {
	Prefix  string // the topic below which dashboards look, such as homeassistant
	Layout  topics.Layout
	Version string
	Entries []Entry
}

// Birth is the topic on which a dashboard says that it has started.
func (a Announcer) Birth() string { return a.Prefix + "/status" }

// IsBirth says whether a message on Birth means that the dashboard has started, and may have missed something.
func (a Announcer) IsBirth(payload []byte) bool { return string(payload) == "online" }

// Announce gives the announcement of every entity of a site, in a stable order: site, systems, channels, containers,
// probes, nodes. It uses the names in the view and nothing that changes while a site runs, so that the same configuration is
// announced by the same bytes.
func (a Announcer) Announce(v machine.SiteView) []topics.Message {
	var out []topics.Message
	for _, e := range a.entities(v) {
		payload, err := json.Marshal(e.config)
		if err != nil {
			panic("discovery: " + err.Error()) // texts and finite numbers: it cannot
		}
		out = append(out, topics.Message{Topic: a.topic(e), Payload: payload, QoS: 1, Retained: true})
	}
	return out
}

func (a Announcer) entities(v machine.SiteView) []entity {
	b := builder{a: a}
	b.site(v)
	for _, y := range v.Systems {
		b.system(y, v.Quantities)
	}
	for _, c := range v.Channels {
		b.channel(c)
	}
	for _, k := range v.Containers {
		b.container(k)
	}
	for _, p := range v.Probes {
		b.probe(p)
	}
	for _, n := range v.Nodes {
		b.node(n)
	}
	return b.all
}

// nodeID is one for the whole site, so that a broker's access rule can name it.
func (a Announcer) nodeID() string { return word(a.Layout.Prefix) + "_" + word(a.Layout.Site) }

func (a Announcer) topic(e entity) string {
	return strings.Join([]string{a.Prefix, string(e.component), a.nodeID(), e.object, "config"}, "/")
}

// word keeps what an id of an entity may have: letters, digits, - and _. Names of the configuration come through
// unchanged, but for the few quantities that are not lower case.
func word(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '-', r == '_':
			return r
		}
		return '_'
	}, s)
}
