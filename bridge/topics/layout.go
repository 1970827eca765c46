package topics

import (
	"strings"

	"aliquot/bridge/machine"
)

// Schema is the number of this interface, published in about. New fields do not change it; a field or topic that
// is renamed, moved or means something else does.
const Schema = 1

// Layout names the topics of one site. Prefix and Site are names as the configuration checks them: letters,
// digits, - and _, one topic level each.
type Layout struct{ Prefix, Site string }

// Message is one message to publish.
type Message struct {
	Topic    string
	Payload  []byte
	QoS      byte
	Retained bool
}

// Filter is one subscription.
type Filter struct {
	Topic string
	QoS   byte
}

// Root is the level above all topics of the site, without a slash at its end.
func (l Layout) Root() string { return l.Prefix + "/" + l.Site }

// Availability says whether the service is connected: online or offline.
func (l Layout) Availability() string { return l.Root() + "/availability" }

// About says what the site has.
func (l Layout) About() string { return l.Root() + "/about" }

// Beat is the heartbeat.
func (l Layout) Beat() string { return l.Root() + "/beat" }

// Owner holds the record of the instance that may dose.
func (l Layout) Owner() string { return l.Root() + "/owner" }

// Ask takes requests of one verb.
func (l Layout) Ask(v machine.Verb) string { return l.Root() + "/ask/" + string(v) }

// Answer carries the answers to requests.
func (l Layout) Answer() string { return l.Root() + "/answer" }

// Problem says what was wrong with messages that changed nothing.
func (l Layout) Problem() string { return l.Root() + "/problem" }

// Ping is where the service sends itself a message to see that its connection carries any (H-16).
func (l Layout) Ping() string { return l.Root() + "/ping" }

// Event carries what happened.
func (l Layout) Event(kind string) string { return l.Root() + "/event/" + level(kind) }

// Alert holds one alert while it is raised.
func (l Layout) Alert(name string) string { return l.Root() + "/alert/" + level(name) }

// State holds the state of one thing; ids are the levels below its kind.
func (l Layout) State(kind string, ids ...string) string {
	b := l.Root() + "/state/" + level(kind)
	for _, id := range ids {
		b += "/" + level(id)
	}
	return b
}

// level makes a text one topic level. Names of the configuration come through unchanged; this only keeps a name
// that should not exist from reaching another topic.
func level(s string) string {
	if s == "" {
		return "_"
	}
	return strings.Map(func(r rune) rune {
		if r == '/' || r == '+' || r == '#' || r == '$' || r < ' ' {
			return '_'
		}
		return r
	}, s)
}

// Filters gives what the service subscribes to below its own root. Everything is QoS 1.
func (l Layout) Filters() []Filter {
	return []Filter{{l.Root() + "/ask/+", 1}, {l.Owner(), 1}}
}

// Verb gives the last level of a topic below ask, and false for any other topic.
func (l Layout) Verb(topic string) (string, bool) {
	verb, ok := strings.CutPrefix(topic, l.Root()+"/ask/")
	if !ok || verb == "" || strings.Contains(verb, "/") {
		return "", false
	}
	return verb, true
}
