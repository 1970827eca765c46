package machine

import (
	"fmt"
	"time"

	"aliquot/safety"
)

// Things of a channel that a keeper accepts by `accept`.
const (
	Placement    = "placement"    // container, pump, line and outlet were looked at
	Trials       = "trials"       // what runs of a calibration under way delivered, until it is entered
	Commissioned = "commissioned" // the schedule and its largest effect were seen and agreed to
)

// handover is how far the commissioning of a channel has come, besides its proof, priming and calibration. It is a
// record for people: no run rests on it.
type handover struct {
	placed       time.Time // the placement was looked at
	trials       string    // of a calibration under way, as the command line takes them
	tried        time.Time // a test run of the calibration in use has finished
	commissioned time.Time
}

// applyAccepted folds what a keeper accepted.
func (s *State) applyAccepted(r Row, b Accepted) {
	if b.Channel != "" {
		c := s.channel(b.Channel)
		switch {
		case c == nil:
		case b.What == Placement:
			c.handover.placed = r.At
		case b.What == Trials:
			c.handover.trials = b.Text
		case b.What == Commissioned:
			c.handover.commissioned = r.At
		}
		return
	}
	s.accepted[b.What] = b.Fingerprint
	if b.Bounds != nil {
		s.bounds = b.Bounds
	}
}

// triedBy notes a finished test run. Before a calibration there is nothing that it could test.
func (c *channelState) triedBy(p Purpose, o Outcome, at time.Time) {
	if p == TestRun && o == Finished && c.rate > 0 {
		c.handover.tried = at
	}
}

// acceptChannel records what a keeper says of one channel.
func (t *turn) acceptChannel(q Request) reply {
	c, bad := t.theChannel(q.Channel)
	if bad != nil {
		return *bad
	}
	if q.Text == "" {
		return *no(safety.BadPayload, "say in \"text\" what was looked at: that is what the record is for")
	}
	if q.What == Commissioned {
		if code, missing := t.notReady(c); code != "" {
			return *no(code, "channel %s is not commissioned: %s; nothing was recorded", c.cfg.ID, missing)
		}
	}
	t.record(Accepted{What: q.What, Channel: c.cfg.ID, Text: q.Text}, q.By)
	switch q.What {
	case Placement:
		return done(fmt.Sprintf("the placement of channel %s is recorded", c.cfg.ID), nil)
	case Trials:
		return done(fmt.Sprintf("the trials of channel %s are kept until its calibration is entered", c.cfg.ID), nil)
	}
	return done(fmt.Sprintf("channel %s is commissioned", c.cfg.ID), nil)
}

// notReady says what is missing before a channel can be handed over, or nothing.
func (s *State) notReady(c *channelState) (safety.Code, string) {
	switch n := s.node(c.cfg.Node); {
	case n.cfg.AutoOff > 0 && !s.proven(n):
		return safety.NoProof, "its relay has not proven that it goes off by itself"
	case !c.primed:
		return safety.NotPrimed, "its line is not primed"
	case c.rate == 0:
		return safety.NotCalibrated, "it is not calibrated"
	}
	return "", ""
}
