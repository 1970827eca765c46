package main

import (
	"fmt"
	"io"
	"time"

	"aliquot/bridge/holiday"
	"aliquot/bridge/machine"
)

type holidayCommand struct {
	From    string `help:"The local day of leaving, as 2027-07-10." required:"" placeholder:"DATE"`
	Until   string `help:"The local day of coming home." required:"" placeholder:"DATE"`
	History string `help:"From this history, JSON Lines; left out, from the ledger, beside a running service." type:"path" placeholder:"FILE"`
	At      string `help:"From what was known then, RFC 3339; needed with --history; left out, now." placeholder:"TIME"`
	Sheet   string `help:"Write a page to print for the helper." type:"path" placeholder:"FILE.html"`
	Format  string `help:"text or json." enum:"text,json" default:"text"`
}

// holidayMost is the longest holiday that is looked at: an outlook by today's volumes says nothing beyond it.
const holidayMost = 120 * 24 * time.Hour

// Run looks at a holiday beforehand.
func (c holidayCommand) Run(std stream, g *Globals) error {
	p := planCommand{History: c.History, At: c.At}
	at, err := p.moment()
	if err != nil {
		return err
	}
	l, err := load(g.Config)
	if err != nil {
		return err
	}
	from, until, err := c.span(at, l.Zone)
	if err != nil {
		return err
	}
	past, _, err := gather(p, std, l, func() *past { return newPast(l, at) })
	if err != nil {
		return err
	}
	state := past.fold.State()
	h := holiday.Plan(l.Name, machine.Ahead(&state, at), from, until, l.Zone)
	if c.Sheet != "" {
		if err := writeTo(c.Sheet, func(w io.Writer) error { return h.Sheet(w) }); err != nil {
			return err
		}
		fmt.Fprintf(std.err, "the helper's sheet is written to %s\n", c.Sheet)
	}
	if c.Format == "json" {
		return writeJSON(std.out, h)
	}
	return h.Text(std.out)
}

// span reads the days: from the morning of leaving, or now if that is over, to the end of the day of coming home.
func (c holidayCommand) span(at time.Time, zone *time.Location) (from, until time.Time, err error) {
	if from, err = time.ParseInLocation(time.DateOnly, c.From, zone); err != nil {
		return from, until, fail(exitUsage, "--from %q is no day such as 2027-07-10", c.From)
	}
	if until, err = time.ParseInLocation(time.DateOnly, c.Until, zone); err != nil {
		return from, until, fail(exitUsage, "--until %q is no day such as 2027-07-24", c.Until)
	}
	if until.Before(from) {
		return from, until, fail(exitUsage, "--until %s is before --from %s", c.Until, c.From)
	}
	from, until = later(from, at), time.Date(until.Year(), until.Month(), until.Day()+1, 0, 0, 0, 0, zone)
	if !until.After(at) {
		return from, until, fail(exitUsage, "--until %s is over: a holiday is looked at beforehand", c.Until)
	}
	if until.Sub(at) > holidayMost {
		return from, until, fail(exitUsage, "--until %s is more than %.0f days ahead; today's volumes say nothing of then: look again when it is nearer", c.Until, holidayMost.Hours()/24)
	}
	return from, until, nil
}
