package report

import (
	"fmt"
	"html"
	"math"
	"time"

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

func pick(series []rehearse.Sample, value func(rehearse.Sample) *float64) []at {
	var out []at
	for _, s := range series {
		if v := value(s); v != nil {
			out = append(out, at{s.At, *v})
		}
	}
	return out
}

// interval gives the ends of the 90 % interval, not below floor.
func interval(series []rehearse.Sample, mean, sd func(rehearse.Sample) *float64, floor float64) (low, high []at) {
	for _, s := range series {
		m, d := mean(s), sd(s)
		if m == nil || d == nil {
			continue
		}
		low = append(low, at{s.At, max(floor, *m-z90**d)})
		high = append(high, at{s.At, *m + z90**d})
	}
	return low, high
}

func values(lists ...[]at) []float64 {
	var out []float64
	for _, l := range lists {
		for _, p := range l {
			out = append(out, p.v)
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
	p := newPlot(s.id+"-level", wide, 270, series[0].At, series[len(series)-1].At, zone, scale)
	p.clipped(func() {
		p.area("band", []at{{p.from, s.target - s.band}, {p.to, s.target - s.band}}, []at{{p.from, s.target + s.band}, {p.to, s.target + s.band}})
	})
	p.axes(s.unit)
	p.clipped(func() {
		p.level("bandedge", s.target-s.band)
		p.level("bandedge", s.target+s.band)
		p.level("target", s.target)
		p.area("interval", low, high)
		p.line("believed", believed)
		p.line("afterwards", later)
		p.line("truth", truth)
	})
	held := p.tests(s)
	text := fmt.Sprintf("Target %s, band from %s to %s %s. %d tests were entered, %d of them were held back.", Level(s.target), Level(s.target-s.band), Level(s.target+s.band), s.unit, len(s.tests), held)
	if len(truth) > 0 {
		lo, hi := extremes(truth)
		text += fmt.Sprintf(" The true level began at %s, ended at %s and went from %s to %s.", Level(truth[0].v), Level(truth[len(truth)-1].v), Level(lo), Level(hi))
	}
	if len(believed) > 0 {
		text += fmt.Sprintf(" At the end %s was believed.", Level(believed[len(believed)-1].v))
	}
	text += afterwardsText(later, Level)
	return p.finish(s.quantity+" of "+s.system+": level", text)
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
	lo, hi := span(append(out, shown...))
	for _, t := range s.tests {
		if t.Held && t.Value < hi+1.5*(hi-lo) && t.Value > lo-1.5*(hi-lo) {
			out = append(out, t.Value)
		}
	}
	return out
}

func extremes(points []at) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, q := range points {
		lo, hi = min(lo, q.v), max(hi, q.v)
	}
	return lo, hi
}

// tests draws the tests: rings, and labelled squares on a corner for those that were held back.
func (p *plot) tests(s subject) (held int) {
	for _, t := range s.tests {
		x, y := p.x(t.At), p.y(t.Value)
		if s.predictions && t.Expected != nil {
			from, to := p.y(min(p.hi, *t.Expected+z90**t.ExpectedSD)), p.y(max(p.lo, *t.Expected-z90**t.ExpectedSD))
			p.out(`<line class="predicted" x1="%[1]s" x2="%[1]s" y1="%[2]s" y2="%[3]s"/>`, n(x), n(from), n(to))
			p.out(`<line class="predicted" x1="%s" x2="%s" y1="%[3]s" y2="%[3]s"/>`, n(x-4), n(x+4), n(p.y(*t.Expected)))
		}
		tip := html.EscapeString(fmt.Sprintf("%s: %s %s%s", t.At.In(p.zone).Format("2 Jan 15:04"), Level(t.Value), t.Unit, expectation(t)))
		if !t.Held {
			p.out(`<circle class="test" cx="%s" cy="%s" r="4"><title>%s</title></circle>`, n(x), n(y), tip)
			continue
		}
		held++
		word := "held"
		if t.Value > p.hi || t.Value < p.lo {
			y, word = p.y(min(max(t.Value, p.lo), p.hi)), "held, off the scale: "+Level(t.Value)
			y = min(max(y, marginT+7), p.height-marginB-7)
		}
		p.out(`<path class="held" d="M%s %s l6 6 l-6 6 l-6 -6 z"><title>%s</title></path>`, n(x), n(y-6), tip)
		label, side := x+9, "start"
		if x > p.width-190 {
			label, side = x-9, "end"
		}
		p.out(`<text class="heldlabel" x="%s" y="%s" text-anchor="%s">%s</text>`, n(label), n(y+4), side, word)
	}
	return held
}

func expectation(t rehearse.Test) string {
	text := ""
	if t.Expected != nil && t.ExpectedSD != nil {
		text = fmt.Sprintf(", expected %s ± %s", Level(*t.Expected), Small(*t.ExpectedSD))
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
		scale = append(scale, high[len(high)-1].v)
	}
	p := newPlot(s.id+"-use", wide, 180, series[0].At, series[len(series)-1].At, zone, scale)
	p.axes(s.unit + "/day")
	p.clipped(func() {
		p.area("interval", low, high)
		p.line("believed", believed)
		p.line("afterwards", later)
		p.line("truth", truth)
	})
	text := fmt.Sprintf("At the end %s %s a day is believed.", Small(believed[len(believed)-1].v), s.unit)
	if len(truth) > 0 {
		text += fmt.Sprintf(" In truth it is %s.", Small(truth[len(truth)-1].v))
	}
	text += afterwardsText(later, Small)
	return p.finish(s.quantity+" of "+s.system+": use a day", text)
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
func afterwardsText(later []at, figure func(float64) string) string {
	if len(later) == 0 {
		return ""
	}
	lo, hi := extremes(later)
	return fmt.Sprintf(" As known afterwards, with later tests too, it began at %s and went from %s to %s.", figure(later[0].v), figure(lo), figure(hi))
}
