package logbook

import (
	"fmt"
	"html"
	"math"
	"time"

	"aliquot/bridge/plot"
)

// z90 is how many standard deviations from the mean 90 % of a normal distribution lie within.
const z90 = 1.645

// series picks the values of the samples that have one.
func series(samples []Sample, value func(Sample) *float64) []plot.Point {
	var out []plot.Point
	for _, s := range samples {
		if v := value(s); v != nil {
			out = append(out, plot.At(s.At, *v))
		}
	}
	return out
}

// around gives the ends of the 90 % interval, not below 0.
func around(samples []Sample, mean, sd func(Sample) *float64) (low, high []plot.Point) {
	for _, s := range samples {
		if m, d := mean(s), sd(s); m != nil && d != nil {
			low, high = append(low, plot.At(s.At, max(0, *m-z90**d))), append(high, plot.At(s.At, *m+z90**d))
		}
	}
	return low, high
}

func known(s Sample) *float64      { return s.Known }
func knownSD(s Sample) *float64    { return s.KnownSD }
func believed(s Sample) *float64   { return s.Believed }
func use(s Sample) *float64        { return s.Use }
func knownUse(s Sample) *float64   { return s.KnownUse }
func knownUseSD(s Sample) *float64 { return s.KnownUseSD }

func levels(lists ...[]plot.Point) []float64 {
	var out []float64
	for _, l := range lists {
		for _, p := range l {
			out = append(out, p.V)
		}
	}
	return out
}

// SmallLevelPlot draws the level of the i-th quantity for a card, as SVG in the classes of plot.Marks; empty where there is
// nothing to show.
func (s *Span) SmallLevelPlot(id string, i int) string {
	return s.levelPlot(id, s.Quantities[i], plot.Narrow, 190)
}

// levelPlot shows the level as known now with its interval, as believed then, band and tests.
func (s *Span) levelPlot(id string, q Quantity, width, height float64) string {
	now, then := series(q.Samples, known), series(q.Samples, believed)
	if len(then)+len(q.Tests) == 0 {
		return ""
	}
	low, high := around(q.Samples, known, knownSD)
	scale := append(levels(now, then), q.Target-1.3*q.Band, q.Target+1.3*q.Band)
	for _, t := range q.Tests {
		if !t.Held {
			scale = append(scale, t.Value)
		}
	}
	p := plot.New(id, width, height, s.From, s.To, s.zone, scale)
	p.AboutTarget(q.Target, q.Band, q.Unit, func() {
		p.Area("knownband", low, high)
		p.Line("believed", then)
		p.Line("known", now)
	})
	held := 0
	for _, t := range q.Tests {
		tip := fmt.Sprintf("%s: %s %s", t.At.In(s.zone).Format("2 Jan 15:04"), plot.Figure(t.Value), q.Unit)
		if t.By != "" {
			tip += ", " + t.By
		}
		if !t.Held {
			p.Ring(t.At, t.Value, tip)
			continue
		}
		held++
		p.Diamond(t.At, t.Value, tip+"; held back", "held: "+plot.Figure(t.Value))
	}
	text := fmt.Sprintf("Target %s, band from %s to %s %s. %d tests, %d of them held back.", plot.Figure(q.Target), plot.Figure(q.Target-q.Band), plot.Figure(q.Target+q.Band), q.Unit, len(q.Tests), held)
	if len(now) > 0 {
		lo, hi := ends(now)
		text += fmt.Sprintf(" As known now it went from %s to %s and ended at %s.", plot.Figure(lo), plot.Figure(hi), plot.Figure(now[len(now)-1].V))
	}
	return p.Finish(q.Quantity+" of "+q.System+": level", text)
}

func ends(points []plot.Point) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, p := range points {
		lo, hi = min(lo, p.V), max(hi, p.V)
	}
	return lo, hi
}

// usePlot shows how much is used a day.
func (s *Span) usePlot(id string, q Quantity) string {
	now, then := series(q.Samples, knownUse), series(q.Samples, use)
	if len(then) == 0 {
		return ""
	}
	low, high := around(q.Samples, knownUse, knownUseSD)
	p := plot.New(id, plot.Wide, 160, s.From, s.To, s.zone, append(levels(now, then, high), 0))
	p.Axes(q.Unit + "/day")
	p.Clipped(func() {
		p.Area("knownband", low, high)
		p.Line("believed", then)
		p.Line("known", now)
	})
	text := fmt.Sprintf("At the end %s %s a day was believed.", plot.Small(then[len(then)-1].V), q.Unit)
	if len(now) > 0 {
		text += fmt.Sprintf(" As known now it was %s at the beginning and %s at the end.", plot.Small(now[0].V), plot.Small(now[len(now)-1].V))
	}
	return p.Finish(q.Quantity+" of "+q.System+": use a day", text)
}

// dosePlot shows what a channel gave on each local day.
func (s *Span) dosePlot(id string, c Channel) string {
	most := 0.0
	for _, d := range c.Days {
		most = max(most, d)
	}
	p := plot.New(id, plot.Narrow, 150, s.From, s.To, s.zone, []float64{0, max(most, min(c.PerDayML, 3*most), 1)})
	p.Lo = 0
	p.Axes("mL a day")
	for i, ml := range c.Days {
		day := s.day(i)
		if ml > 0 {
			x0, x1 := p.X(day), p.X(s.day(i+1))
			p.Out(`<rect class="dose" x="%s" y="%s" width="%s" height="%s"><title>%s: %s mL</title></rect>`, plot.N(x0+1), plot.N(p.Y(ml)), plot.N(max(1, x1-x0-2)), plot.N(p.Y(0)-p.Y(ml)),
				html.EscapeString(day.In(s.zone).Format("2 Jan")), plot.Small(ml))
		}
	}
	if c.PerDayML <= p.Hi {
		p.Level("cap", c.PerDayML)
		p.Out(`<text class="caplabel" x="%s" y="%s" text-anchor="end">cap in 24 h</text>`, plot.N(p.Width-plot.MarginR-4), plot.N(p.Y(c.PerDayML)+14))
	}
	return p.Finish("Channel "+c.Channel+": volume by day", fmt.Sprintf("%s mL in all, %s mL on the largest day, of a cap of %s mL in 24 h.", plot.Small(c.TotalML), plot.Small(most), plot.Small(c.PerDayML)))
}

func (s *Span) day(i int) time.Time {
	f := s.From.In(s.zone)
	return time.Date(f.Year(), f.Month(), f.Day()+i, 0, 0, 0, 0, s.zone)
}

// containerPlot shows what a container held at the least.
func (s *Span) containerPlot(id string, k Container) string {
	var points, base []plot.Point
	for _, c := range k.Contents {
		points, base = append(points, plot.At(c.At, c.ML)), append(base, plot.At(c.At, 0))
	}
	if len(points) < 2 {
		return ""
	}
	p := plot.New(id, plot.Narrow, 150, s.From, s.To, s.zone, []float64{0, k.CapacityML})
	p.Lo = 0
	p.Axes("mL")
	p.Clipped(func() {
		p.Area("contents", base, points)
		p.Line("contentsline", points)
		p.Level("stop", k.StopML)
	})
	p.Out(`<text class="caplabel" x="%s" y="%s">stop</text>`, plot.N(plot.MarginL+6), plot.N(p.Y(k.StopML)-4))
	return p.Finish("Container "+k.Container+": contents", fmt.Sprintf("%s mL at the end, of %s mL; refilled %d times.", plot.Small(points[len(points)-1].V), plot.Small(k.CapacityML), k.Refills))
}

// calibrationPlot shows a channel's rates, from its first calibration on.
func (s *Span) calibrationPlot(id string, c Channel) string {
	if len(c.Calibrations) < 2 {
		return ""
	}
	var points []plot.Point
	for _, k := range c.Calibrations {
		points = append(points, plot.At(k.At, k.RateMLPerMin))
	}
	last := points[len(points)-1]
	room := max(24*time.Hour, last.T.Sub(points[0].T)/12)
	p := plot.New(id, plot.Narrow, 150, points[0].T.Add(-room), later(s.To, last.T), s.zone, levels(points))
	p.Axes("mL/min")
	p.Clipped(func() { p.Line("believed", points) })
	for i, k := range c.Calibrations {
		tip := fmt.Sprintf("%s: %s mL/min", k.At.In(s.zone).Format("2 Jan 2006"), plot.Figure(k.RateMLPerMin))
		if k.ChangeShare != nil {
			tip += fmt.Sprintf(", %+.1f %%", 100**k.ChangeShare)
		}
		p.Ring(points[i].T, points[i].V, tip)
	}
	return p.Finish("Channel "+c.Channel+": calibrations", fmt.Sprintf("%d calibrations, from %s to %s mL/min.", len(points), plot.Figure(points[0].V), plot.Figure(last.V)))
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
