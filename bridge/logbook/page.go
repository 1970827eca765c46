package logbook

import (
	"fmt"
	"html/template"
	"io"
	"math"
	"strings"

	"aliquot/bridge/plot"
)

// sheet is what the template shows.
type sheet struct {
	Title, Lead  string
	Short        []string
	Subjects     []card
	Channels     []card
	Containers   []card
	Calibrations []card
	Trouble      []line
	Care         []line
	Notes        []string
}

type card struct {
	Name    string
	Figures []pair
	Plots   []drawing
}

type pair struct{ Name, Value string }

type drawing struct {
	Caption string
	SVG     template.HTML // made here, of numbers and escaped text
}

type line struct{ At, What, Of, By, Text string }

// Page writes the span as one HTML page that needs nothing else.
func (s *Span) Page(w io.Writer, title string) error {
	p := sheet{Title: title, Lead: fmt.Sprintf("%s to %s.", s.From.In(s.zone).Format("2 January 2006"), s.To.In(s.zone).AddDate(0, 0, -1).Format("2 January 2006")), Notes: s.Notes}
	if s.Until.Before(s.To) {
		p.Lead += fmt.Sprintf(" Known up to %s.", s.Until.In(s.zone).Format("2 January 15:04"))
	}
	for i, q := range s.Quantities {
		p.Short = append(p.Short, s.sentence(q))
		p.Subjects = append(p.Subjects, card{Name: q.Quantity + ", " + q.System, Figures: quantityFigures(q),
			Plots: append(drawn("Level", s.levelPlot(fmt.Sprintf("q%d-level", i), q, plot.Wide, 250)), drawn("Use a day", s.usePlot(fmt.Sprintf("q%d-use", i), q))...)})
	}
	for i, c := range s.Channels {
		p.Channels = append(p.Channels, card{Name: c.Channel, Figures: channelFigures(c), Plots: drawn("", s.dosePlot(fmt.Sprintf("dose-%d", i), c))})
		if len(c.Calibrations) > 0 {
			p.Calibrations = append(p.Calibrations, card{Name: c.Channel, Figures: s.calibrationFigures(c), Plots: drawn("", s.calibrationPlot(fmt.Sprintf("rate-%d", i), c))})
		}
	}
	for i, k := range s.Containers {
		f := []pair{{"refills", fmt.Sprint(k.Refills)}}
		if n := len(k.Contents); n > 0 {
			f = append(f, pair{"at the end", plot.Small(k.Contents[n-1].ML) + " of " + plot.Small(k.CapacityML) + " mL"})
		}
		p.Containers = append(p.Containers, card{Name: k.Container, Figures: f, Plots: drawn("", s.containerPlot(fmt.Sprintf("box-%d", i), k))})
	}
	p.Short = append(p.Short, s.troubleSentence())
	p.Trouble, p.Care = s.lines(s.Trouble), s.lines(s.Care)
	return document.Execute(w, p)
}

func drawn(caption, svg string) []drawing {
	if svg == "" {
		return nil
	}
	return []drawing{{caption, template.HTML(svg)}}
}

// inBand is the share of the samples whose level, as well as it is known, lay within the band.
func inBand(q Quantity) (share float64, ok bool) {
	n, in := 0, 0
	for _, s := range q.Samples {
		v := s.Known
		if v == nil {
			v = s.Believed
		}
		if v == nil {
			continue
		}
		n++
		if math.Abs(*v-q.Target) <= q.Band {
			in++
		}
	}
	if n == 0 {
		return 0, false
	}
	return float64(in) / float64(n), true
}

func (s *Span) sentence(q Quantity) string {
	name := q.Quantity + " of " + q.System
	part, ok := inBand(q)
	if !ok {
		return name + ": nothing is known of it; there was no test."
	}
	text := fmt.Sprintf("%s: in its band for %.0f %% of the time", name, 100*part)
	if points := series(q.Samples, known); len(points) > 0 {
		lo, hi := ends(points)
		text += fmt.Sprintf(", between %s and %s %s", plot.Figure(lo), plot.Figure(hi), q.Unit)
	}
	return text + fmt.Sprintf("; %s.", counted(len(q.Tests), "test"))
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func (s *Span) troubleSentence() string {
	alerts, lockouts, odd := 0, 0, 0
	for _, e := range s.Trouble {
		switch {
		case e.Kind == "alert" && !strings.HasPrefix(e.Text, "over"):
			alerts++
		case e.Kind == "lockout" || e.Kind == "out_of_service":
			lockouts++
		case e.Odd():
			odd++
		}
	}
	if alerts+lockouts+odd == 0 {
		return "Nothing went wrong that was noticed."
	}
	return fmt.Sprintf("%s, %s, %s that did not end as told.", counted(alerts, "alert"), counted(lockouts, "lockout"), counted(odd, "run"))
}

func quantityFigures(q Quantity) []pair {
	out := []pair{{"target", plot.Figure(q.Target) + " ± " + plot.Small(q.Band) + " " + q.Unit}}
	if points := series(q.Samples, known); len(points) > 0 {
		out = append(out, pair{"start → end", plot.Figure(points[0].V) + " → " + plot.Figure(points[len(points)-1].V) + " " + q.Unit})
	}
	if points := series(q.Samples, knownUse); len(points) > 0 {
		out = append(out, pair{"use a day, start → end", plot.Small(points[0].V) + " → " + plot.Small(points[len(points)-1].V) + " " + q.Unit})
	}
	held := 0
	for _, t := range q.Tests {
		if t.Held {
			held++
		}
	}
	return append(out, pair{"tests", fmt.Sprintf("%d, %d held back", len(q.Tests), held)})
}

func channelFigures(c Channel) []pair {
	most := 0.0
	for _, d := range c.Days {
		most = max(most, d)
	}
	out := []pair{{"into the tank", plot.Small(c.TotalML) + " mL in " + counted(c.Runs, "run")}, {"most in a day", fmt.Sprintf("%s of %s mL", plot.Small(most), plot.Small(c.PerDayML))}}
	if k := c.Course; k != nil {
		given := "at most " + plot.Small(k.GivenHiML)
		if k.TotalML != nil {
			given += " of " + plot.Small(*k.TotalML)
		}
		out = append(out, pair{"of its course by then", given + " mL"})
	}
	if c.Odd > 0 {
		out = append(out, pair{"did not end as told", counted(c.Odd, "run")})
	}
	return out
}

// calibrationFigures judge a drift as planner/metering does: tubing above 5 %, air above 15 % (common practice).
func (s *Span) calibrationFigures(c Channel) []pair {
	last := c.Calibrations[len(c.Calibrations)-1]
	out := []pair{{"rate", plot.Figure(last.RateMLPerMin) + " mL/min"}, {"calibrated", last.At.In(s.zone).Format("2 Jan 2006") + ", " + counted(last.Trials, "trial")}}
	if last.ChangeShare == nil {
		return out
	}
	text := fmt.Sprintf("%+.1f %%", 100**last.ChangeShare)
	switch a := math.Abs(*last.ChangeShare); {
	case a > 0.15:
		text += ": air or a slipped tube?"
	case a > 0.05:
		text += ": look at the tubing"
	}
	return append(out, pair{"against the one before", text})
}

func (s *Span) lines(list []Entry) []line {
	var out []line
	for _, e := range list {
		out = append(out, line{e.At.In(s.zone).Format("2 Jan 15:04"), strings.ReplaceAll(e.Kind, "_", " "), e.Of(), e.By, e.Text})
	}
	return out
}
