package report

import (
	"fmt"
	"html"
	"time"

	"aliquot/bridge/plot"
	"aliquot/bridge/rehearse"
)

// dosePlot shows what a channel gave on each local day, and its cap.
func dosePlot(i int, c rehearse.ChannelResult, zone *time.Location) string {
	if len(c.Days) == 0 {
		return ""
	}
	first, err := time.ParseInLocation(time.DateOnly, c.Days[0].Day, zone)
	if err != nil {
		return ""
	}
	end := first.AddDate(0, 0, len(c.Days))
	top, most := c.PerDayML, 0.0
	for _, d := range c.Days {
		most = max(most, d.ML)
	}
	p := plot.New(fmt.Sprintf("dose-%d", i), plot.Narrow, 170, first, end, zone, []float64{0, max(top, most)})
	p.Lo = 0
	p.Axes("mL a day")
	for k, d := range c.Days {
		x0, x1 := p.X(first.AddDate(0, 0, k)), p.X(first.AddDate(0, 0, k+1))
		if d.ML > 0 {
			p.Out(`<rect class="dose" x="%s" y="%s" width="%s" height="%s"><title>%s: %s mL</title></rect>`,
				plot.N(x0+1), plot.N(p.Y(d.ML)), plot.N(max(1, x1-x0-2)), plot.N(p.Y(0)-p.Y(d.ML)), html.EscapeString(d.Day), Small(d.ML))
		}
	}
	p.Level("cap", top)
	p.Out(`<text class="caplabel" x="%s" y="%s" text-anchor="end">cap %s mL in 24 h</text>`, plot.N(p.Width-plot.MarginR-4), plot.N(p.Y(top)+14), Small(top))
	return p.Finish("Channel "+c.Channel+": volume by day",
		fmt.Sprintf("%s mL in all. The largest day had %s mL, the largest 24 h %s mL of a cap of %s mL.", Small(c.VolumeML), Small(most), Small(c.LargestML), Small(top)))
}

// containerPlot shows what a container held.
func containerPlot(i int, c rehearse.ContainerResult, zone *time.Location) string {
	if len(c.Series) == 0 {
		return ""
	}
	var points []plot.Point
	for _, s := range c.Series {
		points = append(points, plot.At(s.At, s.Value))
	}
	p := plot.New(fmt.Sprintf("box-%d", i), plot.Narrow, 170, points[0].T, points[len(points)-1].T, zone, []float64{0, c.CapacityML})
	p.Lo = 0
	p.Axes("mL")
	base := []plot.Point{plot.At(points[0].T, 0)}
	base = append(base, plot.At(points[len(points)-1].T, 0))
	p.Clipped(func() {
		p.Area("contents", base, points)
		p.Line("contentsline", points)
		p.Level("stop", c.StopML)
	})
	p.Out(`<text class="caplabel" x="%s" y="%s">stop at %s mL</text>`, plot.N(plot.MarginL+6), plot.N(p.Y(c.StopML)-4), Small(c.StopML))
	return p.Finish("Container "+c.Container+": contents",
		fmt.Sprintf("%s mL of %s mL at the end, refilled %d times. Nothing is taken below %s mL.", Small(c.EndML), Small(c.CapacityML), c.Refills, Small(c.StopML)))
}
