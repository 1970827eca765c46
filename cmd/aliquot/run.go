package main

import (
	"context"
	"fmt"
	"os"
	"time"

	"aliquot/bridge"
	"aliquot/bridge/topics"
	"aliquot/config"
)

type runCommand struct {
	LogFormat string `help:"text or json." enum:"text,json" default:"text"`
	LogLevel  string `help:"debug, info, warn or error." enum:"debug,info,warn,error" default:"info"`
}

// Run keeps the service going. Told to by a signal, it reads its configuration anew and begins with it, if it passes.
func (r runCommand) Run(ctx context.Context, std stream, g *Globals) error {
	l, err := load(g.Config)
	if err != nil {
		return err
	}
	logger := newLogger(std, r.LogFormat, r.LogLevel)
	watch, err := newSupervisor(os.Getenv)
	if err != nil {
		logger.Warn(err.Error())
	}
	defer context.AfterFunc(ctx, watch.stopping)()
	o := serviceOptions{clock: bridge.NewSystemClock(bridge.KernelSynced), logger: logger, wrap: testWrap,
		turned: func(ledgerGood bool) { watch.turned(time.Now(), ledgerGood) }}
	if err := keepRunning(ctx, o, l, reloads(ctx, std)); err != nil {
		return err
	}
	fmt.Fprintln(std.err, "aliquot: stopped")
	return nil
}

// testWrap is nil but in the tests of this package, which put a murderer between the loop and its ledger.
var testWrap func(bridge.Options) bridge.Options

func probeInputs(c *config.Site) []bridge.ProbeInput {
	var out []bridge.ProbeInput
	for _, p := range c.Probes {
		out = append(out, bridge.ProbeInput{ID: p.ID, Topic: p.Topic, Quantity: p.Quantity, Unit: p.Unit,
			Reading: topics.ReadingSpec{Path: p.Path, On: p.On, Off: p.Off}})
	}
	return out
}

type stopAllCommand struct{}

// Run sends the stops itself: it needs no service, no ledger and no clock.
func (stopAllCommand) Run(ctx context.Context, std stream, g *Globals) error {
	l, c, err := reach(ctx, g)
	if err != nil {
		return err
	}
	defer c.stop()
	sent, err := stopEverything(l, c)
	fmt.Fprintf(std.out, "%s told to stop\n", count(sent, "output"))
	return err
}
