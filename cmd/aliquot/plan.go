package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"text/tabwriter"
	"time"

	"aliquot/bridge/ledger"
	"aliquot/bridge/machine"
)

type planCommand struct {
	History string `help:"A history in JSON Lines; - reads standard input; left out, the ledger, which is only read." type:"path" placeholder:"FILE"`
	At      string `help:"When the plan begins, RFC 3339; left out with the ledger, or with --day, now." placeholder:"TIME"`
	Day     string `help:"Draw a picture of this local day: a date, today or tomorrow." placeholder:"DATE"`
	SVG     string `name:"svg" help:"Write the picture of the day as SVG too." type:"path" placeholder:"FILE.svg"`
	viewing
}

func (p planCommand) Run(std stream, g *Globals) error {
	if p.SVG != "" && p.Day == "" {
		return fail(exitUsage, "--svg draws a day: say which, as in --day today")
	}
	at, err := p.moment()
	if err != nil {
		return err
	}
	l, err := load(g.Config)
	if err != nil {
		return err
	}
	rows, notes, err := p.rows(std, l)
	if err != nil {
		return err
	}
	if p.Day != "" {
		return p.day(std, l, rows, notes)
	}
	view := planFrom(l, rows, notes, at)
	if p.Format == "json" {
		return writeJSON(std.out, view)
	}
	return writePlan(std.out, view, l.Zone)
}

// moment is when the plan begins. A history is a thing of the past: where one is planned from, the moment is part of the
// question, so that the same question has the same answer.
func (p planCommand) moment() (time.Time, error) {
	if p.At == "" {
		if p.History != "" && p.Day == "" {
			return time.Time{}, fail(exitUsage, "--history needs --at, when the plan begins, such as 2027-03-02T00:00:00Z")
		}
		return time.Now(), nil
	}
	at, err := time.Parse(time.RFC3339, p.At)
	if err != nil {
		return at, fail(exitUsage, "--at %q is no RFC 3339 time such as 2027-03-02T00:00:00Z", p.At)
	}
	return at, nil
}

// rows are those of the history, or of the ledger beside a running service.
func (p planCommand) rows(std stream, l loaded) (rows []machine.Row, notes []string, err error) {
	if p.History == "" {
		rows, err = ledgerRows(l)
		return rows, nil, err
	}
	return historyRows(std, l, p.History)
}

// ledgerRows reads the whole ledger beside a running service.
func ledgerRows(l loaded) ([]machine.Row, error) {
	book, err := ledger.Open(ledger.Options{Path: l.Ledger.Path, ReadOnly: true})
	if err != nil {
		return nil, fail(exitLedger, "%w", err)
	}
	defer book.Close()
	var rows []machine.Row
	if err := book.Each(1, func(r machine.Row) error { rows = append(rows, r); return nil }); err != nil {
		return nil, fail(exitLedger, "%w", err)
	}
	return rows, nil
}

// historyRows reads a history file, with what is to be noted of its lines.
func historyRows(std stream, l loaded, path string) (rows []machine.Row, notes []string, err error) {
	in := std.in
	if path != "-" {
		f, err := os.Open(path)
		if err != nil {
			return nil, nil, fail(exitUsage, "reading the history: %w", err)
		}
		defer f.Close()
		in = f
	}
	site := historySite(l)
	site.WithoutIDs = true
	rows, said, err := site.Read(in, path)
	if err != nil {
		return nil, nil, fail(exitFailed, "%w", err)
	}
	for _, n := range said {
		notes = append(notes, fmt.Sprintf("%s:%d: %s", path, n.Line, n.Text))
	}
	return rows, notes, nil
}

// planFrom folds a history up to a moment and plans from there.
func planFrom(l loaded, rows []machine.Row, notes []string, at time.Time) machine.PlanView {
	fold := machine.NewFold(machineSite(l.Site))
	later := 0
	for _, row := range rows {
		if row.At.After(at) {
			later++
			continue
		}
		fold.Add(row)
	}
	state := fold.State()
	view := machine.Preview(&state, at)
	view.Notes = append(view.Notes, notes...)
	if later > 0 {
		view.Notes = append(view.Notes, fmt.Sprintf("%s after %s left out", count(later, "line"), at.UTC().Format(time.RFC3339)))
	}
	return view
}

func writeJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(v)
}

func writePlan(w io.Writer, v machine.PlanView, zone *time.Location) error {
	fmt.Fprintf(w, "The 24 h from %s\n\n", v.At.In(zone).Format("2006-01-02 15:04 MST"))
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(t, "SYSTEM\tQUANTITY\tLEVEL\tUSE A DAY\tTESTS")
	for _, e := range v.Estimates {
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%d used, %d set aside\n", e.System, e.Quantity, plusMinus(e.Level, e.LevelSD, e.Unit),
			plusMinus(e.ConsumptionPerDay, e.ConsumptionSD, e.Unit), e.TestsUsed, e.TestsSetAside)
	}
	t.Flush()
	fmt.Fprintln(w)
	t = tabwriter.NewWriter(w, 0, 4, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "TIME\tCHANNEL\tmL\tSECONDS\t")
	sums, order := map[string]float64{}, []string{}
	for _, r := range v.Runs {
		fmt.Fprintf(t, "%s\t%s\t%.2f\t%.1f\t\n", r.At.In(zone).Format("01-02 15:04"), r.Channel, r.VolumeML, r.Seconds)
		if _, seen := sums[r.Channel]; !seen {
			order = append(order, r.Channel)
		}
		sums[r.Channel] += r.VolumeML
	}
	t.Flush()
	fmt.Fprintln(w)
	for _, c := range order {
		fmt.Fprintf(w, "%s: %.2f mL in all\n", c, sums[c])
	}
	for _, h := range v.Withheld {
		fmt.Fprintf(w, "%s is withheld (%s): %s\n", h.Channel, h.Code, h.Text)
	}
	for _, n := range v.Notes {
		fmt.Fprintf(w, "note: %s\n", n)
	}
	return nil
}

func plusMinus(v, sd *float64, unit string) string {
	if v == nil {
		return "not known"
	}
	return fmt.Sprintf("%.3g ± %.2g %s", *v, *sd, unit)
}
