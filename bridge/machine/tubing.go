package machine

import "time"

// tubingNote is the share of its life, permille, at which worn tubing is spoken of, early enough to get a spare. Our own choice.
const tubingNote = 800

// tubingConditions speaks of pump tubing that has run for as long as it is good for (H-18). What it has run is counted
// by the longest that each run can have been.
func (t *turn) tubingConditions(c *channelState, add adder) {
	life := c.cfg.Line.TubingLife
	ran := c.ranFor.Duration()
	switch {
	case life <= 0 || t.courseOver(c):
	case ran >= life:
		add(tubingAlert(c), Warning, "the pump tubing of channel %s has run for %s of %s: change it, say tube, then prime and calibrate", c.cfg.ID, hoursText(ran), hoursText(life))
	case ran >= life/1000*tubingNote:
		add(tubingAlert(c), Notice, "the pump tubing of channel %s has run for %s of %s: have a spare ready", c.cfg.ID, hoursText(ran), hoursText(life))
	}
}

func tubingAlert(c *channelState) string { return "tubing-" + c.cfg.ID }

func hoursText(d time.Duration) string { return d.Round(6 * time.Minute).String() }

// tubingLife is what the outside sees of it; nil where it is not declared.
func (c *channelState) tubingLife() *float64 {
	if c.cfg.Line.TubingLife <= 0 {
		return nil
	}
	s := c.cfg.Line.TubingLife.Seconds()
	return &s
}
