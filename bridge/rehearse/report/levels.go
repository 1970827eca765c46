package report

import (
	"fmt"
	"math"
	"time"

	"aliquot/bridge/plot"
	"aliquot/bridge/rehearse"
)

// z90 is how many standard deviations from the mean 90 % of a normal distribution lie within.
const z90 = 1.645

// subject is a quantity as the plots need it.
type subject struct {
	id                     string
	system, quantity, unit string
	target, band           float64
	series                 []rehearse.Sample
	tests                  []rehearse.Test
	predictions            bool // show what had been predicted for each test
}

// thin keeps a series at a length that a page can bear.
func thin(s []rehearse.Sample) []rehearse.Sample {
	const most = 800
	if len(s) <= most {
		return s
	}
	out := make([]rehearse.Sample, 0, most+1)
	for i := range most {
		out = append(out, s[i*len(s)/most])
	}
	return append(out, s[len(s)-1])
}

func pick(series []rehearse.Sample, value func(rehearse.Sample) *float64) []plot.Point {
	var out []plot.Point
	for _, s := range series {
		if v := value(s); v != nil {
			out = append(out, plot.At(s.At, *v))
		}
	}
	return out
}

// interval gives the ends of the 90 % interval, not below floor.
func interval(series []rehearse.Sample, mean, sd func(rehearse.Sample) *float64, floor float64) (low, high []plot.Point) {
	for _, s := range series {
		m, d := mean(s), sd(s)
		if m == nil || d == nil {
			continue
		}
		low = append(low, plot.At(s.At, max(floor, *m-z90**d)))
		high = append(high, plot.At(s.At, *m+z90**d))
	}
	return low, high
}

func values(lists ...[]plot.Point) []float64 {
	var out []float64
	for _, l := range lists {
		for _, p := range l {
			out = append(out, p.V)
		}
	}
	return out
}

// levelPlot shows the level, what was believed of it, and the tests.
func levelPlot(s subject, zone *time.Location) string {
	series := thin(s.series)
	if len(series) == 0 {
		return ""
	}
	truth := pick(series, func(x rehearse.Sample) *float64 { return x.Level })
	believed := pick(series, func(x rehearse.Sample) *float64 { return x.Believed })
	low, high := interval(series, func(x rehearse.Sample) *float64 { return x.Believed }, func(x rehearse.Sample) *float64 { return x.BelievedSD }, 0)
	later := pick(thin(lookedBack(s.series)), func(x rehearse.Sample) *float64 { return x.Afterwards })
	scale := append(values(truth, believed, later), s.target-1.3*s.band, s.target+1.3*s.band)
	scale = append(scale, testValues(s, scale)...)
	p := plot.New(s.id+"-level", plot.Wide, 270, series[0].At, series[len(series)-1].At, zone, scale)
	p.AboutTarget(s.target, s.band, s.unit, func() {
		p.Area("interval", low, high)
		p.Line("believed", believed)
		p.Line("afterwards", later)
		p.Line("truth", truth)
	})
	held := drawTests(p, s)
	text := fmt.Sprintf("Target %s, band from %s to %s %s. %d tests were entered, %d of them were held back.", Level(s.target), Level(s.target-s.band), Level(s.target+s.band), s.unit, len(s.tests), held)
	if len(truth) > 0 {
		lo, hi := extremes(truth)
		text += fmt.Sprintf(" The true level began at %s, ended at %s and went from %s to %s.", Level(truth[0].V), Level(truth[len(truth)-1].V), Level(lo), Level(hi))
	}
	if len(believed) > 0 {
		text += fmt.Sprintf(" At the end %s was believed.", Level(believed[len(believed)-1].V))
	}
	text += afterwardsText(later, Level)
	return p.Finish(s.quantity+" of "+s.system+": level", text)
}

// testValues are those of the tests that the axis has to show. A held one that lies far off, a wrong unit perhaps, would
// squash everything else: it is drawn at the edge.
func testValues(s subject, shown []float64) []float64 {
	var out []float64
	for _, t := range s.tests {
		if !t.Held {
			out = append(out, t.Value)
		}
	}
	lo, hi := plot.Span(append(out, shown...))
	for _, t := range s.tests {
		if t.Held && t.Value < hi+1.5*(hi-lo) && t.Value > lo-1.5*(hi-lo) {
			out = append(out, t.Value)
		}
	}
	return out
}

func extremes(points []plot.Point) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, q := range points {
		lo, hi = min(lo, q.V), max(hi, q.V)
	}
	return lo, hi
}

// tests draws the tests: rings, and labelled squares on a corner for those that were held back.
func drawTests(p *plot.Plot, s subject) (held int) {
	for _, t := range s.tests {
		x := p.X(t.At)
		if s.predictions && t.Expected != nil {
			from, to := p.Y(min(p.Hi, *t.Expected+z90**t.ExpectedSD)), p.Y(max(p.Lo, *t.Expected-z90**t.ExpectedSD))
			p.Out(`<line class="predicted" x1="%[1]s" x2="%[1]s" y1="%[2]s" y2="%[3]s"/>`, plot.N(x), plot.N(from), plot.N(to))
			p.Out(`<line class="predicted" x1="%s" x2="%s" y1="%[3]s" y2="%[3]s"/>`, plot.N(x-4), plot.N(x+4), plot.N(p.Y(*t.Expected)))
		}
		tip := fmt.Sprintf("%s: %s %s%s", t.At.In(p.Zone).Format("2 Jan 15:04"), Level(t.Value), t.Unit, expectation(t))
		if !t.Held {
			p.Ring(t.At, t.Value, tip)
			continue
		}
		held++
		word := "held"
		if t.Value > p.Hi || t.Value < p.Lo {
			word = "held, off the scale: " + Level(t.Value)
		}
		p.Diamond(t.At, t.Value, tip, word)
	}
	return held
}

func expectation(t rehearse.Test) string {
	text := ""
	if t.Expected != nil && t.ExpectedSD != nil {
		text = fmt.Sprintf(", expected %s ± %s (90 %%)", Level(*t.Expected), Small(z90**t.ExpectedSD))
	}
	if t.Held {
		text += "; held back"
	}
	return text
}

// usePlot shows how much is used a day, in truth and as believed.
func usePlot(s subject, zone *time.Location) string {
	series := thin(s.series)
	believed := pick(series, func(x rehearse.Sample) *float64 { return x.BelievedUse })
	truth := pick(series, func(x rehearse.Sample) *float64 { return x.Use })
	if len(believed) == 0 {
		return ""
	}
	low, high := interval(series, func(x rehearse.Sample) *float64 { return x.BelievedUse }, func(x rehearse.Sample) *float64 { return x.UseSD }, 0)
	later := pick(thin(lookedBack(s.series)), func(x rehearse.Sample) *float64 { return x.AfterwardsUse })
	scale := append(values(truth, believed, later), 0)
	if len(high) > 0 {
		scale = append(scale, high[len(high)-1].V)
	}
	p := plot.New(s.id+"-use", plot.Wide, 180, series[0].At, series[len(series)-1].At, zone, scale)
	p.Axes(s.unit + "/day")
	p.Clipped(func() {
		p.Area("interval", low, high)
		p.Line("believed", believed)
		p.Line("afterwards", later)
		p.Line("truth", truth)
	})
	text := fmt.Sprintf("At the end %s %s a day is believed.", Small(believed[len(believed)-1].V), s.unit)
	if len(truth) > 0 {
		text += fmt.Sprintf(" In truth it is %s.", Small(truth[len(truth)-1].V))
	}
	text += afterwardsText(later, Small)
	return p.Finish(s.quantity+" of "+s.system+": use a day", text)
}

// lookedBack gives the samples of which it is known what was believed afterwards.
func lookedBack(series []rehearse.Sample) []rehearse.Sample {
	var out []rehearse.Sample
	for _, s := range series {
		if s.Afterwards != nil {
			out = append(out, s)
		}
	}
	return out
}

// afterwardsText says what the line of what was known afterwards shows.
func afterwardsText(later []plot.Point, figure func(float64) string) string {
	if len(later) == 0 {
		return ""
	}
	lo, hi := extremes(later)
	return fmt.Sprintf(" As known afterwards, with later tests too, it began at %s and went from %s to %s.", figure(later[0].V), figure(lo), figure(hi))
}
