package main

import (
	"context"
	"encoding/json"
	"strings"
	"sync"
	"time"

	"aliquot/bridge/commission"
	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt"
	"aliquot/config"
	"aliquot/planner/units"
	"aliquot/safety"
)

// commissionSetup tells a session what the configuration says of a channel.
func commissionSetup(l loaded, id string, now time.Time) (commission.Setup, error) {
	ch, ok := channelOf(l, id)
	if !ok {
		var names []string
		for _, c := range l.Channels {
			names = append(names, c.ID)
		}
		return commission.Setup{}, fail(exitUsage, "there is no channel %q; there are: %s", id, strings.Join(names, ", "))
	}
	p, _ := contentsOf(l.Site, ch)
	out := channel(ch, l.Zone, p.Strength)
	u := commission.Setup{Channel: ch.ID, System: ch.System, Container: ch.Container, Supplement: p.ID, Node: ch.Node,
		BoreMM: ch.Line.BoreMM, LengthMM: ch.Line.LengthMM, LiftMM: ch.Line.LiftMM, UnderWater: ch.Line.Outlet == config.UnderWater,
		SiphonBreak: ch.Line.SiphonBreak, NominalMLPerMin: ch.NominalRate.MillilitresPerMinute(), PrimeML: out.Line.Prime.Millilitres(),
		AttendedML: ch.Attended.PerRun.Millilitres(), PerRunML: ch.Limits.PerRun.Millilitres(), PerDayML: ch.Limits.PerDay.Millilitres(),
		SmallestML: ch.Limits.SmallestRun.Millilitres(), ToleranceShare: float64(safety.DefaultTolerance) / 1000, Cautions: cautions(p)}
	for _, k := range l.Containers {
		if k.ID == ch.Container {
			u.TopToOutletMM = k.TopToOutletMM
		}
	}
	for _, n := range l.Nodes {
		if n.ID == ch.Node {
			u.Style, u.AutoOff = machine.Style(n.Style), n.AutoOff
		}
	}
	local := now.In(l.Zone)
	u.From = time.Date(local.Year(), local.Month(), local.Day(), 0, 0, 0, 0, l.Zone)
	for _, slot := range out.Calendar.Slots(u.From, u.From.Add(24*time.Hour)) {
		u.Slots = append(u.Slots, slot.At.In(l.Zone))
	}
	u.Effects = effectsAtCap(l, ch, p)
	return u, nil
}

func channelOf(l loaded, id string) (config.Channel, bool) {
	for _, c := range l.Channels {
		if c.ID == id {
			return c, true
		}
	}
	return config.Channel{}, false
}

// effectsAtCap is what a channel does to its system if it gives per_day.
func effectsAtCap(l loaded, ch config.Channel, p config.Supplement) []commission.Effect {
	var out []commission.Effect
	for _, y := range l.Systems {
		if y.ID != ch.System {
			continue
		}
		for _, q := range units.Quantities() {
			if p.Strength[q] == 0 {
				continue
			}
			e := commission.Effect{Quantity: string(q), Unit: q.Unit(), AtCap: ch.Limits.PerDay.Millilitres() * p.Strength[q] / y.NetLitres}
			for _, t := range y.Quantities {
				if t.Quantity == q {
					e.MaxDose, e.MaxRise = t.MaxDose, t.MaxRise
				}
			}
			out = append(out, e)
		}
	}
	return out
}

// watching keeps what the service says of a channel.
type watching struct {
	mu        sync.Mutex
	f         commission.Facts
	has       map[string]bool
	available string
	changed   chan struct{} // something was said
	gone      chan string   // the service, or the broker, went away: which
	topics    map[string]any
	status    string // topic of the availability
}

// stateWait is how long the retained state may take; it is published once a second while it changes.
const stateWait = 5 * time.Second

func newWatching(l loaded, u commission.Setup) *watching {
	w := &watching{has: map[string]bool{}, changed: make(chan struct{}, 1), gone: make(chan string, 1), status: l.layout().Availability()}
	w.topics = map[string]any{
		l.layout().State("channel", u.Channel):     &w.f.Channel,
		l.layout().State("node", u.Node):           &w.f.Node,
		l.layout().State("container", u.Container): &w.f.Container,
	}
	return w
}

// listen adds what is watched to a connection.
func (w *watching) listen(o *mqtt.Options) {
	for topic := range w.topics {
		o.Subscriptions = append(o.Subscriptions, mqtt.Subscription{Filter: topic, QoS: 1})
	}
	o.Subscriptions = append(o.Subscriptions, mqtt.Subscription{Filter: w.status, QoS: 1})
	others := o.OnMessage
	o.OnMessage = func(m mqtt.Message) {
		if !w.take(m) {
			others(m)
		}
	}
	o.OnDown = func(err error) {
		if err != nil {
			notify(w.gone, theBroker)
		}
	}
}

func (w *watching) take(m mqtt.Message) bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	if m.Topic == w.status {
		w.available = string(m.Payload)
		if w.available != "online" {
			notify(w.gone, theService)
		}
	} else if into, ok := w.topics[m.Topic]; !ok {
		return false
	} else if err := decodeAnew(m.Payload, into); err == nil {
		w.has[m.Topic] = true
	}
	notify(w.changed, struct{}{})
	return true
}

// decodeAnew decodes into a value that keeps nothing of what it held.
func decodeAnew(payload []byte, into any) error {
	switch v := into.(type) {
	case *machine.ChannelView:
		*v = machine.ChannelView{}
	case *machine.NodeView:
		*v = machine.NodeView{}
	case *machine.ContainerView:
		*v = machine.ContainerView{}
	}
	return json.Unmarshal(payload, into)
}

func (w *watching) facts() commission.Facts {
	w.mu.Lock()
	defer w.mu.Unlock()
	f := w.f
	f.At = time.Now()
	return f
}

// running says whether the service says that it runs.
func (w *watching) running() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.available == "online"
}

// complete waits until everything was said once.
func (w *watching) complete(ctx context.Context) error {
	late := time.After(stateWait)
	for {
		w.mu.Lock()
		whole, available := len(w.has) == len(w.topics), w.available
		w.mu.Unlock()
		if whole && available == "online" {
			select {
			case <-w.gone: // from before
			default:
			}
			return nil
		}
		select {
		case <-w.changed:
		case <-ctx.Done():
			return fail(exitFailed, "interrupted")
		case <-late:
			if available != "online" {
				return fail(exitNoReply, "the service does not run (%s is %q): start it with aliquot run, then come back", w.status, available)
			}
			return fail(exitNoReply, "the service says nothing of this channel; may this user read %s?", strings.TrimSuffix(w.status, "availability")+"state/#")
		}
	}
}

// settle waits until the state that follows from an answer was said.
func (w *watching) settle() {
	select {
	case <-w.changed: // of before
	default:
	}
	select {
	case <-w.changed:
		time.Sleep(50 * time.Millisecond) // the rest of the same burst
	case <-time.After(1300 * time.Millisecond):
	}
}
