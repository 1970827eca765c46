package main

import (
	"context"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
)

type refillCommand struct {
	Container string `arg:""`
	Add       string `help:"What was added: 4.5L"`
	Remaining string `help:"What it holds now: 2L"`
	Full      bool   `help:"It is full now."`
	asking    `embed:""`
}

func (r refillCommand) Run(ctx context.Context, std stream, g *Globals) error {
	f := map[string]any{"container": r.Container}
	if r.Full {
		f["full"] = true
	}
	for name, text := range map[string]string{"volume_ml": r.Add, "remaining_ml": r.Remaining} {
		if text == "" {
			continue
		}
		ml, err := units.ParseVolume(text)
		if err != nil {
			return fail(exitUsage, "%w", err)
		}
		f[name] = ml
	}
	return r.send(ctx, std, g, machine.VerbRefill, f)
}

type swapCommand struct {
	Container  string `arg:""`
	Supplement string `help:"What it holds now, if not the same as before."`
	Remaining  string `help:"How much it holds now: 4.8L"`
	Full       bool   `help:"It is full now."`
	asking     `embed:""`
}

// Run says that the contents were replaced: the lines must be primed again.
func (s swapCommand) Run(ctx context.Context, std stream, g *Globals) error {
	if s.Full == (s.Remaining != "") {
		return fail(exitUsage, "say what the container holds now: --full, or --remaining 4.8L")
	}
	f := map[string]any{"container": s.Container}
	set(f, "supplement", s.Supplement)
	if s.Full {
		f["full"] = true
		return s.send(ctx, std, g, machine.VerbSwap, f)
	}
	ml, err := units.ParseVolume(s.Remaining)
	if err != nil {
		return fail(exitUsage, "%w", err)
	}
	f["remaining_ml"] = ml
	return s.send(ctx, std, g, machine.VerbSwap, f)
}

type tubeCommand struct {
	Channel string `arg:""`
	asking  `embed:""`
}

// Run says that a channel's pump tubing was changed: it must be primed and calibrated again.
func (t tubeCommand) Run(ctx context.Context, std stream, g *Globals) error {
	return t.send(ctx, std, g, machine.VerbTube, map[string]any{"channel": t.Channel})
}
