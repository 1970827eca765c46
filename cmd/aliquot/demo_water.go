package main

import (
	"context"
	"log/slog"
	"strconv"
	"sync"
	"time"

	"aliquot/bridge/mqtt"
	"aliquot/bridge/simnode"
	"aliquot/config"
	"aliquot/planner/tank"
	"aliquot/planner/units"
)

// demoWater is the water of the demo: the tank, and the measuring cylinder that the keeper puts under an outlet
// to prime and to calibrate.
type demoWater struct {
	mu       sync.Mutex
	tank     *tank.Tank
	solution map[channelAt]tank.Solution
	inVessel map[channelAt]bool
	cylinder map[channelAt]float64 // µL
}

func newDemoWater(l loaded, start time.Time, seed uint64) (*demoWater, error) {
	y := l.Systems[0]
	p := tank.Params{Seed: seed, NetLitres: y.NetLitres * 0.97,
		Start:               map[units.Quantity]float64{units.Alkalinity: 7.4, units.Calcium: 415, units.Magnesium: 1310},
		Uptake:              tank.Uptake{PerDay: 0.9, Law: tank.Saturation, GrowthPerDay: 0.006, DaySwing: 0.4, WanderSD: 0.12, WanderTime: 10 * 24 * time.Hour},
		NitrateFormedPerDay: 0.8, NitrateUptakePerDay: 0.15}
	p.InARoom() // twelve noon UTC lies in the middle of the light
	t, err := tank.New(p, start)
	if err != nil {
		return nil, err
	}
	w := &demoWater{tank: t, solution: map[channelAt]tank.Solution{}, inVessel: map[channelAt]bool{}, cylinder: map[channelAt]float64{}}
	carbon := carbonOf(l)
	solutions := map[string]tank.Solution{}
	for _, k := range l.Containers {
		for _, p := range l.Supplements {
			if p.ID != k.Supplement {
				continue
			}
			s := tank.Solution{Strength: p.Strength, CarbonPerEquivalent: tank.AsBicarbonate}
			if c, known := carbon[p.ID]; known {
				s.CarbonPerEquivalent = c
			}
			solutions[k.ID] = s
		}
	}
	for _, ch := range l.Channels {
		w.solution[channelAt{ch.Node, ch.Output}] = solutions[ch.Container]
	}
	return w, nil
}

// take receives what a pump moved.
func (w *demoWater) take(at channelAt, d simnode.Delivery) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.inVessel[at] {
		w.cylinder[at] += d.Microlitres
		return
	}
	// A dose that the tank refuses would be a bug of the demo's own site.
	if err := w.tank.DoseVolume(d.To, w.solution[at], d.Microlitres/1000); err != nil {
		panic(err)
	}
}

// vessel puts an outlet over the cylinder, emptied, or back over the tank; it gives what was in it, mL.
func (w *demoWater) vessel(at channelAt, in bool) float64 {
	w.mu.Lock()
	defer w.mu.Unlock()
	was := w.cylinder[at] / 1000
	w.inVessel[at], w.cylinder[at] = in, 0
	return was
}

func (w *demoWater) test(q units.Quantity, k tank.Kit, now time.Time) float64 {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.tank.Advance(now)
	return w.tank.Test(q, k)
}

func (w *demoWater) level(q units.Quantity, now time.Time) float64 {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.tank.Advance(now)
	return w.tank.Level(q)
}

func (w *demoWater) probe(q units.Quantity, now time.Time) float64 {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.tank.Advance(now)
	return w.tank.Probe(q)
}

// Probes read once in a simulated minute, but not so often in real time that the rate limit of a topic is met.
const (
	probesEvery  = time.Minute
	probesPacing = 60 * time.Millisecond
)

// runProbes publishes what the probes of the site read, over a client of their own.
func (w *demoWater) runProbes(ctx context.Context, l loaded, clock *warpClock) error {
	up := make(chan struct{}, 1)
	o := brokerOptions(l, "probes-"+randomName())
	o.Logger = slog.New(slog.DiscardHandler)
	o.OnMessage, o.OnUp = func(mqtt.Message) {}, func() { notify(up, struct{}{}) }
	client, err := mqtt.New(o)
	if err != nil {
		return err
	}
	ended := make(chan error, 1)
	go func() { ended <- client.Run(ctx) }()
	select {
	case <-up:
	case <-ctx.Done():
	}
	for ctx.Err() == nil {
		now := clock.Now()
		for _, p := range l.Probes {
			// A reading that does not leave is a silent probe, which the daemon knows how to take.
			_, _ = client.Publish(mqtt.Message{Topic: p.Topic, Payload: []byte(w.reading(p, now.Wall))}, time.Second)
		}
		ring, drop := clock.WakeAt(now.Mono + probesEvery)
		select {
		case <-ring:
			time.Sleep(probesPacing)
		case <-ctx.Done():
		}
		drop()
	}
	return <-ended
}

func (w *demoWater) reading(p config.Probe, now time.Time) string {
	if p.Quantity == units.Switch {
		return p.Off
	}
	return strconv.FormatFloat(w.probe(p.Quantity, now), 'f', 3, 64)
}
