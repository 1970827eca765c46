package machine

import (
	"time"

	"aliquot/safety"
)

// A pump does not stay as it was calibrated: its tubing wears and its line crusts. A calibration is old after so many
// days, or so many hours of running, whichever comes first; at twice that the plan follows tests downwards only, until
// somebody measures again (H-17). Our own choice.
const (
	calibrationDays  = 60 * 24 * time.Hour
	calibrationHours = 40 * time.Hour
	calibrationTwice = 2
)

// calibrationAge is the age of the calibration in use, and the time that the pump has run since.
func (c *channelState) calibrationAge(at time.Time) (age, ran time.Duration) {
	return at.Sub(c.calibratedAt), max(0, c.ranFor-c.ranBefore).Duration()
}

// outgrown says whether a calibration is n times as old as one may become.
func (c *channelState) outgrown(at time.Time, n time.Duration) bool {
	if c.rate == 0 || c.calibratedAt.IsZero() {
		return false
	}
	age, ran := c.calibrationAge(at)
	return age > n*calibrationDays || ran > n*calibrationHours
}

// untrustedRise is what the daily volume may not rise above while the calibration is far too old; nil if it is not.
func (c *channelState) untrustedRise(at time.Time) *safety.Microlitres {
	if !c.follows() || !c.outgrown(at, calibrationTwice) {
		return nil
	}
	return c.present()
}

func (t *turn) calibrationConditions(c *channelState, add adder) {
	if !t.clock.Trusted() || !c.outgrown(t.wall(), 1) || t.courseOver(c) {
		return
	}
	what := "it may give more or less by now"
	if c.follows() && c.outgrown(t.wall(), calibrationTwice) {
		what = "until then the plan does not raise it"
	}
	age, ran := c.calibrationAge(t.wall())
	add("calibration-old-"+c.cfg.ID, Warning, "channel %s was calibrated %.0f days and %.0f hours of running ago: calibrate it again; %s", c.cfg.ID, age.Hours()/24, ran.Hours(), what)
}
