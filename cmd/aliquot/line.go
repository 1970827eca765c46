package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/schollz/progressbar/v3"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
)

// watched runs a request that starts a pump, shows its progress and stops the pump if the person leaves.
func (a asking) watched(ctx context.Context, std stream, g *Globals, verb machine.Verb, fields map[string]any) error {
	l, err := load(g.Config)
	if err != nil {
		return err
	}
	// The connection outlives an interrupt, so that the stop still gets out.
	c, err := dialWatching(context.WithoutCancel(ctx), l)
	if err != nil {
		return err
	}
	defer c.stop()
	r, err := c.ask(ctx, verb, a.with(fields))
	if err != nil {
		if errors.Is(err, errNotLeft) {
			return err
		}
		// Nobody knows whether it started.
		return stopNow(ctx, l, c, fields["channel"], err)
	}
	if err := tell(std, a.Format, r); err != nil || r.Code != "started" {
		return err
	}
	var started machine.RunResult
	if err := json.Unmarshal(r.Result, &started); err != nil {
		return fail(exitFailed, "the answer cannot be read: %w", err)
	}
	return a.follow(ctx, std, l, c, fields["channel"], started)
}

// follow waits for the end of a run.
func (a asking) follow(ctx context.Context, std stream, l loaded, c *client, channel any, started machine.RunResult) error {
	stopBar := progress(std.err, started.Seconds, a.Format)
	defer stopBar()
	var ended machine.RunEvent
	err := c.event(ctx, longEnough(started.Seconds), func(kind string, data json.RawMessage) bool {
		return kind == "run_ended" && json.Unmarshal(data, &ended) == nil && ended.Run == started.Run
	})
	stopBar()
	if err != nil {
		return stopNow(ctx, l, c, channel, err)
	}
	if a.Format == "json" {
		return writeJSON(std.out, ended)
	}
	fmt.Fprintf(std.out, "the run ended: %s, between %s and %s mL", ended.Outcome, trimmed(ended.LoML), trimmed(ended.HiML))
	if ended.Reason != "" {
		fmt.Fprintf(std.out, " (%s)", ended.Reason)
	}
	fmt.Fprintln(std.out)
	if ended.Outcome != machine.Finished {
		return failure{exitFailed, fmt.Errorf("")}
	}
	return nil
}

// stopNow stops the pump before anything is said: somebody went away, or nobody answers any more. Where the service has
// gone, the pump's node is told without it.
func stopNow(ctx context.Context, l loaded, c *client, channel any, why error) error {
	code := exitFailed
	var f failure
	if asFailure(why, &f) {
		code = f.code
	}
	if c.lost != theService {
		if r, err := c.askWithin(context.WithoutCancel(ctx), stopWait, machine.VerbStop, map[string]any{"channel": channel}); err == nil {
			return fail(code, "%w; %s", why, r.Text)
		}
	}
	id, _ := channel.(string)
	if ch, ok := channelOf(l, id); ok && c.mqtt.Open() && stopChannel(l, c, ch) == nil {
		return fail(code, "%w; the pump's node was told to stop, without the service", why)
	}
	return fail(code, "%w; the stop was not answered: the pump may still run, for its commanded time at most. aliquot stop-all tells the nodes themselves", why)
}

// progress shows a bar for a run of so many seconds, on a terminal only.
func progress(w io.Writer, seconds float64, format string) (stop func()) {
	f, isFile := w.(*os.File)
	if !isFile || format == "json" || !isTerminal(f) {
		return func() {}
	}
	bar := progressbar.NewOptions(int(seconds*10), progressbar.OptionSetWriter(w), progressbar.OptionSetDescription("running"),
		progressbar.OptionClearOnFinish(), progressbar.OptionSetPredictTime(false))
	done, ended := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		tick := time.NewTicker(100 * time.Millisecond)
		defer tick.Stop()
		for {
			select {
			case <-tick.C:
				_ = bar.Add(1)
			case <-done:
				_ = bar.Finish()
				return
			}
		}
	}()
	stopped := false
	return func() {
		if !stopped {
			stopped = true
			close(done)
			<-ended
		}
	}
}

type giveCommand struct {
	Channel string `arg:""`
	Volume  string `arg:"" help:"How much: 2mL"`
	Into    string `help:"Where the outlet is: tank, or vessel." enum:"tank,vessel" default:"tank"`
	Test    bool   `help:"A test run with a person present: the rest after the last run is waived."`
	asking  `embed:""`
}

// Run gives one extra dose; every limit holds.
func (v giveCommand) Run(ctx context.Context, std stream, g *Globals) error {
	ml, err := units.ParseVolume(v.Volume)
	if err != nil {
		return fail(exitUsage, "%w", err)
	}
	f := map[string]any{"channel": v.Channel, "volume_ml": ml, "into": v.Into}
	if v.Test || v.Into == "vessel" {
		f["kind"] = string(machine.TestRun)
	}
	return v.watched(ctx, std, g, machine.VerbRun, f)
}

type primeCommand struct {
	Channel string `arg:""`
	Into    string `help:"Where the outlet is now: vessel, or tank (then it counts to every cap)." enum:"vessel,tank" required:""`
	Volume  string `help:"How much; left out, one and a half line volumes." placeholder:"20mL"`
	asking  `embed:""`
}

func (p primeCommand) Run(ctx context.Context, std stream, g *Globals) error {
	f := map[string]any{"channel": p.Channel, "into": p.Into}
	if p.Volume != "" {
		ml, err := units.ParseVolume(p.Volume)
		if err != nil {
			return fail(exitUsage, "%w", err)
		}
		f["volume_ml"] = ml
	}
	err := p.watched(ctx, std, g, machine.VerbPrime, f)
	if err == nil && p.Format == "text" {
		fmt.Fprintf(std.out, "Liquid at the outlet, no bubbles? Then: aliquot primed %s. If not, prime again.\n", p.Channel)
	}
	return err
}

type primedCommand struct {
	Channel string `arg:""`
	asking  `embed:""`
}

func (p primedCommand) Run(ctx context.Context, std stream, g *Globals) error {
	return p.send(ctx, std, g, machine.VerbPrimed, map[string]any{"channel": p.Channel})
}

type calibrateCommand struct {
	Channel string   `arg:""`
	For     string   `help:"Run into a measuring vessel for so long." placeholder:"60s"`
	Trial   []string `help:"What a run delivered, each as time=volume or time=mass; three or more." placeholder:"60s=9.8mL" sep:"none"`
	Density string   `help:"Of the solution that was weighed." placeholder:"1.05kg/L"`
	Water   string   `help:"Temperature of the plain water that was weighed; taken as 20 degC where neither this nor --density is given." placeholder:"20degC"`
	asking  `embed:""`
}

func (c calibrateCommand) Run(ctx context.Context, std stream, g *Globals) error {
	f := map[string]any{"channel": c.Channel}
	if (c.For == "") == (len(c.Trial) == 0) {
		return fail(exitUsage, "say either --for 60s, to run into a vessel, or --trial 60s=9.8mL, what runs delivered")
	}
	if c.For != "" {
		s, err := seconds(c.For)
		if err != nil {
			return fail(exitUsage, "%w", err)
		}
		f["seconds"], f["into"] = s, "vessel"
		return c.watched(ctx, std, g, machine.VerbCalibrate, f)
	}
	var trials []map[string]any
	anyWeighed := false
	for _, text := range c.Trial {
		t, weighed, err := parseTrial(text)
		if err != nil {
			return fail(exitUsage, "%w", err)
		}
		trials, anyWeighed = append(trials, t), anyWeighed || weighed
	}
	f["trials"] = trials
	if err := c.liquid(std, f, anyWeighed); err != nil {
		return err
	}
	return c.send(ctx, std, g, machine.VerbCalibrate, f)
}

// liquid says what was weighed. The service converts, so that what it records does not depend on who asks.
func (c calibrateCommand) liquid(std stream, f map[string]any, weighed bool) error {
	if c.Density != "" {
		d, err := units.ParseDensity(c.Density)
		if err != nil {
			return fail(exitUsage, "--density: %w", err)
		}
		f["density_kg_per_l"] = d
	}
	if c.Water != "" {
		t, err := units.ParseTemperature(c.Water)
		if err != nil {
			return fail(exitUsage, "--water: %w", err)
		}
		f["water_celsius"] = t
	}
	if weighed && c.Density == "" && c.Water == "" {
		f["water_celsius"] = 20.0
		fmt.Fprintln(std.err, "What was weighed is taken as plain water of 20 degC: say --density for a solution, --water for another temperature.")
	}
	return nil
}

type proveCommand struct {
	Node   string `arg:"" help:"The relay; its outlet must be in a vessel."`
	asking `embed:""`
}

func (p proveCommand) Run(ctx context.Context, std stream, g *Globals) error {
	l, err := load(g.Config)
	if err != nil {
		return err
	}
	found := false
	for _, ch := range l.Channels {
		if ch.Node != p.Node {
			continue
		}
		found = true
		fmt.Fprintf(std.err, "Channel %s goes on and is never told to go off. Its outlet must be in a vessel.\n", ch.ID)
		if err := p.watched(ctx, std, g, machine.VerbProve, map[string]any{"channel": ch.ID, "into": "vessel"}); err != nil {
			return err
		}
	}
	if !found {
		return fail(exitUsage, "there is no channel on a node %q", p.Node)
	}
	return nil
}
