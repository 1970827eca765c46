package config

import (
	"fmt"
	"regexp"
	"slices"
	"time"

	"aliquot/safety"
)

// keysOfStyle are the keys that belong to one style: required, then optional ones.
var keysOfStyle = map[Style][2][]string{
	BoundedRun: {{"run", "stop", "report"}, {"supply"}},
	Switch:     {{"command", "on", "off", "state"}, {"auto_off", "supply"}},
	Supply:     {{"command", "off", "state"}, nil},
}

var styles = []Style{BoundedRun, Switch, Supply}

// timeInTemplate finds a template action that gives the run's time.
var timeInTemplate = regexp.MustCompile(`\{\{[^{}]*\.(Seconds|Millis)\b[^{}]*\}\}`)

// outputInTemplate finds a template action that tells outputs apart.
var outputInTemplate = regexp.MustCompile(`\{\{[^{}]*\.Output\b[^{}]*\}\}`)

func readNode(e entry) Node {
	n := Node{ID: e.name, At: e.at}
	m, ok := e.open()
	if !ok {
		return n
	}
	readOnline(m, &n.Online)
	if !take(m, "style", &n.Style, readWord(styles...)) {
		return n
	}
	m.keysFit(n.Style)
	take(m, "supply", &n.Supply, readName)
	switch n.Style {
	case BoundedRun:
		take(m, "run", &n.Run, readTopicTemplate)
		take(m, "stop", &n.Stop, readTopicTemplate)
		take(m, "report", &n.Report, readTopicTemplate)
	case Switch:
		readSwitch(m, &n)
	case Supply:
		readRelay(m, &n, readTopic)
	}
	return n
}

// keysFit reports keys of the other styles and missing ones of this.
func (m mapping) keysFit(style Style) {
	mine := slices.Concat(keysOfStyle[style][0], keysOfStyle[style][1])
	refused := map[string]bool{}
	for _, other := range styles {
		for _, key := range slices.Concat(keysOfStyle[other][0], keysOfStyle[other][1]) {
			if !slices.Contains(mine, key) && !refused[key] {
				refused[key] = true
				m.refuse(key, "style is "+string(style), key+" belongs to style "+string(other))
			}
		}
	}
	for _, key := range keysOfStyle[style][0] {
		if !m.has(key) {
			m.missing(key)
		}
	}
}

// readRelay reads what a switch and a supply relay have in common. A supply relay is one output, so that its topics are
// plain.
func readRelay(m mapping, n *Node, topic func(value) (string, bool)) {
	take(m, "command", &n.Command, topic)
	take(m, "off", &n.Off, readText)
	if v, ok := m.get("state"); ok {
		if s, ok := v.open(); ok {
			take(s, "topic", &n.State.Topic, topic)
			take(s, "path", &n.State.Path, readJSONPath)
			take(s, "on", &n.State.On, readLine)
			take(s, "off", &n.State.Off, readLine)
			s.differ("on", "off", n.State.On, n.State.Off)
		}
	}
}

func readSwitch(m mapping, n *Node) {
	readRelay(m, n, readTopicTemplate)
	take(m, "on", &n.On, readText)
	take(m, "auto_off", &n.AutoOff, duration(time.Second, safety.RunMax.Duration()))
	if n.On != "" && !m.has("auto_off") && !timeInTemplate.MatchString(n.On) {
		m.r.at(m.path+".on", "the on payload carries no time and there is no auto_off",
			"a relay must end each run by itself", "put {{.Seconds}} or {{.Millis}} into on, or add auto_off with the time fixed inside the relay")
	}
	m.differ("on", "off", n.On, n.Off)
}

// differ reports two texts that must tell things apart and do not.
func (m mapping) differ(a, b, x, y string) {
	if x != "" && x == y {
		m.r.at(m.path+"."+b, fmt.Sprintf("%s and %s are both %q", a, b, clip(x)), "they must differ", "")
	}
}

func readOnline(m mapping, o *Online) {
	v, ok := m.get("online")
	if !ok {
		return
	}
	n, ok := v.open()
	if !ok {
		return
	}
	take(n, "topic", &o.Topic, readTopic)
	take(n, "up", &o.Up, readLine)
	take(n, "down", &o.Down, readLine)
	take(n, "every", &o.Every, duration(time.Second, time.Hour))
	n.differ("up", "down", o.Up, o.Down)
}
