package main

import (
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"aliquot/bridge/rehearse"
	"aliquot/bridge/rehearse/report"
	"aliquot/bridge/screen"
)

// remarksShown is how many remarks the table shows; all are in the other formats.
const remarksShown = 20

func writeRehearsal(w io.Writer, r rehearse.Result, zone *time.Location) error {
	fmt.Fprintf(w, "%s rehearsed for %s from %s, seed %d. A simulated tank, not a forecast.\n", r.Site, count(r.Days, "day"), r.From.In(zone).Format("2006-01-02 15:04 MST"), r.Seed)
	for i, a := range r.Asked {
		head := "Asked for: "
		if i > 0 {
			head = "           "
		}
		fmt.Fprintln(w, head+a)
	}
	if r.Commissioned == nil {
		fmt.Fprintln(w, "The channels were never all ready; see the remarks.")
	} else {
		fmt.Fprintf(w, "Every channel was primed and calibrated at %s; levels are judged from there on.\n", r.Commissioned.In(zone).Format("01-02 15:04"))
	}
	fmt.Fprintln(w)
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(t, "QUANTITY\tSTART\tEND\tTARGET\tIN BAND\tRMS\tWORST\tDAY SWING\tTESTS")
	for _, q := range r.Quantities {
		fmt.Fprintf(t, "%s %s\t%s\t%s\t%s ± %s %s\t%.0f %%\t%s\t%s\t%s\t%d entered, %d set aside, %d missed\n", q.System, q.Quantity,
			report.Level(q.Start), report.Level(q.End), report.Level(q.Target), report.Small(q.Band), q.Unit, q.InBandPercent,
			report.Small(q.RMS), report.Signed(q.Worst), report.Small(q.DaySwing), q.Entered, q.SetAside, q.Missed)
	}
	t.Flush()
	fmt.Fprintln(w)
	t = tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(t, "CHANNEL\tINTO THE TANK\tRUNS\tCAP A DAY\tMOST IN 24 h\tNOT AT ONCE")
	for _, c := range r.Channels {
		fmt.Fprintf(t, "%s\t%.1f mL\t%d\t%.0f mL\t%.1f mL (%.0f %%)\t%d\n", c.Channel, c.VolumeML, c.Runs, c.PerDayML, c.LargestML, 100*c.LargestML/c.PerDayML, c.WithheldNum)
	}
	t.Flush()
	fmt.Fprintln(w)
	t = tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(t, "CONTAINER\tREFILLS\tAT THE END\tLASTS")
	for _, k := range r.Containers {
		left := "not planned"
		if k.DaysLeft != nil {
			left = fmt.Sprintf("%.0f d", *k.DaysLeft)
		}
		fmt.Fprintf(t, "%s\t%d\t%.0f of %.0f mL\t%s\n", k.Container, k.Refills, k.EndML, k.CapacityML, left)
	}
	t.Flush()
	writeWithheld(w, r)
	return writeRemarks(w, r, zone)
}

func writeWithheld(w io.Writer, r rehearse.Result) {
	if len(r.Withheld) == 0 {
		fmt.Fprintln(w, "\nNo slot was withheld.")
		return
	}
	fmt.Fprintln(w, "\nSlots that did not run at once, and why")
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(t, "CHANNEL\tCODE\tSLOTS\tRAN LATER\tWHY")
	for _, h := range r.Withheld {
		fmt.Fprintf(t, "%s\t%s\t%d\t%d\t%s\n", h.Channel, h.Code, h.Slots, h.RanLater, report.Plain(h.Code))
	}
	t.Flush()
}

func writeRemarks(w io.Writer, r rehearse.Result, zone *time.Location) error {
	if len(r.Happened) > 0 {
		fmt.Fprintln(w, "\nRemarks")
	}
	for i, m := range r.Happened {
		if i == remarksShown {
			fmt.Fprintf(w, "… and %d more, in --format json\n", len(r.Happened)-i)
			break
		}
		fmt.Fprintf(w, "%s  %s\n", m.At.In(zone).Format("01-02 15:04"), m.Text)
	}
	if len(r.Exceeded) == 0 {
		_, err := fmt.Fprintln(w, "\nWhat truly left the outlets stayed within every cap and its tolerance.")
		return err
	}
	_, err := fmt.Fprintln(w, "\nMore left the outlets than a cap and its tolerance allow; see the error.")
	return err
}

func writeReplay(w io.Writer, r rehearse.Replayed, zone *time.Location) error {
	fmt.Fprintf(w, "%s: %s, as the estimator saw them\n\n", r.Site, count(r.Rows, "row"))
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(t, "QUANTITY\tTESTS\tPREDICTED\tSET ASIDE\tRMS ERROR\tWITHIN 90 %")
	for _, q := range r.Quantities {
		rms, within := "—", "—"
		if q.RMSError != nil {
			rms = report.Small(*q.RMSError) + " " + q.Unit
		}
		if q.Within90 != nil {
			within = fmt.Sprintf("%.0f %%", *q.Within90)
		}
		fmt.Fprintf(t, "%s %s\t%d\t%d\t%d\t%s\t%s\n", q.System, q.Quantity, q.Tests, q.Predicted, q.SetAside, rms, within)
	}
	t.Flush()
	fmt.Fprintln(w)
	t = tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(t, "TIME\tQUANTITY\tTEST\tPREDICTED (90 %)\tERROR\tVERDICT\tPLANNED FOR THE NEXT 24 h")
	plans := r.AsTests()
	for i, k := range r.Tests {
		predicted, miss := "not yet", ""
		if k.Predicted != nil {
			predicted, miss = report.Level(*k.Predicted)+" ± "+report.Small(screen.Z90**k.PredictedSD), report.Signed(*k.Error)
		}
		verdict := k.Verdict
		if k.Became != "" {
			verdict += ", " + k.Became
		}
		fmt.Fprintf(t, "%s\t%s\t%s %s\t%s\t%s\t%s\t%s\n", k.At.In(zone).Format("2006-01-02 15:04"), k.Quantity, report.Level(k.Value), k.Unit, predicted, miss, verdict, plans[i].PlannedNote)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	for _, n := range r.Notes {
		fmt.Fprintln(w, "note:", n)
	}
	return nil
}
