package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"

	"aliquot/bridge"
)

type simnodeCommand struct {
	Node      []string `help:"Which nodes; left out, all."`
	RateError float64  `help:"How far the pumps are off their nominal rates, percent." default:"-2"`
}

// Run stands in for pump nodes, so that a broker and a configuration can be tried before a pump is wired.
func (s simnodeCommand) Run(ctx context.Context, std stream, g *Globals) error {
	l, err := load(g.Config)
	if err != nil {
		return err
	}
	clock := bridge.NewSystemClock(bridge.KernelSynced)
	var nodes []*pumpNode
	for _, cfg := range l.Nodes {
		if len(s.Node) > 0 && !strings.Contains(","+strings.Join(s.Node, ",")+",", ","+cfg.ID+",") {
			continue
		}
		p, err := newPumpNode(l, cfg, clock, s.RateError/100)
		if err != nil {
			return err
		}
		nodes = append(nodes, p)
	}
	if len(nodes) == 0 {
		return fail(exitUsage, "no such node")
	}
	feedEachOther(nodes)
	return runNodes(ctx, std, l, nodes)
}

func runNodes(ctx context.Context, std stream, l loaded, nodes []*pumpNode) error {
	var wait sync.WaitGroup
	errs := make([]error, len(nodes))
	for i, p := range nodes {
		wait.Add(1)
		fmt.Fprintf(std.out, "node %s is simulated (%s)\n", p.cfg.ID, p.cfg.Style)
		go func() {
			defer wait.Done()
			errs[i] = p.run(ctx, l)
		}()
	}
	wait.Wait()
	return errors.Join(errs...)
}
