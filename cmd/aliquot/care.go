package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
)

// asking holds the flags of every command that sends a request.
type asking struct {
	By      string `help:"Who asks; it stands in the record." env:"ALIQUOT_BY"`
	Confirm bool   `help:"Yes, really: for requests that asked for it."`
	Format  string `help:"text or json." enum:"text,json" default:"text"`
}

// send asks the service and prints its answer.
func (a asking) send(ctx context.Context, std stream, g *Globals, verb machine.Verb, fields map[string]any) error {
	l, err := load(g.Config)
	if err != nil {
		return err
	}
	c, err := dial(ctx, l)
	if err != nil {
		return err
	}
	defer c.stop()
	r, err := c.ask(ctx, verb, a.with(fields))
	if err != nil {
		return err
	}
	return tell(std, a.Format, r)
}

func (a asking) with(fields map[string]any) map[string]any {
	if a.By != "" {
		fields["by"] = a.By
	}
	if a.Confirm {
		fields["confirm"] = true
	}
	return fields
}

// set puts a text in if it is not empty.
func set(fields map[string]any, name, value string) {
	if value != "" {
		fields[name] = value
	}
}

type enterCommand struct {
	Quantity      string   `arg:"" help:"alkalinity, calcium, magnesium …"`
	Value         string   `arg:"" help:"The number, with a point: 8.3"`
	Unit          []string `arg:"" help:"dKH, meq/L, ppm CaCO3, mg/L …"`
	System        string   `help:"Which system, if there are several."`
	At            string   `help:"When the sample was drawn, RFC 3339, if not now."`
	AtTemperature string   `help:"Of the sample, for a conductivity that the meter does not compensate, and for amounts per kilogram." placeholder:"24.5degC"`
	Method        string   `help:"Which test."`
	Lot           string   `help:"Its lot."`
	Of            string   `help:"tank, mix or reference." default:"tank" enum:"tank,mix,reference"`
	asking        `embed:""`
}

func (e enterCommand) Run(ctx context.Context, std stream, g *Globals) error {
	value, err := units.ParseNumber(e.Value)
	if err != nil {
		return fail(exitUsage, "%w", err)
	}
	f := map[string]any{"quantity": e.Quantity, "value": value, "unit": strings.Join(e.Unit, " "), "of": e.Of}
	set(f, "system", e.System)
	set(f, "at", e.At)
	if e.AtTemperature != "" {
		v, unit, err := units.ParseSplit(e.AtTemperature)
		if err != nil {
			return fail(exitUsage, "--at-temperature: %w", err)
		}
		f["temperature"] = map[string]any{"value": v, "unit": unit}
	}
	set(f, "method", e.Method)
	set(f, "lot", e.Lot)
	return e.send(ctx, std, g, machine.VerbTest, f)
}

type waterChangeCommand struct {
	Volume string   `arg:"" help:"How much: 30L"`
	Mix    []string `help:"What the new water holds, each as quantity=value unit: --mix 'alkalinity=8 dKH'." sep:"none"`
	System string   `help:"Which system, if there are several."`
	At     string   `help:"When, RFC 3339, if not now."`
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
	set(f, "at", w.At)
	return w.send(ctx, std, g, machine.VerbWaterChange, f)
}

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

// scope says what a hold covers.
type scope struct {
	Scope string `arg:"" help:"A channel, system:NAME, or all."`
}

func (s scope) fields() map[string]any {
	if s.Scope == "all" {
		return map[string]any{"all": true}
	}
	if name, ok := strings.CutPrefix(s.Scope, "system:"); ok {
		return map[string]any{"system": name}
	}
	return map[string]any{"channel": s.Scope}
}

type holdCommand struct {
	scope
	For    string `arg:"" optional:"" help:"How long, at most 24h." default:"2h"`
	Reason string `help:"Why."`
	asking `embed:""`
}

func (h holdCommand) Run(ctx context.Context, std stream, g *Globals) error {
	d, err := units.ParseDuration(h.For)
	if err != nil {
		return fail(exitUsage, "%w", err)
	}
	f := h.fields()
	f["minutes"] = d.Minutes()
	set(f, "reason", h.Reason)
	return h.send(ctx, std, g, machine.VerbHold, f)
}

type releaseCommand struct {
	scope
	asking `embed:""`
}

func (r releaseCommand) Run(ctx context.Context, std stream, g *Globals) error {
	return r.send(ctx, std, g, machine.VerbRelease, r.fields())
}

type askCommand struct {
	Verb   string   `arg:"" help:"One of the verbs in bridge/TOPICS.md."`
	Fields []string `arg:"" optional:"" help:"field=value, as in bridge/TOPICS.md; a value that is JSON is taken as such."`
	asking `embed:""`
}

func (a askCommand) Run(ctx context.Context, std stream, g *Globals) error {
	f := map[string]any{}
	for _, pair := range a.Fields {
		name, text, ok := strings.Cut(pair, "=")
		if !ok {
			return fail(exitUsage, "%q is no field=value", pair)
		}
		f[name] = jsonOrText(text)
	}
	return a.send(ctx, std, g, machine.Verb(a.Verb), f)
}

func jsonOrText(text string) any {
	var v any
	if json.Unmarshal([]byte(text), &v) == nil {
		return v
	}
	return text
}

// parseTrial reads "60s=9.8mL", or "60s=10.2g" with the density of what was weighed.
func parseTrial(text string) (trial map[string]any, weighed bool, err error) {
	run, measured, ok := strings.Cut(text, "=")
	if !ok {
		return nil, false, fmt.Errorf("--trial %q is no time=volume or time=mass, such as 60s=9.8mL or 60s=10.1g", text)
	}
	d, err := units.ParseDuration(run)
	if err != nil {
		return nil, false, err
	}
	if grams, notMass := units.ParseMass(measured); notMass == nil {
		return map[string]any{"seconds": d.Seconds(), "measured_g": grams}, true, nil
	}
	ml, err := units.ParseVolume(measured)
	if err != nil {
		return nil, false, err
	}
	return map[string]any{"seconds": d.Seconds(), "measured_ml": ml}, false, nil
}

func seconds(text string) (float64, error) {
	d, err := units.ParseDuration(text)
	return d.Seconds(), err
}

func bracketed(host string) string {
	if strings.Contains(host, ":") {
		return "[" + host + "]"
	}
	return host
}

func trimmed(v float64) string {
	return strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64)
}

// longEnough is how long to wait for the end of a run of so many seconds.
func longEnough(runSeconds float64) time.Duration {
	return time.Duration(runSeconds*float64(time.Second)) + 15*time.Second
}
