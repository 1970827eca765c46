package report

import (
	"fmt"
	"html"
	"math"
	"strconv"
	"strings"
	"time"
)

// plot is one drawing with a time axis. Sizes are in its own units; the page scales it.
type plot struct {
	b        strings.Builder
	id       string
	width    float64
	height   float64
	from, to time.Time
	lo, hi   float64
	zone     *time.Location
}

const (
	wide    = 760.0
	narrow  = 420.0
	marginL = 58.0
	marginR = 14.0
	marginT = 12.0
	marginB = 28.0
)

func newPlot(id string, width, height float64, from, to time.Time, zone *time.Location, values []float64) *plot {
	p := &plot{id: id, width: width, height: height, from: from, to: to, zone: zone}
	p.lo, p.hi = span(values)
	if !p.to.After(p.from) {
		p.to = p.from.Add(24 * time.Hour)
	}
	return p
}

// span is the range of the finite values with a little room.
func span(values []float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, v := range values {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			lo, hi = min(lo, v), max(hi, v)
		}
	}
	if lo > hi {
		return 0, 1
	}
	room := (hi - lo) * 0.06
	if room == 0 {
		room = max(1e-3, math.Abs(hi)*0.05)
	}
	if lo >= 0 && lo-room < 0 {
		return 0, hi + room
	}
	return lo - room, hi + room
}

func (p *plot) x(t time.Time) float64 {
	share := float64(t.Sub(p.from)) / float64(p.to.Sub(p.from))
	return marginL + share*(p.width-marginL-marginR)
}

func (p *plot) y(v float64) float64 {
	share := (v - p.lo) / (p.hi - p.lo)
	return p.height - marginB - share*(p.height-marginT-marginB)
}

func n(v float64) string {
	return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64)
}

func (p *plot) out(format string, args ...any) { fmt.Fprintf(&p.b, format, args...) }

// finish wraps what was drawn. title and text are for those who do not see it.
func (p *plot) finish(title, text string) string {
	return fmt.Sprintf(`<svg role="img" aria-labelledby="%[1]s-t %[1]s-d" viewBox="0 0 %[2]s %[3]s" preserveAspectRatio="xMidYMid meet">`+
		`<title id="%[1]s-t">%[4]s</title><desc id="%[1]s-d">%[5]s</desc>`+
		`<clipPath id="%[1]s-c"><rect x="%[6]s" y="%[7]s" width="%[8]s" height="%[9]s"/></clipPath>%[10]s</svg>`,
		p.id, n(p.width), n(p.height), html.EscapeString(title), html.EscapeString(text),
		n(marginL), n(marginT), n(p.width-marginL-marginR), n(p.height-marginT-marginB), p.b.String())
}

// clipped draws within the axes only.
func (p *plot) clipped(draw func()) {
	p.out(`<g clip-path="url(#%s-c)">`, p.id)
	draw()
	p.out("</g>")
}

// axes draws the grid and the labels.
func (p *plot) axes(unit string) {
	for _, v := range ticks(p.lo, p.hi, 5) {
		p.out(`<line class="grid" x1="%s" x2="%s" y1="%[3]s" y2="%[3]s"/>`, n(marginL), n(p.width-marginR), n(p.y(v)))
		p.out(`<text class="label" x="%s" y="%s" text-anchor="end">%s</text>`, n(marginL-6), n(p.y(v)+4), tickText(v))
	}
	p.out(`<text class="label" x="12" y="%s" text-anchor="middle" transform="rotate(-90 12 %[1]s)">%s</text>`, n((p.height-marginB+marginT)/2), html.EscapeString(unit))
	p.days()
}

// days labels the time axis at midnights.
func (p *plot) days() {
	length := p.to.Sub(p.from).Hours() / 24
	every := 1
	for _, e := range []int{1, 2, 5, 7, 14, 28, 61, 122, 365} {
		if every = e; length/float64(e) <= p.width/84 {
			break
		}
	}
	start := p.from.In(p.zone)
	for i := 0; ; i += every {
		at := time.Date(start.Year(), start.Month(), start.Day()+i, 0, 0, 0, 0, p.zone)
		if at.After(p.to) {
			return
		}
		if at.Before(p.from) {
			at = p.from
		}
		x := p.x(at)
		p.out(`<line class="tick" x1="%[1]s" x2="%[1]s" y1="%[2]s" y2="%[3]s"/>`, n(x), n(p.height-marginB), n(p.height-marginB+4))
		anchor := "middle"
		if x > p.width-marginR-24 {
			anchor = "end"
		}
		p.out(`<text class="label" x="%s" y="%s" text-anchor="%s">%s</text>`, n(x), n(p.height-marginB+18), anchor, at.In(p.zone).Format("2 Jan"))
	}
}

// ticks gives round values within a range.
func ticks(lo, hi float64, most int) []float64 {
	raw := (hi - lo) / float64(most)
	if !(raw > 0) {
		return nil
	}
	scale := math.Pow(10, math.Floor(math.Log10(raw)))
	step := 10 * scale
	for _, m := range []float64{1, 2, 5} {
		if m*scale >= raw {
			step = m * scale
			break
		}
	}
	var out []float64
	for i := math.Ceil(lo / step); i*step <= hi; i++ {
		out = append(out, i*step)
	}
	return out
}

func tickText(v float64) string {
	return strconv.FormatFloat(math.Round(v*1e6)/1e6, 'f', -1, 64)
}

// at is a value at a moment.
type at struct {
	t time.Time
	v float64
}

func (p *plot) line(class string, points []at) {
	if len(points) == 0 {
		return
	}
	p.out(`<polyline class="%s" points="`, class)
	for i, q := range points {
		if i > 0 {
			p.out(" ")
		}
		p.out("%s,%s", n(p.x(q.t)), n(p.y(q.v)))
	}
	p.out(`"/>`)
}

// area fills between two lines that have the same moments.
func (p *plot) area(class string, low, high []at) {
	if len(low) == 0 {
		return
	}
	p.out(`<polygon class="%s" points="`, class)
	for _, q := range high {
		p.out("%s,%s ", n(p.x(q.t)), n(p.y(q.v)))
	}
	for i := len(low) - 1; i >= 0; i-- {
		p.out("%s,%s ", n(p.x(low[i].t)), n(p.y(low[i].v)))
	}
	p.out(`"/>`)
}

func (p *plot) level(class string, v float64) {
	p.out(`<line class="%s" x1="%s" x2="%s" y1="%[4]s" y2="%[4]s"/>`, class, n(marginL), n(p.width-marginR), n(p.y(v)))
}
