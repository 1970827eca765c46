package main

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"aliquot/bridge/history"
	"aliquot/bridge/ledger"
	"aliquot/bridge/logbook"
	"aliquot/bridge/machine"
	"aliquot/planner/units"
	"aliquot/safety"
)

type historyCommand struct {
	Format  string   `help:"table, csv, json (an object a line, in words) or jsonl (the form that import and plan read)." enum:"table,csv,json,jsonl" default:"table"`
	Since   string   `help:"From when on: 2027-03-01, 2027-03-01 08:30, or RFC 3339." placeholder:"TIME"`
	Until   string   `help:"Up to when, this moment left out." placeholder:"TIME"`
	Channel []string `help:"Of these channels only." placeholder:"NAME"`
	Kind    []string `help:"These kinds only: run, test, refill, alert …" placeholder:"KIND"`
	By      string   `help:"What this person did." placeholder:"NAME"`
	All     bool     `help:"With answers, means of probes and carried slots, which a table leaves out."`
}

// Run reads the ledger beside a running service.
func (h historyCommand) Run(std stream, g *Globals) error {
	l, err := load(g.Config)
	if err != nil {
		return err
	}
	since, until, err := h.period(l.Zone)
	if err != nil {
		return err
	}
	rows, err := ledgerRowsSince(l, since)
	if err != nil {
		return err
	}
	if err := tellPruned(std.err, l, since); err != nil {
		return err
	}
	entries := logbook.Entries(rows, l.Zone)
	pick := logbook.Pick{Since: since, Until: until, Channels: h.Channel, Kinds: h.Kind, By: h.By, All: h.All || h.Format == "jsonl"}
	if bad := pick.Unknown(); bad != "" {
		return fail(exitUsage, "--kind %q is none; there are: %s", bad, strings.Join(logbook.Kinds(), ", "))
	}
	switch h.Format {
	case "jsonl":
		notes, err := historySite(l).Write(std.out, sequence(pick.Rows(rows)))
		for _, n := range notes {
			fmt.Fprintln(std.err, "note:", n.Text)
		}
		return err
	case "json":
		e := json.NewEncoder(std.out)
		e.SetEscapeHTML(false)
		for _, one := range pick.Entries(entries) {
			if err := e.Encode(one); err != nil {
				return err
			}
		}
		return nil
	case "csv":
		return writeCSV(std.out, pick.Entries(entries), l.Zone)
	}
	return writeTable(std.out, pick.Entries(entries), l.Zone)
}

// tellPruned says where the rows are that stand as sums in what was asked for.
func tellPruned(to io.Writer, l loaded, since time.Time) error {
	book, err := ledger.Open(ledger.Options{Path: l.Ledger.Path, ReadOnly: true})
	if err != nil {
		return fail(exitLedger, "%w", err)
	}
	defer book.Close()
	list, err := book.Prunings()
	if err != nil {
		return fail(exitLedger, "%w", err)
	}
	for _, p := range list {
		if p.Until.Before(since) {
			continue
		}
		fmt.Fprintf(to, "note: %d rows of %s to %s are summed; each of them stands in %s\n", p.Gone, p.From.In(l.Zone).Format("2006-01-02"), p.Until.In(l.Zone).Format("2006-01-02"),
			filepath.Join(filepath.Dir(l.Ledger.Path), p.File))
	}
	return nil
}

func (h historyCommand) period(zone *time.Location) (since, until time.Time, err error) {
	now := time.Now()
	if h.Since != "" {
		if since, err = parseWhen(h.Since, now, zone); err != nil {
			return since, until, fail(exitUsage, "--since: %w", err)
		}
	}
	if h.Until != "" {
		if until, err = parseWhen(h.Until, now, zone); err != nil {
			return since, until, fail(exitUsage, "--until: %w", err)
		}
	}
	return since, until, nil
}

func sequence(rows []machine.Row) func(func(machine.Row) bool) {
	return func(yield func(machine.Row) bool) {
		for _, r := range rows {
			if !yield(r) {
				return
			}
		}
	}
}

func writeTable(w io.Writer, entries []logbook.Entry, zone *time.Location) error {
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(t, "TIME\tWHAT\tOF\tBY\t")
	for _, e := range entries {
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\n", e.At.In(zone).Format("2006-01-02 15:04:05"), e.Kind, e.Of(), e.By, e.Text)
	}
	return t.Flush()
}

// writeCSV writes a table for spreadsheets: RFC 4180, times in UTC, numbers with a point.
func writeCSV(w io.Writer, entries []logbook.Entry, zone *time.Location) error {
	c := csv.NewWriter(w)
	_ = c.Write([]string{"time_utc", "time_local", "kind", "class", "by", "system", "channel", "container", "quantity", "value", "unit", "volume_ml", "outcome", "text"})
	for _, e := range entries {
		_ = c.Write([]string{e.At.UTC().Format(time.RFC3339), e.At.In(zone).Format("2006-01-02 15:04:05"), e.Kind, string(e.Class), e.By, e.System, e.Channel, e.Container, e.Quantity,
			plain(e.Value), e.Unit, plain(e.VolumeML), e.Outcome, e.Text})
	}
	c.Flush()
	return c.Error() // of every line before too
}

func plain(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'f', -1, 64)
}

type importCommand struct {
	File string `arg:"" help:"A history in JSON Lines; - reads standard input." type:"existingfile"`
}

func (i importCommand) Run(std stream, g *Globals) error {
	l, err := load(g.Config)
	if err != nil {
		return err
	}
	f, err := os.Open(i.File)
	if err != nil {
		return fail(exitFailed, "reading the history: %w", err)
	}
	defer f.Close()
	rows, notes, err := historySite(l).Read(f, i.File)
	if err != nil {
		return fail(exitFailed, "%w; nothing was imported", err)
	}
	book, _, _, err := openBook(serviceOptions{site: l})
	if err != nil {
		return err
	}
	defer book.Close()
	fresh, known, err := newRows(book, rows, time.Now())
	if err != nil {
		return fail(exitFailed, "%w; nothing was imported", err)
	}
	if len(fresh) > 0 {
		if err := book.Append(fresh); err != nil {
			return fail(exitLedger, "importing: %w; nothing was imported", err)
		}
	}
	for _, n := range notes {
		fmt.Fprintf(std.err, "note: line %d: %s\n", n.Line, n.Text)
	}
	fmt.Fprintf(std.out, "%s imported, %d known already\n", count(len(fresh), "line"), known)
	return nil
}

// newRows gives the rows that a ledger does not have yet, numbered and placed on its time axis. What stands in the
// ledger has happened in its order: an older line that would come behind newer ones is refused, unless it is about
// the water, where order is that of the samples.
func newRows(book *ledger.Ledger, rows []machine.Row, now time.Time) (fresh []machine.Row, known int, err error) {
	have := map[string]bool{}
	var last machine.Row
	if err := book.Each(1, func(r machine.Row) error {
		if r.ID != "" {
			have[r.ID] = true
		}
		last = r
		return nil
	}); err != nil {
		return nil, 0, err
	}
	var errs []error
	for _, r := range rows {
		switch {
		case have[r.ID]:
			known++
			continue
		case r.At.After(now.Add(safety.FutureSkew)):
			errs = append(errs, fmt.Errorf("a %s line is of %s, in the future", r.Body.Kind(), r.At.Format(time.RFC3339)))
			continue
		case last.Seq > 0 && r.At.Before(last.At) && !aboutWater(r.Body):
			errs = append(errs, fmt.Errorf("a %s line of %s is older than the ledger's newest row of %s", r.Body.Kind(), r.At.Format(time.RFC3339), last.At.Format(time.RFC3339)))
			continue
		}
		r.Seq = last.Seq + 1
		r.Elapsed = placeOnAxis(last, r)
		if r.At.Before(last.At) {
			r.At = last.At
		}
		fresh = append(fresh, r)
		last = r
	}
	return fresh, known, errors.Join(errs...)
}

func aboutWater(b machine.Body) bool {
	switch b.(type) {
	case machine.Test, machine.Note, machine.ProbeMean:
		return true
	}
	return false
}

// placeOnAxis continues the ledger's true time axis by the wall time between two rows.
func placeOnAxis(last, r machine.Row) safety.Elapsed {
	if last.Seq == 0 {
		return safety.Elapsed(r.At.UnixMilli())
	}
	return last.Elapsed + safety.Elapsed(max(0, r.At.Sub(last.At).Milliseconds()))
}

// historySite tells the history's codec what its lines leave to the configuration.
func historySite(l loaded) history.Site {
	return history.Site{
		Channels: func(node string) []string {
			var out []string
			for _, ch := range l.Channels {
				if ch.Node == node {
					out = append(out, ch.ID)
				}
			}
			return out
		},
		Quantity: func(probe string) units.Quantity {
			for _, p := range l.Probes {
				if p.ID == probe {
					return p.Quantity
				}
			}
			return ""
		},
	}
}
