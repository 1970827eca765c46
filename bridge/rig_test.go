package bridge

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/robfig/cron/v3"

	"aliquot/bridge/machine"
	"aliquot/bridge/node"
	"aliquot/bridge/topics"
	"aliquot/planner"
	"aliquot/planner/metering"
	"aliquot/planner/units"
	"aliquot/safety"
)

// wire is a recording link. Messages that the service sends to itself come back, as a broker would send them.
type wire struct {
	mu     sync.Mutex
	open   bool
	fail   bool // hands nothing over
	sent   []Message
	notify func(Message)
}

func (w *wire) Open() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.open
}

func (w *wire) Publish(m Message, _ time.Duration) (bool, error) {
	w.mu.Lock()
	if !w.open || w.fail {
		w.mu.Unlock()
		return false, errors.New("not open")
	}
	w.sent = append(w.sent, m)
	notify := w.notify
	w.mu.Unlock()
	if notify != nil {
		notify(m)
	}
	return true, nil
}

func (w *wire) Post(m Message, wait time.Duration) (<-chan struct{}, error) {
	_, err := w.Publish(m, wait)
	return ready, err
}

// on gives the payloads sent to a topic.
func (w *wire) on(topic string) []string {
	w.mu.Lock()
	defer w.mu.Unlock()
	var out []string
	for _, m := range w.sent {
		if m.Topic == topic {
			out = append(out, string(m.Payload))
		}
	}
	return out
}

// book is a ledger in memory that can break.
type book struct {
	mu    sync.Mutex
	rows  []machine.Row
	broke error
	wire  *wire
	// sentBefore is how many messages had left when each reservation was written.
	runsBefore []int
}

func (k *book) Append(rows []machine.Row) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.broke != nil {
		return k.broke
	}
	for _, r := range rows {
		if _, ok := r.Body.(machine.RunReserved); ok {
			k.runsBefore = append(k.runsBefore, len(k.wire.on("pumps/1/run")))
		}
	}
	k.rows = append(k.rows, rows...)
	return nil
}

func (k *book) all() []machine.Row {
	k.mu.Lock()
	defer k.mu.Unlock()
	return append([]machine.Row(nil), k.rows...)
}

func (k *book) count(kind string) int {
	n := 0
	for _, r := range k.all() {
		if r.Body.Kind() == kind {
			n++
		}
	}
	return n
}

type noMetrics struct{ dropped int }

func (*noMetrics) Count(machine.Count)      {}
func (*noMetrics) Observe(machine.SiteView) {}
func (m *noMetrics) Dropped()               { m.dropped++ }

// rig is a bridge in a bubble of virtual time, with one channel that is ready to run.
type rig struct {
	t      *testing.T
	b      *Bridge
	wire   *wire
	book   *book
	log    *bytes.Buffer
	cancel context.CancelFunc
	ended  chan error
	site   *machine.Site
}

func testSite(t *testing.T) *machine.Site {
	t.Helper()
	schedule, err := cron.ParseStandard("30 * * * *")
	if err != nil {
		t.Fatal(err)
	}
	tick, err := cron.ParseStandard("5 * * * *")
	if err != nil {
		t.Fatal(err)
	}
	rate, err := safety.RateFromMillilitresPerMinute(10)
	if err != nil {
		t.Fatal(err)
	}
	base := 24 * safety.Millilitre
	strength := map[units.Quantity]float64{units.Alkalinity: 4}
	return &machine.Site{Name: "shed", Zone: time.UTC, ClockTrust: safety.TrustSynced, Tick: tick,
		Systems: []planner.System{{ID: "tub", Kind: planner.Coral, NetLitres: 200, Targets: []planner.Target{{Quantity: units.Alkalinity,
			Target: 8, Band: 0.5, MaxRise: 0.5, MaxFall: 0.5, Test: planner.TestHabits{SD: 0.15, StaleAfter: 10 * 24 * time.Hour}}}}},
		Supplements: []machine.Supplement{{ID: "soda", Strength: strength}},
		Containers:  []machine.Container{{ID: "can", Supplement: "soda", Capacity: 5000 * safety.Millilitre, Stop: 100 * safety.Millilitre}},
		Nodes:       []machine.Node{{ID: "board", Style: machine.BoundedRun}},
		Channels: []machine.Channel{{Channel: planner.Channel{ID: "alk", System: "tub", Mode: planner.Follow, Quantity: units.Alkalinity, Base: &base,
			Strength: strength, Calendar: planner.Calendar{Schedule: schedule, Zone: time.UTC}, SmallestRun: 300, PerRun: 8 * safety.Millilitre,
			PerDay: 60 * safety.Millilitre, Tolerance: safety.DefaultTolerance},
			Container: "can", Node: "board", Output: 1, NominalRate: rate,
			Limits: safety.Limits{SmallestRun: 300, PerRun: 8 * safety.Millilitre, PerDay: 60 * safety.Millilitre, RunTime: 60_000, Rest: 5 * time.Minute,
				AttendedPerRun: 30 * safety.Millilitre, AttendedPerDay: 300 * safety.Millilitre}}},
	}
}

// commissioned are the rows of a channel that is primed, calibrated and has a full container.
func commissioned(site *machine.Site, at time.Time) []machine.Row {
	full := site.Containers[0].Capacity
	bodies := []machine.Body{machine.Refill{Container: "can", Remaining: &full}, machine.Primed{Channel: "alk"},
		machine.Calibration{Channel: "alk", Trials: []metering.Trial{{Seconds: 60, MeasuredML: 10}}, Rate: site.Channels[0].NominalRate, Tolerance: 50}}
	var rows []machine.Row
	for i, b := range bodies {
		rows = append(rows, machine.Row{Seq: int64(i + 1), At: at, Elapsed: safety.Elapsed(i), Trusted: true, Body: b})
	}
	return rows
}

// withProbes gives the site so many thermometers, t0 on shed/t0 and so on.
func withProbes(o *Options, probes int) {
	site := *o.Site
	for i := range probes {
		id := fmt.Sprintf("t%d", i)
		site.Probes = append(site.Probes, machine.Probe{ID: id, System: "tub", Quantity: units.Temperature, Low: 15, High: 35, StaleAfter: time.Hour})
		o.Probes = append(o.Probes, ProbeInput{ID: id, Topic: "shed/" + id, Quantity: units.Temperature, Unit: "degC"})
	}
	fold := machine.NewFold(&site)
	for _, row := range commissioned(&site, time.Now().Add(-time.Minute)) {
		fold.Add(row)
	}
	o.Site, o.State = &site, fold.State()
}

func startRig(t *testing.T, change func(*Options)) *rig {
	t.Helper()
	site := testSite(t)
	codec, err := node.Compile(node.Spec{ID: "board", Style: machine.BoundedRun, Outputs: []int{1}, Run: "pumps/{{.Output}}/run",
		Stop: "pumps/{{.Output}}/stop", Report: "pumps/{{.Output}}/report", Online: node.Online{Topic: "pumps/online", Up: "1", Down: "0"}})
	if err != nil {
		t.Fatal(err)
	}
	r := &rig{t: t, wire: &wire{}, log: &bytes.Buffer{}, ended: make(chan error, 1), site: site}
	r.book = &book{wire: r.wire}
	fold := machine.NewFold(site)
	for _, row := range commissioned(site, time.Now().Add(-time.Minute)) {
		r.book.rows = append(r.book.rows, row)
		fold.Add(row)
	}
	o := Options{Site: site, State: fold.State(), Instance: "one", Layout: topics.Layout{Prefix: "aliquot", Site: "shed"}, Nodes: []*node.Codec{codec},
		Ledger: r.book, Link: r.wire, Metrics: &noMetrics{}, Clock: NewSystemClock(func() bool { return true }), Logger: slog.New(slog.NewTextHandler(r.log, nil))}
	if change != nil {
		change(&o)
	}
	r.b = New(o)
	r.wire.notify = r.broker
	ctx, cancel := context.WithCancel(context.Background())
	r.cancel = cancel
	go func() { r.ended <- r.b.Run(ctx) }()
	return r
}

// broker sends back what the service subscribes to, off the loop's own goroutine as a connection would.
func (r *rig) broker(m Message) {
	switch m.Topic {
	case "aliquot/shed/owner", "pumps/1/stop", "pumps/1/run":
		go r.b.Deliver(Message{Topic: m.Topic, Payload: m.Payload})
	}
}

// connect opens the link and lets the node say that it is there.
func (r *rig) connect() {
	r.wire.mu.Lock()
	r.wire.open = true
	r.wire.mu.Unlock()
	r.b.LinkUp()
	r.b.Deliver(Message{Topic: "pumps/online", Payload: []byte("1"), Retained: true})
	time.Sleep(5 * time.Second) // virtual: ownership takes three
}

func (r *rig) ask(verb string, body map[string]any) map[string]any {
	r.t.Helper()
	payload, err := json.Marshal(body)
	if err != nil {
		r.t.Fatal(err)
	}
	r.b.Deliver(Message{Topic: "aliquot/shed/ask/" + verb, Payload: payload, QoS: 1})
	synctest.Wait()
	for _, topic := range []string{"aliquot/shed/answer", "aliquot/shed/problem"} {
		for _, text := range r.wire.on(topic) {
			var a map[string]any
			if json.Unmarshal([]byte(text), &a) == nil && a["ref"] == body["ref"] {
				return a
			}
		}
	}
	r.t.Fatalf("no answer to %v\n%s", body, r.log)
	return nil
}

func (r *rig) stop() error {
	r.cancel()
	return <-r.ended
}
