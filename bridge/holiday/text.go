package holiday

import (
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"aliquot/bridge/machine"
)

// Caveat stands on everything that is shown.
const Caveat = "This goes on with the volumes planned today and holds no tank: it is no forecast. Days are counted by the least that a container can hold."

// Text writes the holiday for a terminal.
func (h *Holiday) Text(w io.Writer) error {
	p := func(format string, args ...any) { fmt.Fprintf(w, format, args...) }
	p("%s from %s to %s, %.0f days\n%s\n\n", h.Site, h.Day(h.From), h.lastDay(), days(h.Until.Sub(h.From)), Caveat)
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(t, "CONTAINER\tHOLDS mL\tA DAY mL\tDAYS LEFT\tEMPTY, AS IT STANDS\tNEVER BEFORE")
	for _, k := range h.Outlook.Containers {
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\n", k.ID, holds(k), taken(k), lasts(k), h.empty(k), h.maybeDay(k.EmptyAtCaps))
	}
	if err := t.Flush(); err != nil {
		return err
	}
	list(w, "Before leaving", h.Before)
	var lines []string
	for _, r := range h.Refills {
		lines = append(lines, fmt.Sprintf("by %s: %.0f mL into %s", h.Day(r.By), r.ML, r.Container))
	}
	list(w, "The helper refills (if you filled as above)", lines)
	lines = nil
	for _, d := range h.During {
		lines = append(lines, h.Day(d.At)+": "+d.What)
	}
	list(w, "Falls into the holiday, if nothing is done before", lines)
	list(w, "Without tests", h.Without)
	return nil
}

func list(w io.Writer, title string, lines []string) {
	fmt.Fprintf(w, "\n%s:\n", title)
	if len(lines) == 0 {
		fmt.Fprintln(w, "  nothing")
	}
	for _, l := range lines {
		fmt.Fprintf(w, "  - %s\n", l)
	}
}

func holds(k machine.ContainerAhead) string {
	if !k.Known {
		return "not known"
	}
	return span(k.LeastML, k.MostML)
}

func taken(k machine.ContainerAhead) string {
	if !(k.HighPerDayML > 0) {
		return "nothing"
	}
	if k.HighPerDayML-k.PlanPerDayML < .05 {
		return fmt.Sprintf("%.1f", k.PlanPerDayML)
	}
	return fmt.Sprintf("%.1f to %.1f", k.PlanPerDayML, k.HighPerDayML)
}

func lasts(k machine.ContainerAhead) string {
	if k.DaysLeft == nil {
		return "-"
	}
	return fmt.Sprintf("%.0f", *k.DaysLeft)
}

// empty is from when to when a container can come to its stop.
func (h *Holiday) empty(k machine.ContainerAhead) string {
	early, late := h.maybeDay(k.EmptyEarliest), h.maybeDay(k.EmptyLatest)
	if early == late {
		return early
	}
	return early + " to " + late
}

func (h *Holiday) maybeDay(at *time.Time) string {
	if at == nil {
		return "-"
	}
	return h.Day(*at)
}

func span(low, high float64) string {
	if high-low < 1 {
		return fmt.Sprintf("%.0f", low)
	}
	return fmt.Sprintf("%.0f to %.0f", low, high)
}

// lastDay is the day of coming home: the span ends with it.
func (h *Holiday) lastDay() string { return h.Day(h.Until.Add(-time.Nanosecond)) }
