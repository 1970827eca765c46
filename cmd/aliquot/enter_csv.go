package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"strings"
	"time"

	"aliquot/bridge/labtable"
	"aliquot/planner/units"
)

// csvFlags say how a laboratory's table is to be read.
type csvFlags struct {
	CSV          string   `name:"csv" help:"Enter a laboratory's results from this table, CSV; - reads standard input." placeholder:"FILE" group:"A table of results"`
	Map          []string `help:"Which column is what: time=, quantity=, value=, unit=, system=, method=, lot=COLUMN; or, where each quantity has a column, 'calcium=COLUMN in mg/L'." sep:"none" placeholder:"WHAT=COLUMN" group:"A table of results"`
	Name         []string `help:"What the table calls a quantity: --name Ca=calcium; --name Si=- leaves it out." sep:"none" placeholder:"THEIRS=OURS" group:"A table of results"`
	Unit         string   `help:"Of every value that has no unit beside it." placeholder:"mg/L" group:"A table of results"`
	Dates        string   `help:"Order of dates: ymd, dmy or mdy." enum:"ymd,dmy,mdy" default:"ymd" group:"A table of results"`
	DecimalComma bool     `help:"Numbers are written 8,3." group:"A table of results"`
	DryRun       bool     `help:"Only show what would be entered." group:"A table of results"`
}

// table enters the results of a laboratory. Each keeps the same reference however often the table is read, so that none
// counts twice.
func (e enterCommand) table(ctx context.Context, std stream, g *Globals) error {
	l, err := load(g.Config)
	if err != nil {
		return err
	}
	m, err := e.columns(l.Zone)
	if err != nil {
		return fail(exitUsage, "%w", err)
	}
	in := std.in
	if e.CSV != "-" {
		f, err := os.Open(e.CSV)
		if err != nil {
			return fail(exitFailed, "reading the table: %w", err)
		}
		defer f.Close()
		in = f
	}
	results, skipped, err := labtable.Read(in, m)
	if err != nil {
		return fail(exitFailed, "%s: %w; nothing was entered", e.CSV, err)
	}
	for _, s := range skipped {
		fmt.Fprintf(std.err, "note: line %d: %s\n", s.Line, s.Text)
	}
	var all []map[string]any
	for _, r := range results {
		f, err := e.result(r, g)
		if err != nil {
			return err
		}
		if e.DryRun {
			fmt.Fprintf(std.out, "line %d: %s %s %s, sample of %s\n", r.Line, r.Quantity, trimmedFour(r.Value), orNone(r.Unit), whenText(r.At, l.Zone))
		}
		all = append(all, f)
	}
	if e.DryRun || len(all) == 0 {
		fmt.Fprintf(std.out, "%s in the table; nothing was entered\n", count(len(all), "result"))
		return nil
	}
	return e.sendAll(ctx, std, g, all)
}

func (e enterCommand) result(r labtable.Result, g *Globals) (map[string]any, error) {
	f, err := e.fields(entered{quantity: string(r.Quantity), value: r.Value, unit: r.Unit}, g)
	if err != nil {
		return nil, err
	}
	set(f, "system", r.System)
	set(f, "method", r.Method)
	set(f, "lot", r.Lot)
	if !r.At.IsZero() {
		f["at"] = r.At.UTC().Format(time.RFC3339)
		sum := sha256.Sum256(fmt.Appendf(nil, "%v|%v|%v|%v|%v|%v", f["at"], f["system"], f["quantity"], r.Value, r.Unit, e.Of))
		f["ref"] = "csv-" + hex.EncodeToString(sum[:12])
	}
	return f, nil
}

// columns reads the map of the columns.
func (e enterCommand) columns(zone *time.Location) (labtable.Map, error) {
	m := labtable.Map{Zone: zone, Dates: labtable.Dates(e.Dates), DecimalComma: e.DecimalComma, FixedUnit: e.Unit, Names: map[string]string{}}
	places := map[string]*string{"time": &m.Time, "system": &m.System, "quantity": &m.Quantity, "value": &m.Value, "unit": &m.Unit, "method": &m.Method, "lot": &m.Lot}
	for _, text := range e.Map {
		what, column, ok := strings.Cut(text, "=")
		if !ok || column == "" {
			return m, fmt.Errorf("--map %q is no WHAT=COLUMN, such as time=Sampled or 'calcium=Ca in mg/L'", text)
		}
		if place, known := places[what]; known {
			*place = column
			continue
		}
		q, known := quantityOf(what)
		if !known {
			return m, fmt.Errorf("--map %q: %q is neither a quantity nor one of time, system, quantity, value, unit, method, lot", text, what)
		}
		c := labtable.Column{Quantity: q, Name: column}
		if i := strings.LastIndex(column, " in "); i > 0 {
			c.Name, c.Unit = column[:i], column[i+len(" in "):]
		}
		if q == units.PH && c.Unit == "" {
			c.Unit = q.Unit()
		}
		m.Columns = append(m.Columns, c)
	}
	for _, text := range e.Name {
		theirs, ours, ok := strings.Cut(text, "=")
		if !ok || ours == "" {
			return m, fmt.Errorf("--name %q is no THEIRS=OURS, such as Ca=calcium", text)
		}
		m.Names[theirs] = ours
	}
	return m, nil
}

func whenText(at time.Time, zone *time.Location) string {
	if at.IsZero() {
		return "now"
	}
	return at.In(zone).Format("2006-01-02 15:04")
}

func orNone(unit string) string {
	if unit == "" {
		return "(no unit)"
	}
	return unit
}

func trimmedFour(v float64) string { return fmt.Sprintf("%.6g", v) }
