package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"sync"
	"time"

	"aliquot/bridge"
	"aliquot/config"
	"aliquot/deploy"
	"aliquot/safety"
)

type demoCommand struct {
	Days  int     `help:"Stop after so many simulated days; 0 goes on until Ctrl-C." default:"0"`
	Speed float64 `help:"Simulated hours in a second." default:"1.5"`
	Seed  uint64  `help:"Which tank." default:"7"`
	Log   bool    `help:"Show the service's own log too, on standard error."`
}

func (d demoCommand) logger(std stream) *slog.Logger {
	if d.Log {
		return slog.New(slog.NewTextHandler(std.err, nil))
	}
	return slog.New(slog.DiscardHandler)
}

// demoStart is the first simulated moment: an ordinary morning.
var demoStart = time.Date(2027, 3, 1, 7, 0, 0, 0, time.UTC)

func (d demoCommand) Run(ctx context.Context, std stream) error {
	if !(d.Speed > 0 && d.Speed <= 10) {
		return fail(exitUsage, "--speed %g is not above 0 and at most 10", d.Speed)
	}
	folder, err := os.MkdirTemp("", "aliquot-demo-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	l, err := demoSite(folder)
	if err != nil {
		return err
	}
	clock := newWarpClock(demoStart, d.Speed*3600)
	return d.play(ctx, std, l, clock)
}

// demoSite is the embedded configuration, with a throw-away ledger and free ports.
func demoSite(folder string) (loaded, error) {
	site, problems, warnings := config.Parse("demo.yaml", deploy.DemoSite)
	if site == nil {
		return loaded{}, notAccepted(problems)
	}
	site.Ledger.Path = filepath.Join(folder, "ledger.db")
	site.HTTP.Listen = freeAddress(site.HTTP.Listen)
	site.MQTT.Embedded.Listen = freeAddress(site.MQTT.Embedded.Listen)
	return complete(site, warnings)
}

// freeAddress gives the address if nobody listens there, else one with a free port.
func freeAddress(address string) string {
	for _, try := range []string{address, "127.0.0.1:0"} {
		if s, err := net.Listen("tcp", try); err == nil {
			free := s.Addr().String()
			s.Close()
			return free
		}
	}
	return address
}

// play runs the daemon, its pump nodes, its probes and a keeper side by side, each with a connection of its own.
func (d demoCommand) play(parent context.Context, std stream, l loaded, clock *warpClock) error {
	ctx, cancel := context.WithCancel(parent)
	defer cancel()
	water, err := newDemoWater(l, demoStart, d.Seed)
	if err != nil {
		return err
	}
	trust := safety.TrustDeclared
	s, err := startService(ctx, serviceOptions{site: l, clock: daemonClock{clock}, trust: &trust, logger: d.logger(std),
		wrap: func(p bridge.Options) bridge.Options {
			p.Ledger, p.Metrics = warpLedger{p.Ledger, clock}, warpMetrics{p.Metrics, clock}
			return p
		}})
	if err != nil {
		return err
	}
	t := newTeller(std.out, l, clock, water)
	t.hello(s)
	var wait sync.WaitGroup
	errs := make(chan error, 16)
	start := func(what string, do func(context.Context) error) {
		wait.Add(1)
		go func() {
			defer wait.Done()
			if err := do(ctx); err != nil && ctx.Err() == nil {
				errs <- fmt.Errorf("%s: %w", what, err)
				cancel()
			}
		}()
	}
	for _, cfg := range l.Nodes {
		p, err := newPumpNode(l, cfg, clock, -0.02)
		if err != nil {
			cancel()
			return errors.Join(err, <-s.ended)
		}
		p.moved, p.speaks = water.take, func() { clock.onWire(cfg.ID, true) }
		start("node "+cfg.ID, func(ctx context.Context) error { return p.run(ctx, l) })
	}
	start("the listener", t.listen)
	start("the probes", func(ctx context.Context) error { return water.runProbes(ctx, l, clock) })
	start("the keeper", func(ctx context.Context) error {
		err := newKeeper(l, clock, water, t, d.Days).live(ctx, s)
		if err == nil {
			cancel() // the days asked for are over
		}
		return err
	})
	err = <-s.ended
	cancel()
	wait.Wait()
	close(errs)
	for e := range errs {
		err = errors.Join(err, e)
	}
	t.goodbye()
	return err
}
