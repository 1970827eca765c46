package plot

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"
	"time"
)

func TestTicks(t *testing.T) {
	for _, c := range []struct {
		lo, hi float64
		want   string
	}{{7.1, 8.9, "[7.5 8 8.5]"}, {0, 100, "[0 20 40 60 80 100]"}, {1270, 1370, "[1280 1300 1320 1340 1360]"}, {5, 5, "[]"}, {math.NaN(), 1, "[]"}} {
		if got := fmt.Sprint(ticks(c.lo, c.hi, 5)); got != c.want {
			t.Errorf("ticks(%g, %g) = %s; want %s", c.lo, c.hi, got, c.want)
		}
	}
}

func TestSpan(t *testing.T) {
	for _, c := range []struct {
		name   string
		values []float64
		lo, hi float64
	}{{"nothing", nil, 0, 1}, {"no numbers", []float64{math.NaN(), math.Inf(1)}, 0, 1}, {"from zero", []float64{0, 100}, 0, 106}, {"apart", []float64{400, 500}, 394, 506}, {"one", []float64{100}, 95, 105}} {
		if lo, hi := Span(c.values); math.Abs(lo-c.lo) > 1e-9 || math.Abs(hi-c.hi) > 1e-9 {
			t.Errorf("%s: %g to %g; want %g to %g", c.name, lo, hi, c.lo, c.hi)
		}
	}
}

var begin = time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC)

// drawing puts everything on one plot.
func drawing(days int, width float64) string {
	end := begin.AddDate(0, 0, days)
	p := New("d", width, 200, begin, end, time.UTC, []float64{1, 9})
	p.Axes("mL <a> day")
	points := []Point{{begin, 2}, {end, 8}}
	p.Clipped(func() {
		p.Line("known", points)
		p.Line("known", nil)
		p.Area("knownband", []Point{{begin, 1}, {end, 7}}, points)
		p.Area("knownband", nil, nil)
		p.Level("target", 5)
	})
	p.Ring(begin, 4, "a <test>")
	p.Diamond(end, 100, "a held & odd one", "held")
	return p.Finish("Title & more", "What <it> shows")
}

// A drawing is well-formed, has its text alternative and no label outside.
func TestDrawing(t *testing.T) {
	for _, days := range []int{1, 31, 400} {
		svg := drawing(days, Narrow)
		d := xml.NewDecoder(strings.NewReader(svg))
		labels := 0
		for {
			token, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
			e, ok := token.(xml.StartElement)
			if !ok {
				continue
			}
			for _, a := range e.Attr {
				var v float64
				if _, err := fmt.Sscan(a.Value, &v); err == nil && a.Name.Local == "x" && (v < 0 || v > Narrow) {
					t.Errorf("%d days: %s lies at x = %g", days, e.Name.Local, v)
				}
				if a.Name.Local == "class" && a.Value == "label" {
					labels++
				}
			}
		}
		if labels < 5 || labels > 20 {
			t.Errorf("%d days: %d labels", days, labels)
		}
		for _, want := range []string{`<title id="d-t">Title &amp; more</title>`, `What &lt;it&gt; shows`, `mL &lt;a&gt; day`, `a &lt;test&gt;`, "held"} {
			if !strings.Contains(svg, want) {
				t.Errorf("%d days: no %q", days, want)
			}
		}
		if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") {
			t.Errorf("%d days: %s", days, svg)
		}
	}
	if first, again := drawing(31, Wide), drawing(31, Wide); first != again {
		t.Error("the same values give other bytes")
	}
}

func TestPlacing(t *testing.T) {
	p := New("p", Wide, 200, begin, begin, time.UTC, []float64{0, 10}) // no time passes: a day is shown
	if p.X(begin) != MarginL || math.Abs(p.X(begin.Add(24*time.Hour))-(Wide-MarginR)) > 1e-9 {
		t.Errorf("the axis goes from %g to %g", p.X(begin), p.X(begin.Add(24*time.Hour)))
	}
	if p.Y(p.Lo) != 200-MarginB || math.Abs(p.Y(p.Hi)-MarginT) > 1e-9 {
		t.Errorf("the axis goes from %g to %g", p.Y(p.Lo), p.Y(p.Hi))
	}
}
