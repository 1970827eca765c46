package report

import (
	"fmt"
	"html"
	"time"

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
	p := newPlot(fmt.Sprintf("dose-%d", i), narrow, 170, first, end, zone, []float64{0, max(top, most)})
	p.lo = 0
	p.axes("mL a day")
	for k, d := range c.Days {
		x0, x1 := p.x(first.AddDate(0, 0, k)), p.x(first.AddDate(0, 0, k+1))
		if d.ML > 0 {
			p.out(`<rect class="dose" x="%s" y="%s" width="%s" height="%s"><title>%s: %s mL</title></rect>`,
				n(x0+1), n(p.y(d.ML)), n(max(1, x1-x0-2)), n(p.y(0)-p.y(d.ML)), html.EscapeString(d.Day), Small(d.ML))
		}
	}
	p.level("cap", top)
	p.out(`<text class="caplabel" x="%s" y="%s" text-anchor="end">cap %s mL in 24 h</text>`, n(p.width-marginR-4), n(p.y(top)+14), Small(top))
	return p.finish("Channel "+c.Channel+": volume by day",
		fmt.Sprintf("%s mL in all. The largest day had %s mL, the largest 24 h %s mL of a cap of %s mL.", Small(c.VolumeML), Small(most), Small(c.LargestML), Small(top)))
}

// containerPlot shows what a container held.
func containerPlot(i int, c rehearse.ContainerResult, zone *time.Location) string {
	if len(c.Series) == 0 {
		return ""
	}
	var points []at
	for _, s := range c.Series {
		points = append(points, at{s.At, s.Value})
	}
	p := newPlot(fmt.Sprintf("box-%d", i), narrow, 170, points[0].t, points[len(points)-1].t, zone, []float64{0, c.CapacityML})
	p.lo = 0
	p.axes("mL")
	base := []at{{points[0].t, 0}}
	base = append(base, at{points[len(points)-1].t, 0})
	p.clipped(func() {
		p.area("contents", base, points)
		p.line("contentsline", points)
		p.level("stop", c.StopML)
	})
	p.out(`<text class="caplabel" x="%s" y="%s">stop at %s mL</text>`, n(marginL+6), n(p.y(c.StopML)-4), Small(c.StopML))
	return p.finish("Container "+c.Container+": contents",
		fmt.Sprintf("%s mL of %s mL at the end, refilled %d times. Nothing is taken below %s mL.", Small(c.EndML), Small(c.CapacityML), c.Refills, Small(c.StopML)))
}
