package rehearse

import (
	"fmt"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// checker adds up what truly left the outlets, which the machine does not know, and compares it with the caps. It
// takes part in nothing: it only says afterwards whether the machine kept its word.
type checker struct {
	site      *machine.Site
	channels  []window // µL
	tolerance []safety.Tolerance
	doses     []window // of each target, canonical unit at the declared net volume
}

// window is a sum over the last 24 h and the largest that it ever was.
type window struct {
	items []weighed
	sum   float64
	peak  float64
	at    time.Duration // of the peak
}

type weighed struct {
	at     time.Duration
	amount float64
}

func (w *window) add(at time.Duration, amount float64) {
	w.items = append(w.items, weighed{at, amount})
	w.sum += amount
	old := 0
	for old < len(w.items) && w.items[old].at <= at-24*time.Hour {
		w.sum -= w.items[old].amount
		old++
	}
	w.items = w.items[old:]
	if w.sum > w.peak {
		w.peak, w.at = w.sum, at
	}
}

func newChecker(site *machine.Site) checker {
	c := checker{site: site, channels: make([]window, len(site.Channels))}
	for range site.Channels {
		c.tolerance = append(c.tolerance, safety.DefaultTolerance)
	}
	for _, y := range site.Systems {
		c.doses = append(c.doses, make([]window, len(y.Targets))...)
	}
	return c
}

// calibrated notes the tolerance that a channel's calibration earned.
func (c *checker) calibrated(i int, t safety.Tolerance) {
	if i >= 0 {
		c.tolerance[i] = max(c.tolerance[i], t)
	}
}

func (c *checker) given(i int, at time.Duration, ul float64) {
	ch := &c.site.Channels[i]
	c.channels[i].add(at, ul)
	n := 0
	for _, y := range c.site.Systems {
		for _, g := range y.Targets {
			if per := ch.Strength[g.Quantity] / y.NetLitres; y.ID == ch.System && per > 0 {
				c.doses[n].add(at, per*ul/1000)
			}
			n++
		}
	}
}

// exceeded lists what went over a cap with its tolerance.
func (c *checker) exceeded() []string {
	out := []string{}
	widest := safety.DefaultTolerance
	for i, ch := range c.site.Channels {
		widest = max(widest, c.tolerance[i])
		if most := c.tolerance[i].Above(ch.Limits.PerDay); !(c.channels[i].peak <= float64(most)) {
			out = append(out, fmt.Sprintf("channel %s delivered %.2f mL within 24 h, around %s after the start; per_day with its tolerance allows %.2f mL",
				ch.ID, c.channels[i].peak/1000, c.channels[i].at.Round(time.Minute), most.Millilitres()))
		}
	}
	n := 0
	for _, y := range c.site.Systems {
		for _, g := range y.Targets {
			if most := g.MaxDose * (1 + float64(widest)/1000); g.MaxDose > 0 && !(c.doses[n].peak <= most) {
				out = append(out, fmt.Sprintf("%s of %s was raised by %.3g %s within 24 h, around %s after the start; max_dose with the tolerance allows %.3g",
					g.Quantity, y.ID, c.doses[n].peak, g.Quantity.Unit(), c.doses[n].at.Round(time.Minute), most))
			}
			n++
		}
	}
	return out
}
