package main

import (
	"context"
	"strings"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
)

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

type outOfServiceCommand struct {
	scope
	Reason string `help:"Why, for whoever finds it." required:""`
	asking `embed:""`
}

func (o outOfServiceCommand) Run(ctx context.Context, std stream, g *Globals) error {
	f := o.fields()
	f["reason"] = o.Reason
	return o.send(ctx, std, g, machine.VerbOutOfService, f)
}

type stopCommand struct {
	Scope  string `arg:"" optional:"" help:"A channel, system:NAME, or all." default:"all"`
	asking `embed:""`
}

// Run stops at once; the plan goes on at the next slot.
func (s stopCommand) Run(ctx context.Context, std stream, g *Globals) error {
	return s.send(ctx, std, g, machine.VerbStop, scope{s.Scope}.fields())
}

type cutCommand struct {
	Supply string `arg:"" help:"Name of the supply relay, a node of style supply."`
	Reason string `help:"Why." placeholder:"TEXT"`
	asking `embed:""`
}

// Run opens a supply relay: nothing runs behind it until it is cleared and switched on by hand.
func (c cutCommand) Run(ctx context.Context, std stream, g *Globals) error {
	f := map[string]any{"what": c.Supply}
	set(f, "reason", c.Reason)
	return c.send(ctx, std, g, machine.VerbCut, f)
}

type clearCommand struct {
	Scope     string `arg:"" optional:"" help:"A channel, system:NAME, supply:NAME, or all."`
	Code      string `arg:"" optional:"" help:"This lockout only, such as fault; left out, all that stand for it."`
	Interlock string `help:"A latched interlock, instead of a scope." placeholder:"NAME"`
	asking    `embed:""`
}

func (c clearCommand) Run(ctx context.Context, std stream, g *Globals) error {
	if (c.Scope == "") == (c.Interlock == "") {
		return fail(exitUsage, "say what to clear: aliquot clear alk fault, aliquot clear all, aliquot clear supply:NAME, or aliquot clear --interlock NAME; aliquot status lists what stands")
	}
	f := map[string]any{}
	if name, ok := strings.CutPrefix(c.Scope, "supply:"); ok {
		f["what"] = name
	} else if c.Scope != "" {
		f = scope{c.Scope}.fields()
	}
	set(f, "what", c.Interlock)
	set(f, "code", c.Code)
	return c.send(ctx, std, g, machine.VerbClear, f)
}

type acknowledgeCommand struct {
	Alert  string `arg:"" help:"Name of the alert, as aliquot status shows it."`
	For    string `arg:"" optional:"" help:"For how long it is silent, at most 24h, 2h for a critical one; left out, as long as it stands."`
	asking `embed:""`
}

func (k acknowledgeCommand) Run(ctx context.Context, std stream, g *Globals) error {
	f := map[string]any{"alert": k.Alert}
	if k.For != "" {
		d, err := units.ParseDuration(k.For)
		if err != nil {
			return fail(exitUsage, "%w", err)
		}
		f["minutes"] = d.Minutes()
	}
	return k.send(ctx, std, g, machine.VerbAcknowledge, f)
}

type acceptCommand struct {
	What   string `arg:"" help:"configuration or ledger." enum:"configuration,ledger"`
	Text   string `help:"A remark for the record."`
	asking `embed:""`
}

func (a acceptCommand) Run(ctx context.Context, std stream, g *Globals) error {
	f := map[string]any{"what": a.What}
	set(f, "text", a.Text)
	return a.send(ctx, std, g, machine.VerbAccept, f)
}

type noteCommand struct {
	Kind   string   `arg:"" help:"livestock_added, livestock_removed, medication, lights_out, salt_mix, filter_media or other."`
	Text   []string `arg:"" optional:"" help:"A remark."`
	System string   `help:"Which system, if there are several."`
	asking `embed:""`
}

func (n noteCommand) Run(ctx context.Context, std stream, g *Globals) error {
	f := map[string]any{"kind": n.Kind}
	set(f, "text", strings.Join(n.Text, " "))
	set(f, "system", n.System)
	return n.send(ctx, std, g, machine.VerbNote, f)
}
