package main

import (
	"context"
	"fmt"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"aliquot/bridge/commission"
	"aliquot/planner/metering"
	"aliquot/planner/units"
)

type commissionCommand struct {
	Channel string   `arg:""`
	Status  bool     `help:"Only say how far it has come."`
	Again   []string `help:"Do a step once more: placement, contents, direction, priming, calibration, test-run, handover." placeholder:"STEP"`
	Trial   []string `help:"A trial of an earlier session, as time=volume or time=mass; left out, those that the service remembers." placeholder:"60s=9.8mL" sep:"none"`
	Density string   `help:"Of the solution that was weighed in it." placeholder:"1.05kg/L"`
	Water   string   `help:"Temperature of the plain water that was weighed in it." placeholder:"20degC"`
	By      string   `help:"Who does it; asked for if left out." env:"ALIQUOT_BY"`
	Format  string   `help:"text or json, of --status." enum:"text,json" default:"text"`
}

func (c commissionCommand) Run(ctx context.Context, std stream, g *Globals) error {
	l, err := load(g.Config)
	if err != nil {
		return err
	}
	setup, err := commissionSetup(l, c.Channel, time.Now())
	if err != nil {
		return err
	}
	again, err := c.steps()
	if err != nil {
		return err
	}
	readings, liquid, err := c.kept()
	if err != nil {
		return err
	}
	w := newWatching(l, setup)
	// The connection outlives an interrupt, so that the stop still gets out.
	client, err := dial(context.WithoutCancel(ctx), l, w.listen)
	if err != nil {
		return err
	}
	defer client.stop()
	client.gone = w.gone
	if err := w.complete(ctx); err != nil {
		return err
	}
	if c.Status {
		return tellStatus(std, c.Format, commission.StatusOf(setup, w.facts()), l.Zone)
	}
	if c.Format == "json" {
		return fail(exitUsage, "--format json goes with --status: the session itself talks to a person")
	}
	// Where the terminal is a pipe, its end must not end the process before the pump has stopped.
	signal.Ignore(syscall.SIGPIPE)
	defer signal.Reset(syscall.SIGPIPE)
	if len(readings) == 0 {
		// What cannot be read is measured again.
		readings, liquid, _ = commandOf(w.facts().Channel.TrialsKept).kept()
	}
	session, out := commission.New(setup, w.facts(), c.By, readings, liquid, again...)
	t := newTalk(ctx, l, client, w, std)
	return t.run(ctx, session, out)
}

func (c commissionCommand) steps() ([]commission.Step, error) {
	var list []commission.Step
	for _, name := range c.Again {
		s, ok := commission.StepNamed(name)
		if !ok {
			var names []string
			for _, s := range commission.Steps() {
				names = append(names, s.String())
			}
			return nil, fail(exitUsage, "--again %q is no step; there are: %s", name, strings.Join(names, ", "))
		}
		list = append(list, s)
	}
	return list, nil
}

// commandOf reads the trials that the service remembers of a session that was left; they are written as this command takes
// them.
func commandOf(trials string) commissionCommand {
	var c commissionCommand
	words := strings.Fields(trials)
	for i := 0; i+1 < len(words); i += 2 {
		switch words[i] {
		case "--trial":
			c.Trial = append(c.Trial, words[i+1])
		case "--density":
			c.Density = words[i+1]
		case "--water":
			c.Water = words[i+1]
		}
	}
	return c
}

// kept reads the trials of an earlier session.
func (c commissionCommand) kept() ([]metering.Reading, metering.Liquid, error) {
	var list []metering.Reading
	var liquid metering.Liquid
	for _, text := range c.Trial {
		t, _, err := parseTrial(text)
		if err != nil {
			return nil, liquid, fail(exitUsage, "%w", err)
		}
		r := metering.Reading{}
		r.Seconds, _ = t["seconds"].(float64)
		r.MeasuredML, _ = t["measured_ml"].(float64)
		r.MeasuredG, _ = t["measured_g"].(float64)
		list = append(list, r)
	}
	if c.Density != "" {
		d, err := units.ParseDensity(c.Density)
		if err != nil {
			return nil, liquid, fail(exitUsage, "--density: %w", err)
		}
		liquid.DensityKgPerL = &d
	}
	if c.Water != "" {
		d, err := units.ParseTemperature(c.Water)
		if err != nil {
			return nil, liquid, fail(exitUsage, "--water: %w", err)
		}
		liquid.WaterCelsius = &d
	}
	return list, liquid, nil
}

func tellStatus(std stream, format string, s commission.Status, zone *time.Location) error {
	if format == "json" {
		return writeJSON(std.out, s)
	}
	fmt.Fprintf(std.out, "Channel %s\n", s.Channel)
	for _, one := range s.Steps {
		mark, when := "to do", ""
		if one.Done {
			mark = "done"
		}
		if one.At != nil {
			when = one.At.In(zone).Format("2006-01-02 15:04")
		}
		fmt.Fprintln(std.out, strings.TrimRight(fmt.Sprintf("  %-12s %-6s %s", one.Step, mark, when), " "))
	}
	if s.Next != commission.Finished.String() {
		fmt.Fprintf(std.out, "Next is %s: aliquot commission %s\n", s.Next, s.Channel)
	}
	return nil
}

// onTerminal says whether a stream shows lines that are written over.
func onTerminal(std stream) bool {
	f, ok := std.out.(*os.File)
	return ok && isTerminal(f)
}
