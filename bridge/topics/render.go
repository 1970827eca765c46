package topics

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"aliquot/bridge/machine"
)

// Availability payloads.
const (
	Online  = "online"
	Offline = "offline"
)

// Birth says that the service is connected; it is sent whenever a connection is usable.
func (l Layout) Birth() Message { return Message{l.Availability(), []byte(Online), 1, true} }

// Will says that it is not; it is the connection's will, and is sent before an orderly end too.
func (l Layout) Will() Message { return Message{l.Availability(), []byte(Offline), 1, true} }

// Render gives everything that is retained about the state of a site, in a stable order: the site, systems, quantities,
// channels, containers, probes, nodes, interlocks, alerts. A view that cannot be rendered, since a number in it is
// not finite, is left out and named in the error; the others stand.
func (l Layout) Render(v machine.SiteView) ([]Message, error) {
	b := builder{}
	b.state(l.State("site"), siteState(v))
	for _, x := range v.Systems {
		x.Withheld = notNil(x.Withheld)
		b.state(l.State("system", x.ID), x)
	}
	for _, x := range v.Quantities {
		x.Advice = notNil(x.Advice)
		b.state(l.State("quantity", x.System, x.Quantity), x)
	}
	for _, x := range v.Channels {
		x.Withheld = notNil(x.Withheld)
		b.state(l.State("channel", x.ID), x)
	}
	for _, x := range v.Containers {
		b.state(l.State("container", x.ID), x)
	}
	for _, x := range v.Probes {
		b.state(l.State("probe", x.ID), x)
	}
	for _, x := range v.Nodes {
		b.state(l.State("node", x.ID), x)
	}
	for _, x := range v.Interlocks {
		b.state(l.State("interlock", x.Name), x)
	}
	for _, x := range v.Alerts {
		b.add(l.RenderAlert(x), nil)
	}
	return b.all, errors.Join(b.bad...)
}

// sitePayload is the site as a whole.
type sitePayload struct {
	Site      string              `json:"site"`
	Ready     bool                `json:"ready"`
	Why       []machine.BlockView `json:"why"`
	HoldUntil *time.Time          `json:"hold_until"`
	Problem   bool                `json:"problem"` // an alert is raised that is more than a note
	Critical  int                 `json:"critical"`
	Warnings  int                 `json:"warnings"`
	Notes     int                 `json:"notes"`
	Alerts    []string            `json:"alerts"` // "name: text", the worst first
}

func siteState(v machine.SiteView) sitePayload {
	p := sitePayload{Site: v.Site, Ready: v.Ready, Why: notNil(v.Why), HoldUntil: v.HoldUntil, Alerts: []string{}}
	for _, level := range []struct {
		name  string
		count *int
	}{{machine.Critical, &p.Critical}, {machine.Warning, &p.Warnings}, {machine.Notice, &p.Notes}} {
		for _, a := range v.Alerts {
			if a.Raised && a.Level == level.name {
				*level.count++
				p.Alerts = append(p.Alerts, a.Name+": "+a.Text)
			}
		}
	}
	p.Problem = p.Critical+p.Warnings > 0
	return p
}

type builder struct {
	all []Message
	bad []error
}

func (b *builder) state(topic string, view any) {
	payload, err := json.Marshal(view)
	if err != nil {
		err = fmt.Errorf("rendering %s: %w", topic, err)
	}
	b.add(Message{topic, payload, 1, true}, err)
}

func (b *builder) add(m Message, err error) {
	if err != nil {
		b.bad = append(b.bad, err)
		return
	}
	b.all = append(b.all, m)
}

func notNil[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return s
}

// RenderAlert gives an alert's retained message; a cleared alert has an empty payload, which removes the topic.
func (l Layout) RenderAlert(a machine.AlertView) Message {
	m := Message{Topic: l.Alert(a.Name), QoS: 1, Retained: true}
	if a.Raised {
		m.Payload = mustMarshal(a)
	}
	return m
}

// mustMarshal renders values of texts, times and flags, which cannot fail: a number that is not finite is all
// that could, and there is none.
func mustMarshal(v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		panic("topics: " + err.Error())
	}
	return b
}

// aboutPayload is what there is, by name.
type aboutPayload struct {
	Schema     int      `json:"schema"`
	Version    string   `json:"version"`
	Site       string   `json:"site"`
	Systems    []string `json:"systems"`
	Quantities []string `json:"quantities"` // system/quantity
	Channels   []string `json:"channels"`
	Containers []string `json:"containers"`
	Probes     []string `json:"probes"`
	Nodes      []string `json:"nodes"`
	Interlocks []string `json:"interlocks"`
	Verbs      []string `json:"verbs"`
}

// RenderAbout says what the site has and which requests are taken.
func (l Layout) RenderAbout(v machine.SiteView) Message {
	a := aboutPayload{Schema: Schema, Version: v.Version, Site: v.Site,
		Systems:    names(v.Systems, func(x machine.SystemView) string { return x.ID }),
		Quantities: names(v.Quantities, func(x machine.QuantityView) string { return x.System + "/" + x.Quantity }),
		Channels:   names(v.Channels, func(x machine.ChannelView) string { return x.ID }),
		Containers: names(v.Containers, func(x machine.ContainerView) string { return x.ID }),
		Probes:     names(v.Probes, func(x machine.ProbeView) string { return x.ID }),
		Nodes:      names(v.Nodes, func(x machine.NodeView) string { return x.ID }),
		Interlocks: names(v.Interlocks, func(x machine.InterlockView) string { return x.Name }),
		Verbs:      names(machine.Verbs(), func(x machine.Verb) string { return string(x) }),
	}
	return Message{l.About(), mustMarshal(a), 1, true}
}

func names[T any](list []T, name func(T) string) []string {
	out := make([]string, 0, len(list))
	for _, x := range list {
		out = append(out, name(x))
	}
	return out
}

// RenderBeat gives the heartbeat. It is not retained: an old one would look like a living service to whoever
// subscribes late.
func (l Layout) RenderBeat(b machine.BeatView) Message {
	b.Withheld = notNil(b.Withheld)
	if !(b.UptimeSeconds >= 0) {
		b.UptimeSeconds = 0
	}
	return Message{l.Beat(), mustMarshal(b), 1, false}
}

type answerPayload struct {
	Ref    string          `json:"ref"`
	Verb   string          `json:"verb"`
	OK     bool            `json:"ok"`
	Code   string          `json:"code"`
	Text   string          `json:"text"`
	Result json.RawMessage `json:"result"`
}

// RenderAnswer gives the answer to a request. Result is null where there is nothing to tell.
func (l Layout) RenderAnswer(a machine.Answered) Message {
	p := answerPayload{Ref: a.Ref, Verb: a.Verb, OK: a.OK, Code: string(a.Code), Text: a.Text, Result: json.RawMessage("null")}
	switch {
	case json.Valid([]byte(a.Result)):
		p.Result = json.RawMessage(a.Result)
	case a.Result != "":
		p.Result = mustMarshal(a.Result) // an answer goes out whatever its result looks like
	}
	return Message{l.Answer(), mustMarshal(p), 1, false}
}

type problemPayload struct {
	Topic string  `json:"topic"`
	Code  string  `json:"code"`
	Text  string  `json:"text"`
	Ref   *string `json:"ref"`
}

// RenderProblem says what was wrong with a message. Topic and text are shortened: a stranger may have chosen them.
func (l Layout) RenderProblem(p machine.Problem) Message {
	const mostTopic, mostText = 256, 1024
	out := problemPayload{Topic: cut(p.Topic, mostTopic), Code: string(p.Code), Text: cut(p.Text, mostText)}
	if p.Ref != "" {
		ref := cut(p.Ref, maxRef)
		out.Ref = &ref
	}
	return Message{l.Problem(), mustMarshal(out), 1, false}
}

func cut(s string, most int) string {
	if r := []rune(s); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return s
}

type eventPayload struct {
	EventType string          `json:"event_type"`
	At        json.RawMessage `json:"at"`
	Data      any             `json:"data"`
}

// RenderEvent says that something happened. It is not retained: a retained event would happen again for every
// new subscriber. The error is about data that is no JSON, such as a number that is not finite.
func (l Layout) RenderEvent(h machine.Happened) (Message, error) {
	b, err := json.Marshal(eventPayload{EventType: h.Kind, At: mustMarshal(h.At.UTC()), Data: h.Data})
	if err != nil {
		return Message{}, fmt.Errorf("rendering event %s: %w", h.Kind, err)
	}
	return Message{l.Event(h.Kind), b, 1, false}, nil
}
