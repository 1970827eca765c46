package topics

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"aliquot/bridge/machine"
)

// Picture puts a site together again from its retained topics, as somebody sees it who has only the broker. It never
// fills in what was not said. The zero Picture with its Layout knows nothing.
type Picture struct {
	Layout       Layout
	Availability string    // Online, Offline, or empty: the service never spoke here
	Sign         time.Time // the service's newest sign of life, by its own clock; zero: none is known
	LastPlan     time.Time // from a heartbeat; zero: none was heard
	about        *aboutPayload
	site         *sitePayload

	systems    parts[machine.SystemView]
	quantities parts[machine.QuantityView]
	channels   parts[machine.ChannelView]
	containers parts[machine.ContainerView]
	probes     parts[machine.ProbeView]
	nodes      parts[machine.NodeView]
	interlocks parts[machine.InterlockView]
	alerts     parts[machine.AlertView]
}

// parts are the things of one kind by the levels of their topics behind it.
type parts[T any] map[string]T

func (p *parts[T]) take(id string, payload []byte) error {
	if len(payload) == 0 {
		delete(*p, id)
		return nil
	}
	var v T
	if err := json.Unmarshal(payload, &v); err != nil {
		return err
	}
	if *p == nil {
		*p = parts[T]{}
	}
	(*p)[id] = v
	return nil
}

// list gives the things that about names, in its order; without it all that were heard of, by name.
func (p parts[T]) list(named []string, known bool) []T {
	out := []T{}
	if !known {
		for id := range p {
			named = append(named, id)
		}
		slices.Sort(named)
	}
	for _, id := range named {
		if v, ok := p[id]; ok {
			out = append(out, v)
		}
	}
	return out
}

// PictureFilters gives what has to be subscribed to for a Picture. QoS 0 is enough for somebody who looks: the connection
// loses nothing while it stands, and a new one brings everything retained again. Some brokers also number their own QoS 1
// messages so that they collide with a subscription that is still under way.
func (l Layout) PictureFilters() []Filter {
	return []Filter{{l.Availability(), 0}, {l.About(), 0}, {l.Owner(), 0}, {l.Beat(), 0}, {l.Root() + "/state/#", 0}, {l.Root() + "/alert/+", 0}}
}

// Take adds what a topic says. It gives false for a topic that is none of a picture; an error about a payload that cannot
// be read, which changes nothing.
func (p *Picture) Take(topic string, payload []byte) (ours bool, err error) {
	rest, ours := strings.CutPrefix(topic, p.Layout.Root()+"/")
	if !ours {
		return false, nil
	}
	kind, id, _ := strings.Cut(rest, "/")
	switch kind {
	case "availability":
		p.Availability = string(payload)
	case "about":
		err = takeOne(&p.about, payload)
	case "owner":
		err = p.takeOwner(payload)
	case "beat":
		err = p.takeBeat(payload)
	case "alert":
		err = p.alerts.take(id, payload)
	case "state":
		ours, err = p.takeState(id, payload)
	default:
		return false, nil
	}
	if err != nil {
		err = fmt.Errorf("%s cannot be read: %w", topic, err)
	}
	return ours, err
}

func (p *Picture) takeState(rest string, payload []byte) (ours bool, err error) {
	kind, id, _ := strings.Cut(rest, "/")
	switch kind {
	case "site":
		err = takeOne(&p.site, payload)
	case "system":
		err = p.systems.take(id, payload)
	case "quantity":
		err = p.quantities.take(id, payload)
	case "channel":
		err = p.channels.take(id, payload)
	case "container":
		err = p.containers.take(id, payload)
	case "probe":
		err = p.probes.take(id, payload)
	case "node":
		err = p.nodes.take(id, payload)
	case "interlock":
		err = p.interlocks.take(id, payload)
	default:
		return false, nil
	}
	return true, err
}

// takeOne reads what there is one of.
func takeOne[T any](into **T, payload []byte) error {
	if len(payload) == 0 {
		*into = nil
		return nil
	}
	var v T
	if err := json.Unmarshal(payload, &v); err != nil {
		return err
	}
	*into = &v
	return nil
}

// takeOwner notes when the owner record was renewed: the service does so at every heartbeat.
func (p *Picture) takeOwner(payload []byte) error {
	seen, err := ParseOwner(payload)
	if err != nil || seen.Gone {
		return err
	}
	p.alive(seen.At)
	return nil
}

func (p *Picture) takeBeat(payload []byte) error {
	var b machine.BeatView
	if err := json.Unmarshal(payload, &b); err != nil {
		return err
	}
	p.alive(b.At)
	if b.LastPlan != nil {
		p.LastPlan = *b.LastPlan
	}
	return nil
}

func (p *Picture) alive(at time.Time) {
	if at.After(p.Sign) {
		p.Sign = at
	}
}

// Complete says whether everything has been heard that about names. Alerts are not named there.
func (p *Picture) Complete() bool {
	if p.about == nil || p.site == nil || p.Availability == "" {
		return false
	}
	a := p.about
	return has(p.systems, a.Systems) && has(p.quantities, a.Quantities) && has(p.channels, a.Channels) &&
		has(p.containers, a.Containers) && has(p.probes, a.Probes) && has(p.nodes, a.Nodes) && has(p.interlocks, a.Interlocks)
}

func has[T any](p parts[T], named []string) bool {
	for _, id := range named {
		if _, ok := p[id]; !ok {
			return false
		}
	}
	return true
}

// View is the site as far as it was heard. At is the newest sign of life. NextTick and LedgerRows are on no retained topic
// and stay empty.
func (p *Picture) View() machine.SiteView {
	a, known := aboutPayload{Site: p.Layout.Site}, p.about != nil
	if known {
		a = *p.about
	}
	v := machine.SiteView{At: p.Sign, Site: a.Site, Version: a.Version, Why: []machine.BlockView{},
		Systems: p.systems.list(a.Systems, known), Quantities: p.quantities.list(a.Quantities, known), Channels: p.channels.list(a.Channels, known),
		Containers: p.containers.list(a.Containers, known), Probes: p.probes.list(a.Probes, known), Nodes: p.nodes.list(a.Nodes, known),
		Interlocks: p.interlocks.list(a.Interlocks, known), Alerts: p.alerts.list(nil, false)}
	if p.site != nil {
		v.Ready, v.Why, v.HoldUntil = p.site.Ready, p.site.Why, p.site.HoldUntil
	}
	if !p.LastPlan.IsZero() {
		at := p.LastPlan
		v.LastPlan = &at
	}
	return v
}
