package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
	"aliquot/safety"
)

// asking holds the flags of every command that sends a request.
type asking struct {
	By      string `help:"Who asks; it stands in the record." env:"ALIQUOT_BY"`
	Confirm bool   `help:"Yes, really: for requests that asked for it."`
	Format  string `help:"text or json." enum:"text,json" default:"text"`
}

// send asks the service and prints its answer.
func (a asking) send(ctx context.Context, std stream, g *Globals, verb machine.Verb, fields map[string]any) error {
	_, c, err := reach(ctx, g)
	if err != nil {
		return err
	}
	defer c.stop()
	return a.sendOver(ctx, std, c, verb, fields)
}

// sendOver asks over a connection that is there already. Where the service wants a second word and somebody sits at a
// terminal, it is asked for.
func (a asking) sendOver(ctx context.Context, std stream, c *client, verb machine.Verb, fields map[string]any) error {
	r, err := c.ask(ctx, verb, a.with(fields))
	if err != nil {
		return err
	}
	if !r.OK && r.Code == string(safety.NeedsConfirm) && a.Format == "text" && converses(std) {
		fmt.Fprintln(std.err, broken(std.err, r.Text))
		if !agrees(ctx, std) {
			return fail(exitFailed, "nothing was changed")
		}
		a.Confirm = true
		if r, err = c.ask(ctx, verb, a.with(fields)); err != nil {
			return err
		}
	}
	return tell(std, a.Format, r)
}

// converses says whether a person sits there who can answer.
func converses(std stream) bool {
	f, ok := std.in.(*os.File)
	return ok && isTerminal(f)
}

// agrees asks for a yes. Anything else, and an interrupt, is a no.
func agrees(ctx context.Context, std stream) bool {
	fmt.Fprint(std.err, "Go on? Type yes: ")
	said := make(chan string, 1)
	go func() {
		line, _ := bufio.NewReader(std.in).ReadString('\n')
		said <- line
	}()
	select {
	case line := <-said:
		word := strings.ToLower(strings.TrimSpace(line))
		return word == "yes" || word == "y"
	case <-ctx.Done():
		fmt.Fprintln(std.err)
		return false
	}
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
