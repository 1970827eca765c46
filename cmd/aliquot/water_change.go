package main

import (
	"context"
	"strings"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
)

type waterChangeCommand struct {
	Volume string   `arg:"" help:"How much: 30L"`
	Mix    []string `help:"What the new water holds, each as quantity=value unit: --mix 'alkalinity=8 dKH'." sep:"none"`
	System string   `help:"Which system, if there are several."`
	At     string   `help:"When, if not now: 08:30, 2027-03-01 08:30, or RFC 3339."`
	asking `embed:""`
}

func (w waterChangeCommand) Run(ctx context.Context, std stream, g *Globals) error {
	ml, err := units.ParseVolume(w.Volume)
	if err != nil {
		return fail(exitUsage, "%w", err)
	}
	mix := map[string]any{}
	for _, m := range w.Mix {
		name, measure, ok := strings.Cut(m, "=")
		value, unit, err := units.ParseSplit(measure)
		if !ok || err != nil {
			return fail(exitUsage, "--mix %q is no quantity=value unit, such as alkalinity=8.0 dKH", m)
		}
		mix[strings.TrimSpace(name)] = map[string]any{"value": value, "unit": unit}
	}
	f := map[string]any{"volume_l": ml / 1000}
	if len(mix) > 0 {
		f["mix"] = mix
	}
	set(f, "system", w.System)
	if err := setWhen(f, w.At, g); err != nil {
		return err
	}
	return w.send(ctx, std, g, machine.VerbWaterChange, f)
}
