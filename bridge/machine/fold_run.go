package machine

import (
	"strconv"
	"time"

	"aliquot/safety"
)

func (s *State) applyReserved(r Row, b RunReserved) {
	s.serial = max(s.serial, b.Serial)
	c := s.channel(b.Channel)
	if c == nil {
		return
	}
	booking := safety.NewBooking(b.Run, b.Into == IntoVessel, r.Elapsed, b.Longest, b.commanded())
	c.book = c.book.Add(r.Elapsed, booking)
	if c.open != nil {
		delete(s.open, c.open.Run)
	}
	c.open = &openRun{RunReserved: b, at: r.At, elapsed: r.Elapsed, attended: b.Purpose.attended()}
	s.open[b.Run] = position(s.index.channel[b.Channel])
	s.begin(c, r, b, booking)
}

// begin is what follows from a run but for its booking.
func (s *State) begin(c *channelState, r Row, b RunReserved, booking safety.Booking) {
	c.ranFor += b.Longest
	c.totalHi += booking.Hi
	if !booking.Vessel && s.sinceCourse(c, r.At) {
		c.courseHi += booking.Hi
	}
	c.lastRun, c.activeAt = later(c.lastRun, r.At), later(c.activeAt, r.At)
	if b.Purpose == Dose {
		c.carryNL, c.served = b.CarryNL, later(c.served, r.At)
		if b.DayVolume > 0 { // an imported run of a fixed channel does not carry it
			c.notePlanned(r.Elapsed, b.DayVolume)
		}
		if c.follows() {
			c.noteVolume(r.At, b.DayVolume)
		}
	}
	if k := s.container(b.Container); k != nil {
		k.min -= booking.Hi
	}
}

func (s *State) applyEnded(r Row, b RunEnded) {
	c, booking := s.booking(b.Run)
	if c == nil {
		return
	}
	moved := booking.Volume
	if c.open != nil {
		moved = c.open.movedBy(b)
	}
	least, most := moved, moved
	if c.rate == 0 { // the rate was a cautious guess: the node's word about the time says little of the volume
		least, most = 0, max(moved, b.Hi)
	}
	closed := booking.Close(r.Elapsed, b.Outcome, b.Hi, b.Lo)
	c.book = c.book.Replace(closed)
	reserved := r.At
	if c.open != nil && c.open.Run == b.Run {
		reserved = c.open.at
	}
	s.count(c, booking, closed, b.Outcome, r.Elapsed, reserved)
	if c.open == nil || c.open.Run != b.Run {
		// A second word about a run that had ended: more may have left than was thought.
		if more := closed.Hi - booking.Hi; more > 0 && !booking.Vessel {
			s.dosed(c, r.At, 0, more)
		}
		return
	}
	c.triedBy(c.open.Purpose, b.Outcome, r.At)
	delete(s.open, b.Run)
	c.open, c.givenUp = nil, b.Outcome == Unknown
	s.finish(c, closed, r, b.Outcome, least, most)
}

// count carries what a word about a run changed in its booking over to the channel's sums and the container. Only a run that
// is open can turn out to have given less, and of that it is known when it was reserved.
func (s *State) count(c *channelState, booking, closed safety.Booking, o Outcome, at safety.Elapsed, reserved time.Time) {
	more, less := closed.Hi-booking.Hi, closed.Lo-booking.Lo
	if !closed.Vessel {
		c.noteSure(at, less)
	}
	c.totalHi += more
	if !closed.Vessel && s.sinceCourse(c, reserved) {
		c.courseHi += more
	}
	c.totalLo += less
	if k := s.container(c.cfg.Container); k != nil {
		k.min -= more
		k.max = max(0, k.max-less)
	}
	c.lastOutcome = o
}

// finish is what follows from the first word about a run's end; between least and most is what the node's own word
// stands for.
func (s *State) finish(c *channelState, closed safety.Booking, r Row, o Outcome, least, most safety.Microlitres) {
	c.settle(r, o, closed.Vessel)
	if closed.Vessel {
		return
	}
	switch o {
	case NotSent:
	case Finished, Partial:
		s.dosed(c, r.At, least, most)
	default: // nobody knows: it enters with its range
		s.dosed(c, r.At, 0, closed.Hi)
	}
}

// booking finds a run among the channels' bookings. Nearly always it is the open run of a channel: looking for that first
// spares a farm all bookings of a day, for every word about a run.
func (s *State) booking(run string) (*channelState, safety.Booking) {
	if i, ok := s.open[run]; ok {
		if k, ok := s.channels[i].book.Find(run); ok {
			return &s.channels[i], k
		}
	}
	for i := range s.channels {
		if k, ok := s.channels[i].book.Find(run); ok {
			return &s.channels[i], k
		}
	}
	return nil, safety.Booking{}
}

// settle keeps the count of runs whose outcome nobody knows (H-09). After one into the tank, the followed volume does
// not rise until the next accepted test.
func (c *channelState) settle(r Row, o Outcome, vessel bool) {
	if o != Unknown && o != Refused {
		c.unknownRow = 0
		return
	}
	c.unknownRow++
	kept := without(c.unknowns, func(e safety.Elapsed) bool { return r.Elapsed-e > elapsed(safety.Window) })
	c.unknowns = append(kept, r.Elapsed)
	if c.follows() && !vessel && c.noRise == nil {
		c.noRise = c.present()
	}
}

// present is the daily volume that really ran last, before the first run the base, else 0. Like everything in a fold
// it rests on rows alone, so that a restart changes nothing.
func (c *channelState) present() *safety.Microlitres {
	var v safety.Microlitres
	if n := len(c.volumes); n > 0 {
		v = c.volumes[n-1].volume
	} else if c.cfg.Base != nil {
		v = *c.cfg.Base
	}
	return &v
}

// ceiling is what the daily volume may not rise above at a moment, nil if anything: the lowest of what an unknown run,
// what a late test and what an old calibration left behind.
func (c *channelState) ceiling(at time.Time) *safety.Microlitres {
	lowest := c.noRise
	if c.lateRise != nil && at.Before(c.lateUntil) && (lowest == nil || *c.lateRise <= *lowest) {
		lowest = c.lateRise
	}
	if r := c.untrustedRise(at); r != nil && (lowest == nil || *r < *lowest) {
		lowest = r
	}
	return lowest
}

// applyPast books a run of an imported history as if it had been reserved and ended when it happened.
func (s *State) applyPast(r Row, b RunPast) {
	if b.Sum != nil {
		s.applySum(r, b)
		return
	}
	c := s.channel(b.Channel)
	if c == nil {
		return
	}
	then := r
	if then.ID == "" { // bookings are told apart by it
		then.ID = "row-" + strconv.FormatInt(r.Seq, 10)
	}
	then.At = b.Happened
	then.Elapsed = r.Elapsed - elapsed(r.At.Sub(b.Happened))
	rate := c.presentRate()
	reserved := RunReserved{Run: then.ID, Channel: b.Channel, Container: c.cfg.Container, Node: c.cfg.Node, Output: c.cfg.Output,
		Serial: s.serial, Purpose: b.Purpose, Into: b.Into, Volume: b.Volume, Duration: b.Duration, Tolerance: c.tolerance,
		Rate: rate, Offset: c.offset, RunsOn: c.runsOn, CarryNL: c.carryNL, DayVolume: s.pastDayVolume(c, b)}
	if reserved.Duration == 0 {
		reserved.Duration = rate.TimeFor(b.Volume - c.offset)
	}
	reserved.Longest, reserved.Worst = s.worstCase(c, reserved.Duration, b.Volume, rate)
	booking := safety.NewBooking(then.ID, b.Into == IntoVessel, then.Elapsed, reserved.Longest, reserved.commanded())
	s.begin(c, then, reserved, booking)

	moved := b.Volume
	if b.Delivered != nil {
		moved = *b.Delivered
	}
	ended := RunEnded{Run: then.ID, Outcome: b.Outcome}
	ended.Hi, ended.Lo = safety.Account(reserved.commanded(), b.Outcome, nil)
	if b.Outcome == Finished || b.Outcome == Partial {
		ended.Hi, ended.Lo = c.tolerance.Above(max(reserved.Worst, moved)), c.tolerance.Below(moved-max(0, c.offset))
	}
	end := then
	end.At, end.Elapsed = then.At.Add(reserved.Duration.Duration()), then.Elapsed+safety.Elapsed(reserved.Duration)
	closed := booking.Close(end.Elapsed, ended.Outcome, ended.Hi, ended.Lo)
	c.book = c.book.Add(then.Elapsed, closed)
	s.count(c, booking, closed, b.Outcome, end.Elapsed, then.At)
	s.finish(c, closed, end, b.Outcome, moved, moved)
}

// pastDayVolume is the daily volume that was planned when an imported run happened: it is worked out anew, since
// a history does not carry it. Once an hour is often enough.
func (s *State) pastDayVolume(c *channelState, b RunPast) safety.Microlitres {
	if b.Purpose != Dose || !c.follows() {
		return 0
	}
	s.refreshDays(b.Happened)
	return c.day.PerDay
}

// worstCase is the longest that a node can be on for a run, and what it moves in that time before the tolerance.
// A relay whose on-time is fixed inside it always takes the whole of it. With an offset the commanded volume says
// too little of either sign of it.
func (s *State) worstCase(c *channelState, d safety.Milliseconds, v safety.Microlitres, rate safety.Rate) (safety.Milliseconds, safety.Microlitres) {
	autoOff := safety.Milliseconds(0)
	if n := s.node(c.cfg.Node); n != nil {
		autoOff = n.cfg.AutoOff
	}
	longest := max(d, autoOff)
	if autoOff > 0 || c.offset != 0 || c.runsOn != 0 {
		v = max(v, safety.Commanded{Rate: rate, RunsOn: c.runsOn}.WorstIn(longest))
	}
	return longest, v
}

// presentRate is the calibrated rate, else the nominal one, else 0.
func (c *channelState) presentRate() safety.Rate {
	if c.rate > 0 {
		return c.rate
	}
	return c.cfg.NominalRate
}

func (b RunReserved) commanded() safety.Commanded {
	return safety.Commanded{Volume: b.Volume, Worst: b.Worst, Rate: b.Rate, Tolerance: b.Tolerance, Offset: b.Offset, RunsOn: b.RunsOn}
}

// Moved is what the run gave by the calibration, if it ran for so long.
func (b RunReserved) Moved(ran safety.Milliseconds) safety.Microlitres {
	return b.commanded().Moved(ran)
}

// movedBy is what the run gave by the word about its end.
func (b RunReserved) movedBy(e RunEnded) safety.Microlitres {
	if e.Duration > 0 || e.Outcome == Partial {
		return b.Moved(e.Duration)
	}
	return b.Volume
}

func (p Purpose) attended() bool { return p == Prime || p == Calibrate || p == TestRun || p == Prove }
