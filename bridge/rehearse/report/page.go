package report

import (
	"fmt"
	"html/template"
	"io"
	"math"
	"strings"
	"time"

	"aliquot/bridge/rehearse"
)

// page is what the template shows.
type page struct {
	Title, Kind, Lead, Caveat string
	Truth                     bool // a simulated truth is known
	Afterwards                bool // a plot shows what was known afterwards
	Verdicts                  []string
	Bad                       []string
	Good                      string
	Subjects                  []card
	Channels                  []card
	Containers                []card
	Withheld                  []withheldLine
	Remarks                   []remarkLine
	Tests                     []testLine
}

// card is one plotted thing.
type card struct {
	Name    string
	Figures []figure
	Plots   []drawing
}

type figure struct{ Name, Value string }

type drawing struct {
	Caption string
	SVG     template.HTML // made here, of numbers and escaped text
}

type withheldLine struct {
	Channel, Why, Code, Text, First string
	Slots, RanLater                 int
}

type remarkLine struct{ At, Text string }

type testLine struct{ At, What, Value, Expected, Error, Verdict, Planned string }

// Rehearsal writes the page of a rehearsal.
func Rehearsal(w io.Writer, r rehearse.Result, zone *time.Location) error {
	p := page{Title: "Rehearsal of " + r.Site, Kind: "rehearsal", Truth: true, Bad: r.Exceeded,
		Lead:   fmt.Sprintf("%d simulated days from %s, seed %d.", r.Days, r.From.In(zone).Format("2 January 2006 15:04"), r.Seed),
		Caveat: "The tank, the pumps and the keeper are simulated; the decisions are those of the real service. This is no forecast for a real tank."}
	if r.Commissioned != nil {
		p.Lead += fmt.Sprintf(" Every channel was ready at %s; the figures count from there.", r.Commissioned.In(zone).Format("2 January 15:04"))
	}
	if len(r.Asked) > 0 {
		p.Lead += " Asked for: " + strings.Join(r.Asked, "; ") + "."
	}
	if len(r.Exceeded) == 0 {
		p.Good = "What truly left the outlets stayed within every cap and its tolerance."
	}
	for i, q := range r.Quantities {
		p.Verdicts = append(p.Verdicts, verdict(q))
		s := subject{id: fmt.Sprintf("q%d", i), system: q.System, quantity: q.Quantity, unit: q.Unit, target: q.Target, band: q.Band, series: q.Series,
			tests: testsOf(r.Tests, q.System, q.Quantity)}
		p.Afterwards = p.Afterwards || len(lookedBack(q.Series)) > 0
		p.Subjects = append(p.Subjects, card{Name: q.Quantity + ", " + q.System, Figures: figures(q), Plots: plots(s, zone)})
	}
	for i, c := range r.Channels {
		p.Channels = append(p.Channels, card{Name: c.Channel, Plots: drawn("", dosePlot(i, c, zone)), Figures: []figure{
			{"into the tank", Small(c.VolumeML) + " mL"}, {"runs", fmt.Sprint(c.Runs)}, {"most in 24 h", fmt.Sprintf("%s of %s mL", Small(c.LargestML), Small(c.PerDayML))}}})
	}
	for i, k := range r.Containers {
		left := "not planned"
		if k.DaysLeft != nil {
			left = fmt.Sprintf("%.0f days", *k.DaysLeft)
		}
		p.Containers = append(p.Containers, card{Name: k.Container, Plots: drawn("", containerPlot(i, k, zone)), Figures: []figure{
			{"refills", fmt.Sprint(k.Refills)}, {"at the end", Small(k.EndML) + " mL"}, {"lasts", left}}})
	}
	for _, h := range r.Withheld {
		p.Withheld = append(p.Withheld, withheldLine{Channel: h.Channel, Why: Plain(h.Code), Code: string(h.Code), Text: h.Text,
			First: h.First.In(zone).Format("2 Jan 15:04"), Slots: h.Slots, RanLater: h.RanLater})
	}
	for _, m := range r.Happened {
		p.Remarks = append(p.Remarks, remarkLine{m.At.In(zone).Format("2 Jan 15:04"), m.Text})
	}
	return document.Execute(w, p)
}

// Replay writes the page of a history that was lived.
func Replay(w io.Writer, r rehearse.Replayed, zone *time.Location) error {
	p := page{Title: "History of " + r.Site + ", replayed", Kind: "history",
		Lead:   fmt.Sprintf("%d rows.", r.Rows),
		Caveat: "Each test beside what the estimator had predicted for it from everything before. Nothing is simulated."}
	if r.From != nil {
		p.Lead = fmt.Sprintf("%d rows from %s to %s.", r.Rows, r.From.In(zone).Format("2 January 2006"), r.To.In(zone).Format("2 January 2006"))
	}
	tests := r.AsTests()
	for i, q := range r.Quantities {
		f := []figure{{"tests", fmt.Sprint(q.Tests)}, {"set aside", fmt.Sprint(q.SetAside)}}
		line := fmt.Sprintf("%s of %s: nothing was predicted yet (tests: %d).", q.Quantity, q.System, q.Tests)
		if q.RMSError != nil && q.Within90 != nil {
			f = append(f, figure{"typical error of a prediction", Small(*q.RMSError) + " " + q.Unit}, figure{"tests within 90 %", fmt.Sprintf("%.0f %%", *q.Within90)})
			line = fmt.Sprintf("%s of %s: predictions missed by %s %s (root mean square); %.0f %% of the tests lay within the 90 %% interval.", q.Quantity, q.System, Small(*q.RMSError), q.Unit, *q.Within90)
		}
		p.Verdicts = append(p.Verdicts, line)
		s := subject{id: fmt.Sprintf("q%d", i), system: q.System, quantity: q.Quantity, unit: q.Unit, target: q.Target, band: q.Band, series: q.Series,
			tests: testsOf(tests, q.System, q.Quantity), predictions: true}
		p.Afterwards = p.Afterwards || len(lookedBack(q.Series)) > 0
		p.Subjects = append(p.Subjects, card{Name: q.Quantity + ", " + q.System, Figures: f, Plots: plots(s, zone)})
	}
	for i, t := range r.Tests {
		line := testLine{At: t.At.In(zone).Format("2 Jan 2006 15:04"), What: t.Quantity, Value: Level(t.Value) + " " + t.Unit, Expected: "not yet", Verdict: t.Verdict, Planned: tests[i].PlannedNote}
		if t.Predicted != nil {
			line.Expected, line.Error = Level(*t.Predicted)+" ± "+Small(z90**t.PredictedSD), Signed(*t.Error)
		}
		if t.Became != "" {
			line.Verdict += ", " + t.Became
		}
		p.Tests = append(p.Tests, line)
	}
	for _, note := range r.Notes {
		p.Remarks = append(p.Remarks, remarkLine{"", note})
	}
	return document.Execute(w, p)
}

func testsOf(all []rehearse.Test, system, quantity string) []rehearse.Test {
	var out []rehearse.Test
	for _, t := range all {
		if t.System == system && t.Quantity == quantity {
			out = append(out, t)
		}
	}
	return out
}

func plots(s subject, zone *time.Location) []drawing {
	return append(drawn("Level", levelPlot(s, zone)), drawn("Use a day", usePlot(s, zone))...)
}

func drawn(caption, svg string) []drawing {
	if svg == "" {
		return nil
	}
	return []drawing{{caption, template.HTML(svg)}}
}

func figures(q rehearse.QuantityResult) []figure {
	return []figure{
		{"inside the band", fmt.Sprintf("%.0f %%", q.InBandPercent)},
		{"start → end", Level(q.Start) + " → " + Level(q.End) + " " + q.Unit},
		{"target", Level(q.Target) + " ± " + Small(q.Band) + " " + q.Unit},
		{"typical deviation", Small(q.RMS) + " " + q.Unit},
		{"worst", Signed(q.Worst) + " " + q.Unit},
		{"largest swing in a day", Small(q.DaySwing) + " " + q.Unit},
		{"tests", fmt.Sprintf("%d, %d held, %d missed", q.Entered, q.SetAside, q.Missed)},
	}
}

// verdict is the sentence that a keeper reads first.
func verdict(q rehearse.QuantityResult) string {
	where := "never far from its target"
	switch {
	case math.Abs(q.Worst) > q.Band && q.Worst > 0:
		where = fmt.Sprintf("at worst %s %s above its target", Small(q.Worst), q.Unit)
	case math.Abs(q.Worst) > q.Band:
		where = fmt.Sprintf("at worst %s %s below its target", Small(-q.Worst), q.Unit)
	}
	return fmt.Sprintf("%s of %s was inside its band for %.0f %% of the hours, %s.", q.Quantity, q.System, q.InBandPercent, where)
}
