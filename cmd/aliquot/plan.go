package main

import (
	"encoding/json"
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/screen"
	"aliquot/planner/units"
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
	if p.Day != "" {
		return p.day(std, l)
	}
	view, err := p.view(std, l, at)
	if err != nil {
		return err
	}
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

func writeJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(v)
}

func writePlan(w io.Writer, v machine.PlanView, zone *time.Location) error {
	fmt.Fprintf(w, "The 24 h from %s\n\n", v.At.In(zone).Format("2006-01-02 15:04 MST"))
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(t, "SYSTEM\tQUANTITY\tLEVEL (90 %)\tUSE A DAY (90 %)\tTESTS")
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

// plusMinus is a figure with its interval of 90 %, as in aliquot status and on the page.
func plusMinus(v, sd *float64, unit string) string {
	if v == nil {
		return "not known"
	}
	return fmt.Sprintf("%.3g ± %.2g %s", units.Plain(*v), units.Plain(screen.Z90**sd), unit)
}
