package plot

import (
	"fmt"
	"html"
	"math"
	"strconv"
	"strings"
	"time"
)

// Plot is one drawing with a time axis. Sizes are in its own units; the page scales it.
type Plot struct {
	b        strings.Builder
	id       string
	Width    float64
	Height   float64
	From, To time.Time
	Lo, Hi   float64 // of the axis of values
	Zone     *time.Location
}

const (
	Wide    = 760.0
	Narrow  = 420.0
	MarginL = 58.0
	MarginR = 14.0
	MarginT = 12.0
	MarginB = 28.0
)

// New begins a drawing whose axis of values holds all of values.
func New(id string, width, height float64, from, to time.Time, zone *time.Location, values []float64) *Plot {
	p := &Plot{id: id, Width: width, Height: height, From: from, To: to, Zone: zone}
	p.Lo, p.Hi = Span(values)
	if !p.To.After(p.From) {
		p.To = p.From.Add(24 * time.Hour)
	}
	return p
}

// Span is the range of the finite values with a little room.
func Span(values []float64) (lo, hi float64) {
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

// X places a moment.
func (p *Plot) X(t time.Time) float64 {
	share := float64(t.Sub(p.From)) / float64(p.To.Sub(p.From))
	return MarginL + share*(p.Width-MarginL-MarginR)
}

// Y places a value.
func (p *Plot) Y(v float64) float64 {
	share := (v - p.Lo) / (p.Hi - p.Lo)
	return p.Height - MarginB - share*(p.Height-MarginT-MarginB)
}

// N writes a coordinate.
func N(v float64) string {
	return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64)
}

// Out adds to the drawing; texts in it must be escaped.
func (p *Plot) Out(format string, args ...any) { fmt.Fprintf(&p.b, format, args...) }

// Finish wraps what was drawn. title and text are for those who do not see it.
func (p *Plot) Finish(title, text string) string {
	return fmt.Sprintf(`<svg role="img" aria-labelledby="%[1]s-t %[1]s-d" viewBox="0 0 %[2]s %[3]s" preserveAspectRatio="xMidYMid meet">`+
		`<title id="%[1]s-t">%[4]s</title><desc id="%[1]s-d">%[5]s</desc>`+
		`<clipPath id="%[1]s-c"><rect x="%[6]s" y="%[7]s" width="%[8]s" height="%[9]s"/></clipPath>%[10]s</svg>`,
		p.id, N(p.Width), N(p.Height), html.EscapeString(title), html.EscapeString(text),
		N(MarginL), N(MarginT), N(p.Width-MarginL-MarginR), N(p.Height-MarginT-MarginB), p.b.String())
}

// Clipped draws within the axes only.
func (p *Plot) Clipped(draw func()) {
	p.Out(`<g clip-path="url(#%s-c)">`, p.id)
	draw()
	p.Out("</g>")
}

// Axes draws the grid and the labels.
func (p *Plot) Axes(unit string) {
	for _, v := range ticks(p.Lo, p.Hi, 5) {
		p.Out(`<line class="grid" x1="%s" x2="%s" y1="%[3]s" y2="%[3]s"/>`, N(MarginL), N(p.Width-MarginR), N(p.Y(v)))
		p.Out(`<text class="label" x="%s" y="%s" text-anchor="end">%s</text>`, N(MarginL-6), N(p.Y(v)+4), tickText(v))
	}
	p.Out(`<text class="label" x="12" y="%s" text-anchor="middle" transform="rotate(-90 12 %[1]s)">%s</text>`, N((p.Height-MarginB+MarginT)/2), html.EscapeString(unit))
	p.days()
}

// AboutTarget draws the band about a target, the axes, and within them the band's edges, the target and what draw adds.
func (p *Plot) AboutTarget(target, band float64, unit string, draw func()) {
	low, high := target-band, target+band
	p.Clipped(func() {
		p.Area("band", []Point{At(p.From, low), At(p.To, low)}, []Point{At(p.From, high), At(p.To, high)})
	})
	p.Axes(unit)
	p.Clipped(func() {
		p.Level("bandedge", low)
		p.Level("bandedge", high)
		p.Level("target", target)
		draw()
	})
}

// days labels the time axis at midnights.
func (p *Plot) days() {
	length := p.To.Sub(p.From).Hours() / 24
	every := 1
	for _, e := range []int{1, 2, 5, 7, 14, 28, 61, 122, 365} {
		if every = e; length/float64(e) <= p.Width/84 {
			break
		}
	}
	start := p.From.In(p.Zone)
	for i := 0; ; i += every {
		at := time.Date(start.Year(), start.Month(), start.Day()+i, 0, 0, 0, 0, p.Zone)
		if at.After(p.To) {
			return
		}
		if at.Before(p.From) {
			at = p.From
		}
		x := p.X(at)
		p.Out(`<line class="tick" x1="%[1]s" x2="%[1]s" y1="%[2]s" y2="%[3]s"/>`, N(x), N(p.Height-MarginB), N(p.Height-MarginB+4))
		anchor := "middle"
		if x > p.Width-MarginR-24 {
			anchor = "end"
		}
		p.Out(`<text class="label" x="%s" y="%s" text-anchor="%s">%s</text>`, N(x), N(p.Height-MarginB+18), anchor, at.In(p.Zone).Format("2 Jan"))
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

// Point is a value at a moment.
type Point struct {
	T time.Time
	V float64
}

// At is a point.
func At(t time.Time, v float64) Point { return Point{t, v} }

// Line joins points.
func (p *Plot) Line(class string, points []Point) {
	if len(points) == 0 {
		return
	}
	p.Out(`<polyline class="%s" points="`, class)
	for i, q := range points {
		if i > 0 {
			p.Out(" ")
		}
		p.Out("%s,%s", N(p.X(q.T)), N(p.Y(q.V)))
	}
	p.Out(`"/>`)
}

// Area fills between two lines that have the same moments.
func (p *Plot) Area(class string, low, high []Point) {
	if len(low) == 0 {
		return
	}
	p.Out(`<polygon class="%s" points="`, class)
	for _, q := range high {
		p.Out("%s,%s ", N(p.X(q.T)), N(p.Y(q.V)))
	}
	for i := len(low) - 1; i >= 0; i-- {
		p.Out("%s,%s ", N(p.X(low[i].T)), N(p.Y(low[i].V)))
	}
	p.Out(`"/>`)
}

// Level draws a line across at a value.
func (p *Plot) Level(class string, v float64) {
	p.Out(`<line class="%s" x1="%s" x2="%s" y1="%[4]s" y2="%[4]s"/>`, class, N(MarginL), N(p.Width-MarginR), N(p.Y(v)))
}

// Ring draws a test; tip is shown where somebody points at it.
func (p *Plot) Ring(at time.Time, v float64, tip string) {
	p.Out(`<circle class="test" cx="%s" cy="%s" r="4"><title>%s</title></circle>`, N(p.X(at)), N(p.Y(v)), html.EscapeString(tip))
}

// Diamond draws a test that was held back, with a word beside it. One that lies off the scale stands at its edge.
func (p *Plot) Diamond(at time.Time, v float64, tip, word string) {
	x, y := p.X(at), p.Y(v)
	if v > p.Hi || v < p.Lo {
		y = min(max(p.Y(min(max(v, p.Lo), p.Hi)), MarginT+7), p.Height-MarginB-7)
	}
	p.Out(`<path class="held" d="M%s %s l6 6 l-6 6 l-6 -6 z"><title>%s</title></path>`, N(x), N(y-6), html.EscapeString(tip))
	label, side := x+9, "start"
	if x > p.Width-190 {
		label, side = x-9, "end"
	}
	p.Out(`<text class="heldlabel" x="%s" y="%s" text-anchor="%s">%s</text>`, N(label), N(y+4), side, html.EscapeString(word))
}
