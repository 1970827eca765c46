package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"text/tabwriter"
	"time"

	"aliquot/bridge/history"
	"aliquot/bridge/ledger"
	"aliquot/bridge/machine"
	"aliquot/planner/units"
	"aliquot/safety"
)

type historyCommand struct {
	Format string `help:"table or jsonl." enum:"table,jsonl" default:"table"`
	Since  string `help:"From when on, RFC 3339." placeholder:"TIME"`
}

// Run reads the ledger beside a running service.
func (h historyCommand) Run(std stream, g *Globals) error {
	l, err := load(g.Config)
	if err != nil {
		return err
	}
	var since time.Time
	if h.Since != "" {
		if since, err = time.Parse(time.RFC3339, h.Since); err != nil {
			return fail(exitUsage, "--since %q is no RFC 3339 time such as 2027-03-02T00:00:00Z", h.Since)
		}
	}
	book, err := ledger.Open(ledger.Options{Path: l.Ledger.Path, ReadOnly: true})
	if err != nil {
		return fail(exitLedger, "%w", err)
	}
	defer book.Close()
	var rows []machine.Row
	err = book.Each(1, func(r machine.Row) error {
		if !r.At.Before(since) {
			rows = append(rows, r)
		}
		return nil
	})
	if err != nil {
		return fail(exitLedger, "%w", err)
	}
	if h.Format == "jsonl" {
		notes, err := historySite(l).Write(std.out, sequence(rows))
		for _, n := range notes {
			fmt.Fprintln(std.err, "note:", n.Text)
		}
		return err
	}
	return writeTable(std.out, rows, l.Zone)
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

func writeTable(w io.Writer, rows []machine.Row, zone *time.Location) error {
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(t, "TIME\tWHAT\tBY\tDETAILS")
	for _, r := range rows {
		details, err := json.Marshal(r.Body)
		if err != nil {
			return err
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\n", r.At.In(zone).Format("2006-01-02 15:04:05"), r.Body.Kind(), r.By, details)
	}
	return t.Flush()
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
