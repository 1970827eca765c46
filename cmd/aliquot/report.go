package main

import (
	"fmt"
	"io"
	"time"

	"aliquot/bridge/logbook"
	"aliquot/bridge/machine"
)

type reportCommand struct {
	Month   string `help:"Which month, as 2027-03; left out, the one that has just ended." placeholder:"MONTH"`
	History string `help:"From this history, JSON Lines; left out, from the ledger, beside a running service." type:"path" placeholder:"FILE"`
	Out     string `short:"o" help:"Write it here; left out, to standard output." type:"path" placeholder:"FILE.html"`
	Format  string `help:"html or json." enum:"html,json" default:"html"`
}

// Run shows a month.
func (r reportCommand) Run(std stream, g *Globals) error {
	l, err := load(g.Config)
	if err != nil {
		return err
	}
	now := time.Now()
	from, to, err := monthOf(r.Month, now, l.Zone)
	if err != nil {
		return err
	}
	span, err := r.span(std, l, from, to, now)
	if err != nil {
		return err
	}
	write := func(w io.Writer) error {
		return span.Page(w, fmt.Sprintf("%s, %s", l.Name, from.Format("January 2006")))
	}
	if r.Format == "json" {
		write = func(w io.Writer) error { return writeJSON(w, span) }
	}
	if r.Out == "" {
		return write(std.out)
	}
	if err := writeTo(r.Out, write); err != nil {
		return err
	}
	fmt.Fprintf(std.err, "%s is written to %s\n", from.Format("January 2006"), r.Out)
	return nil
}

func (r reportCommand) span(std stream, l loaded, from, to, now time.Time) (logbook.Span, error) {
	var rows []machine.Row
	var notes []string
	var err error
	if r.History == "" {
		rows, err = ledgerRows(l)
	} else {
		rows, notes, err = historyRows(std, l, r.History)
		if n := len(rows); n > 0 {
			now = later(rows[n-1].At, from) // what is behind a history's end is not known
		}
	}
	if err != nil {
		return logbook.Span{}, err
	}
	span := logbook.Gather(machineSite(l.Site), rows, from, to, now)
	span.Notes = append(span.Notes, notes...)
	return span, nil
}

// monthOf gives the local midnights around a month.
func monthOf(text string, now time.Time, zone *time.Location) (from, to time.Time, err error) {
	l := now.In(zone)
	first := time.Date(l.Year(), l.Month()-1, 1, 0, 0, 0, 0, zone)
	if text != "" {
		if first, err = time.ParseInLocation("2006-01", text, zone); err != nil {
			return from, to, fail(exitUsage, "--month %q is no month such as 2027-03", text)
		}
	}
	return first, time.Date(first.Year(), first.Month()+1, 1, 0, 0, 0, 0, zone), nil
}
