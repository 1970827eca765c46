package web

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"strings"
	"time"

	"aliquot/bridge/machine"
)

// Sizes of a gauge, in its own units.
const (
	gaugeWide = 320.0
	gaugeTall = 46.0
	gaugeBar  = 18.0
)

// gauge draws what a container holds: solid what is there for sure, paler what may be there besides, a line where it stops,
// and below, as steps down to that line, where it will stand in one week, two, and so on.
func gauge(c machine.ContainerView, zone *time.Location, at time.Time) template.HTML {
	var b strings.Builder
	x := func(ml float64) float64 { return gaugeWide * place(ml, 0, c.CapacityML) / 100 }
	n := func(v float64) string { return fmt.Sprint(math.Round(10*v) / 10) }
	fmt.Fprintf(&b, `<svg class="gauge" role="img" viewBox="0 0 %s %s" aria-label="%s">`, n(gaugeWide), n(gaugeTall), html.EscapeString(gaugeText(c)))
	fmt.Fprintf(&b, `<rect class="track" width="%s" height="%s" rx="3"/>`, n(gaugeWide), n(gaugeBar))
	fmt.Fprintf(&b, `<rect class="maybe" width="%s" height="%s" rx="3"/>`, n(x(c.RemainingMaxML)), n(gaugeBar))
	fmt.Fprintf(&b, `<rect class="fill" width="%s" height="%s" rx="3"/>`, n(x(c.RemainingMinML)), n(gaugeBar))
	fmt.Fprintf(&b, `<line class="stop" x1="%[1]s" x2="%[1]s" y1="0" y2="%[2]s"/>`, n(x(c.StopML)), n(gaugeBar+4))
	for _, s := range steps(c) {
		fmt.Fprintf(&b, `<line class="step" x1="%[1]s" x2="%[1]s" y1="%[2]s" y2="%[3]s"/>`, n(x(s.ml)), n(gaugeBar), n(gaugeBar+7))
		fmt.Fprintf(&b, `<text class="steptext" x="%s" y="%s" text-anchor="middle">%s</text>`, n(min(max(x(s.ml), 18), gaugeWide-18)), n(gaugeTall-6), html.EscapeString(at.AddDate(0, 0, s.days).In(zone).Format("2 Jan")))
	}
	b.WriteString("</svg>")
	return template.HTML(b.String())
}

func gaugeText(c machine.ContainerView) string {
	text := fmt.Sprintf("%s holds %s to %s of %s mL and stops at %s mL", c.ID, number(c.RemainingMinML), number(c.RemainingMaxML), number(c.CapacityML), number(c.StopML))
	if c.DaysLeft != nil {
		text += fmt.Sprintf("; %s days left", number(*c.DaysLeft))
	}
	return text
}

// step is where a container will stand some days from now, by the plan.
type step struct {
	days int
	ml   float64
}

// steps are at most four, as far apart as there is room for: days, weeks, fortnights or months.
func steps(c machine.ContainerView) []step {
	if c.DaysLeft == nil || !(*c.DaysLeft > 0) || math.IsInf(*c.DaysLeft, 0) || !(c.CapacityML > 0) {
		return nil
	}
	perDay := (c.RemainingMinML - c.StopML) / *c.DaysLeft
	if !(perDay > 0) || math.IsInf(perDay, 0) {
		return nil
	}
	const room = gaugeWide / 5 // a date needs so much
	every := 0
	for _, d := range []int{1, 2, 7, 14, 28, 91, 182} {
		if perDay*float64(d)/c.CapacityML*gaugeWide >= room {
			every = d
			break
		}
	}
	var out []step
	for d := every; every > 0 && len(out) < 4 && float64(d) <= *c.DaysLeft; d += every {
		out = append(out, step{d, c.RemainingMinML - perDay*float64(d)})
	}
	return out
}
