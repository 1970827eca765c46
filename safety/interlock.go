package safety

import (
	"math"
	"time"
)

// Reading is a probe's present value. Good is false if it is missing, stale, implausible or a retained replay:
// the value then counts for nothing.
type Reading struct {
	Value float64
	Good  bool
}

// usable says whether the reading counts: NaN and infinity never do, whatever the caller thinks of them.
func (r Reading) usable() bool {
	return r.Good && !math.IsNaN(r.Value) && !math.IsInf(r.Value, 0)
}

// Bound is a one-sided limit on a reading.
type Bound struct {
	Value float64
	Above bool // met by readings above Value; else by readings below it
	Equal bool // met by readings equal to Value (switch inputs); Above is then ignored
}

// Met reports whether a good reading lies on the bound's side. NaN never does.
func (b Bound) Met(v float64) bool {
	switch {
	case b.Equal:
		return v == b.Value
	case b.Above:
		return v > b.Value
	}
	return v < b.Value
}

// InterlockRule pauses channels while a condition holds on a probe.
type InterlockRule struct {
	When     Bound
	WhenFor  time.Duration // the condition must hold this long before it blocks
	Until    *Bound        // ends the block; nil: the condition's opposite
	UntilFor time.Duration
	Latch    bool // the condition's block stays until somebody clears it
	// IgnoreStale lets channels run without a good reading. Left out, no reading blocks: that block ends with the
	// next good reading and never latches.
	IgnoreStale bool
}

// Interlock is a rule's running state. The zero value has seen no reading, and therefore blocks.
type Interlock struct {
	Active  bool // the condition blocks
	NoData  bool // no good reading at the last look
	since   Elapsed
	pending bool // the condition (or, while active, its end) holds since `since`
	seen    bool
}

// Look takes the reading at now and gives the next state.
func (s Interlock) Look(r InterlockRule, now Elapsed, reading Reading) Interlock {
	s.seen, s.NoData = true, !reading.usable()
	if s.NoData {
		s.pending = false
		return s
	}
	met, hold := r.When.Met(reading.Value), r.WhenFor
	if s.Active {
		met, hold = r.ended(reading.Value), r.UntilFor
		if r.Latch {
			met = false
		}
	}
	switch {
	case !met:
		s.pending = false
	case !s.pending:
		s.pending, s.since = true, now
	}
	if s.pending && now-s.since >= Elapsed(hold/time.Millisecond) {
		s.Active, s.pending = !s.Active, false
	}
	return s
}

func (r InterlockRule) ended(v float64) bool {
	if r.Until != nil {
		return r.Until.Met(v)
	}
	return !r.When.Met(v)
}

// Restart makes a condition, or its end, count anew from the next look: for when the axis gained time that nobody
// watched.
func (s Interlock) Restart() Interlock {
	s.pending = false
	return s
}

// Clear ends a latched block, unless the condition still holds.
func (s Interlock) Clear(r InterlockRule, reading Reading) Interlock {
	if reading.usable() && !r.When.Met(reading.Value) {
		s.Active, s.pending = false, false
	}
	return s
}

// Blocks says whether the interlock pauses its channels, and whether that is for want of a reading.
func (s Interlock) Blocks(r InterlockRule) (blocked, forWantOfData bool) {
	if s.Active {
		return true, false
	}
	noData := (!s.seen || s.NoData) && !r.IgnoreStale
	return noData, noData
}
