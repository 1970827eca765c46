package machine

import (
	"fmt"
	"math"

	"aliquot/safety"
)

// RunResult is the result of a request that starts a run.
type RunResult struct {
	Run      string  `json:"run"`
	Seconds  float64 `json:"seconds"`
	VolumeML float64 `json:"volume_ml"` // expected; a guess before the first calibration
}

// askRun starts an attended run (prime) or one extra dose (run). Both pass the gate like every other run.
func (t *turn) askRun(q Request) reply {
	purpose := Prime
	if q.Verb == VerbRun {
		purpose = Manual
		if q.Kind == string(TestRun) {
			purpose = TestRun
		}
	}
	return t.attendedRun(q, purpose)
}

func (t *turn) attendedRun(q Request, purpose Purpose) reply {
	c, bad := t.theChannel(q.Channel)
	if bad != nil {
		return *bad
	}
	into, bad := place(q.Into)
	if bad != nil {
		return *bad
	}
	w := wanted{purpose: purpose, into: into, by: q.By, carryNL: c.carryNL}
	if bad := t.size(c, q, &w); bad != nil {
		return *bad
	}
	return t.startAsked(c, w)
}

func place(s string) (Into, *reply) {
	switch Into(s) {
	case "", IntoTank:
		return IntoTank, nil
	case IntoVessel:
		return IntoVessel, nil
	}
	return "", no(safety.BadPayload, "into is %q; it can be tank or vessel", s)
}

// size settles how long the run lasts, and the cautious rate that it is booked with: before the first calibration
// twice the nominal rate, or without one the largest that any such pump has.
func (t *turn) size(c *channelState, q Request, w *wanted) *reply {
	expected := c.presentRate()
	w.rate = expected
	if c.rate == 0 {
		w.rate = 2 * c.cfg.NominalRate
	}
	if expected == 0 {
		expected, w.rate = safety.UncalibratedRate, safety.UncalibratedRate
	}
	switch {
	case q.Seconds != nil:
		if !(*q.Seconds > 0 && *q.Seconds <= safety.RunMax.Seconds()) {
			return no(safety.OutOfRange, "seconds must be above 0 and at most %g", safety.RunMax.Seconds())
		}
		w.duration = safety.Milliseconds(math.Floor(*q.Seconds * 1000))
	case q.VolumeML != nil:
		v, bad := millilitres(q.VolumeML, "volume_ml")
		if bad != nil {
			return bad
		}
		if v <= c.offset {
			return no(safety.OutOfRange, "every run of channel %s gives about %s besides rate × time: ask for more than that", c.cfg.ID, c.offset)
		}
		w.duration = expected.TimeFor(v - c.offset)
	case w.purpose == Prime:
		w.duration = expected.TimeFor(c.cfg.Line.Prime - c.offset)
	default:
		return no(safety.BadPayload, "say volume_ml or seconds")
	}
	if w.into == IntoVessel && q.Seconds == nil {
		w.duration = min(w.duration, w.rate.TimeFor(c.cfg.Limits.AttendedPerRun-c.runsOn), safety.RunMax)
	}
	if c.presentRate() == 0 && w.duration > safety.UncalibratedRunMax {
		w.duration = safety.UncalibratedRunMax
	}
	if own := t.node(c.cfg.Node).cfg.AutoOff; own > 0 {
		w.duration = min(w.duration, own) // the relay would go off sooner, and nobody could tell why
	}
	w.duration = max(1, w.duration)
	w.volume = max(1, expected.VolumeIn(w.duration)+c.offset)
	return nil
}

func (t *turn) startAsked(c *channelState, w wanted) reply {
	row, v := t.start(c, t.want(c, w))
	if !v.Allowed {
		text := v.Text
		if v.Code == safety.RunCap && w.into == IntoTank && w.purpose.attended() {
			text += "; put the outlet into a vessel and say \"into\": \"vessel\""
		}
		return *no(v.Code, "channel %s does not run: %s", c.cfg.ID, text)
	}
	text := fmt.Sprintf("channel %s runs for %.1f s, about %.3g mL, into the %s", c.cfg.ID, row.Duration.Seconds(), row.Volume.Millilitres(), row.Into)
	if p := t.supplement(t.container(c.cfg.Container).supplement); p != nil && len(p.Cautions) > 0 && w.purpose == Prime {
		text += ". " + p.cautionText()
	}
	return reply{code: safety.Started, text: text, result: RunResult{Run: row.Run, Seconds: row.Duration.Seconds(), VolumeML: row.Volume.Millilitres()}}
}

// askProve switches a relay on and never off: it must go off by itself (H-02).
func (t *turn) askProve(q Request) reply {
	c, bad := t.theChannel(q.Channel)
	if bad != nil {
		return *bad
	}
	n := t.node(c.cfg.Node)
	if n.cfg.Style != Switch {
		return *no(safety.NothingToDo, "node %s times its own runs; only a switch has to prove that it goes off by itself", n.cfg.ID)
	}
	if q.Into != string(IntoVessel) {
		return *no(safety.BadPayload, "a proof runs into a vessel: put the outlet of channel %s into one and say \"into\": \"vessel\"", c.cfg.ID)
	}
	w := wanted{purpose: Prove, into: IntoVessel, by: q.By, carryNL: c.carryNL}
	seconds := proveSeconds
	if n.cfg.AutoOff > 0 {
		seconds = n.cfg.AutoOff.Seconds()
	}
	q.Seconds, q.VolumeML = &seconds, nil
	if bad := t.size(c, q, &w); bad != nil {
		return *bad
	}
	return t.startAsked(c, w)
}

// proveSeconds is the length of a proof where the command carries its time.
const proveSeconds = 5.0

func (t *turn) askPrimed(q Request) reply {
	c, bad := t.theChannel(q.Channel)
	if bad != nil {
		return *bad
	}
	if c.open != nil {
		return *no(safety.ChannelBusy, "channel %s still runs; look at the outlet when it has stopped", c.cfg.ID)
	}
	t.record(Primed{Channel: c.cfg.ID}, q.By)
	text := fmt.Sprintf("channel %s is primed", c.cfg.ID)
	if c.rate == 0 {
		text += "; next, calibrate it"
	}
	return done(text, nil)
}

func (t *turn) askTube(q Request) reply {
	c, bad := t.theChannel(q.Channel)
	if bad != nil {
		return *bad
	}
	t.record(Tube{Channel: c.cfg.ID}, q.By)
	return done(fmt.Sprintf("channel %s has new tubing: prime it and calibrate it again", c.cfg.ID), nil)
}
