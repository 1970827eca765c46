package screen

import (
	"fmt"
	"html"
	"math"
	"strconv"
	"strings"
	"time"
)

// Sizes of the drawing, in its own units.
const (
	svgWidth  = 960.0
	svgLeft   = 120.0
	svgRight  = 16.0
	svgTop    = 64.0
	laneTall  = 76.0
	laneBar   = 40.0
	leastWide = 2.0
	// What is planned is hollow, and has to be wide enough for that to be seen.
	leastHollow = 4.5
)

// DaySVG draws the day as a picture that stands alone: one lane a channel, a bar a run, as high as its volume and as wide
// as its time or a little more; slots as ticks; the night shaded; what a neighbour keeps free hatched. It has no script
// and takes nothing from elsewhere.
func DaySVG(d Day, zone *time.Location) string {
	s := newSVG(d, zone)
	s.out(`<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-labelledby="day-t day-d" viewBox="0 0 %s %s" width="%[1]s" height="%[2]s">`, f(svgWidth), f(s.height))
	s.name()
	s.out(`<style>%s</style>`, svgStyle)
	s.out(`<rect class="paper" x="0" y="0" width="%s" height="%s"/>`, f(svgWidth), f(s.height))
	s.text("title", svgLeft, 24, "start", fmt.Sprintf("%s, %s", d.Site, d.From.In(s.zone).Format("Monday 2 January 2006")))
	s.draw()
	return s.b.String()
}

// DayFigure draws the same for a page that has a style for its classes (night, given, planned, slot, hatch, now, why …) and says
// itself which day it is.
func DayFigure(d Day, zone *time.Location) string {
	s := newSVG(d, zone)
	s.out(`<svg class="day" role="img" aria-labelledby="day-t day-d" viewBox="0 %s %s %s">`, f(svgTop-28), f(svgWidth), f(s.height-svgTop+28))
	s.name()
	s.draw()
	return s.b.String()
}

func newSVG(d Day, zone *time.Location) *svg {
	if zone == nil {
		zone = time.UTC
	}
	return &svg{d: d, zone: zone, height: svgTop + laneTall*float64(max(1, len(d.Lanes))) + 46}
}

// name is for those who do not see the picture.
func (s *svg) name() {
	s.out(`<title id="day-t">%s, %s</title><desc id="day-d">%s</desc>`, html.EscapeString(s.d.Site), s.d.From.In(s.zone).Format("2 January 2006"), html.EscapeString(s.description()))
}

func (s *svg) draw() {
	d := s.d
	s.out(`<defs><pattern id="apart" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><line class="hatch" x1="0" y1="0" x2="0" y2="6"/></pattern></defs>`)
	s.hours()
	for i, l := range d.Lanes {
		s.lane(l, svgTop+laneTall*float64(i))
	}
	if d.At.After(d.From) && d.At.Before(d.To) {
		s.out(`<line class="now" x1="%[1]s" x2="%[1]s" y1="%[2]s" y2="%[3]s"/>`, f(s.x(d.At)), f(svgTop-8), f(s.height-40))
		x, anchor := s.x(d.At)+4, "start"
		if x > svgWidth-svgRight-60 {
			x, anchor = svgWidth-svgRight, "end"
		}
		s.text("small", x, svgTop-12, anchor, "now "+d.At.In(s.zone).Format("15:04"))
	}
	s.text("small", svgLeft, s.height-14, "start", s.legend())
	s.out("</svg>\n")
}

// legend explains the marks that are there.
func (s *svg) legend() string {
	text := "filled: given; hollow: planned; ticks: slots"
	for _, l := range s.d.Lanes {
		if l.Night.From != l.Night.To {
			text += "; shaded: night"
			break
		}
	}
	if len(s.d.Apart) > 0 {
		text += "; hatched: kept free for a neighbour"
	}
	return text
}

const svgStyle = `.paper{fill:#fff}text{font:12px system-ui,sans-serif;fill:#1d2327}.title{font-size:16px;font-weight:bold}.small{fill:#5b646b;font-size:11px}.name{font-weight:bold;font-size:13px}.grid{stroke:#d9d6cd}.base{stroke:#5b646b}.slot{stroke:#8a8f94}.night{fill:#e6ecf5}.given{fill:#0b5fa5}.planned{fill:#fff;stroke:#0b5fa5;stroke-width:1.4}.hatch{stroke:#c0703a;stroke-width:1.2}.now{stroke:#a3160b;stroke-dasharray:4 3}.why{fill:#a3160b;font-size:11px}`

type svg struct {
	b      strings.Builder
	d      Day
	zone   *time.Location
	height float64
}

func (s *svg) out(format string, args ...any) { fmt.Fprintf(&s.b, format, args...) }

func f(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) }

func (s *svg) text(class string, x, y float64, anchor, text string) {
	s.out(`<text class="%s" x="%s" y="%s" text-anchor="%s">%s</text>`, class, f(x), f(y), anchor, html.EscapeString(text))
}

func (s *svg) x(at time.Time) float64 {
	part := float64(at.Sub(s.d.From)) / float64(s.d.To.Sub(s.d.From))
	return svgLeft + math.Max(0, math.Min(1, part))*(svgWidth-svgLeft-svgRight)
}

func (s *svg) hours() {
	start := s.d.From.In(s.zone)
	for h := 0; h <= 24; h += 2 {
		at := time.Date(start.Year(), start.Month(), start.Day(), h, 0, 0, 0, s.zone)
		s.out(`<line class="grid" x1="%[1]s" x2="%[1]s" y1="%[2]s" y2="%[3]s"/>`, f(s.x(at)), f(svgTop-6), f(s.height-40))
		s.text("small", s.x(at), s.height-28, "middle", fmt.Sprintf("%d", h))
	}
}

func (s *svg) lane(l Lane, top float64) {
	base := top + laneBar + 6
	s.out("\n")
	s.night(l.Night, top+2, base)
	s.apart(l, top+2, base)
	s.text("name", 8, top+24, "start", clip(l.Channel, 15))
	given, planned := sums(l.Runs, true), sums(l.Runs, false)
	s.text("small", 8, top+40, "start", number(given.ml+planned.ml)+" mL")
	s.text("small", 8, top+54, "start", "cap "+number(l.PerDayML)+" mL")
	for _, slot := range l.Slots {
		s.out(`<line class="slot" x1="%[1]s" x2="%[1]s" y1="%[2]s" y2="%[3]s"/>`, f(s.x(slot)), f(base), f(base+5))
	}
	s.out(`<line class="base" x1="%s" x2="%s" y1="%[3]s" y2="%[3]s"/>`, f(svgLeft), f(svgWidth-svgRight), f(base))
	most := max(given.most, planned.most)
	for _, r := range l.Runs {
		x0 := s.x(r.At)
		least, class := leastHollow, "planned"
		if r.Given {
			least, class = leastWide, "given"
		}
		wide := max(least, s.x(r.At.Add(time.Duration(r.Seconds*float64(time.Second))))-x0)
		tall := max(2, laneBar*share(r.VolumeML, most))
		s.out(`<rect class="%s" x="%s" y="%s" width="%s" height="%s"><title>%s: %s mL</title></rect>`, class, f(x0), f(base-tall), f(wide), f(tall), r.At.In(s.zone).Format("15:04"), number(r.VolumeML))
	}
	for i, w := range l.Why {
		if i == 0 {
			s.text("why", svgLeft+6, base+20, "start", clip(w, 130))
		}
	}
}

// night shades the part of the day that gets a share of its own.
func (s *svg) night(n Night, top, base float64) {
	if n.From == n.To {
		return
	}
	start := s.d.From.In(s.zone)
	at := func(minute int) time.Time {
		return time.Date(start.Year(), start.Month(), start.Day(), 0, minute, 0, 0, s.zone)
	}
	parts := [][2]time.Time{{at(n.From), at(n.To)}}
	if n.From > n.To {
		parts = [][2]time.Time{{s.d.From, at(n.To)}, {at(n.From), s.d.To}}
	}
	for _, p := range parts {
		s.out(`<rect class="night" x="%s" y="%s" width="%s" height="%s"/>`, f(s.x(p[0])), f(top), f(s.x(p[1])-s.x(p[0])), f(base-top))
	}
}

// apart hatches what the neighbours' runs keep free in this lane.
func (s *svg) apart(l Lane, top, base float64) {
	for _, a := range s.d.Apart {
		other := ""
		switch l.Channel {
		case a.A:
			other = a.B
		case a.B:
			other = a.A
		default:
			continue
		}
		for _, r := range runsOf(s.d, other) {
			from, to := s.x(r.At.Add(-a.Gap)), s.x(r.At.Add(time.Duration(r.Seconds*float64(time.Second))+a.Gap))
			s.out(`<rect fill="url(#apart)" opacity="0.35" x="%s" y="%s" width="%s" height="%s"/>`, f(from), f(top+laneBar*0.7), f(to-from), f(base-top-laneBar*0.7))
		}
	}
}

func (s *svg) description() string {
	var parts []string
	for _, l := range s.d.Lanes {
		given, planned := sums(l.Runs, true), sums(l.Runs, false)
		text := fmt.Sprintf("%s: %s mL given in %s, %s mL planned in %s, cap %s mL.", l.Channel, number(given.ml), runs(given.runs), number(planned.ml), runs(planned.runs), number(l.PerDayML))
		if len(l.Why) > 0 {
			text += " Withheld: " + strings.Join(l.Why, "; ") + "."
		}
		parts = append(parts, text)
	}
	return strings.Join(parts, " ")
}
