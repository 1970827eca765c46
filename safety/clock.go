package safety

import (
	"fmt"
	"time"
)

// Instant is one moment as a process sees it.
type Instant struct {
	Wall   time.Time     // wall clock, UTC
	Mono   time.Duration // monotonic time since the process started
	Synced bool          // the kernel says that the wall clock is disciplined
}

// ClockTrust says whose word the wall clock needs.
type ClockTrust int

// Policies. The zero value is the strictest that needs no person.
const (
	TrustSynced    ClockTrust = iota // the kernel's
	TrustConfirmed                   // the keeper's, after each start
	TrustDeclared                    // nobody's: a virtual clock
)

const (
	jumpLimit    = time.Minute     // wall against monotonic, between two looks
	agreeApart   = time.Minute     // between the two checks that restore trust
	backwardsTol = 2 * time.Second // the newest row may be this much newer than now
)

// Clock keeps the true time axis (Elapsed) and decides whether the wall clock can be believed (H-11, H-12,
// H-14). Within a process the axis follows monotonic time. Over a restart it gains the wall time that passed,
// once, as soon as both ends are trusted; until then it gains nothing, so that windows only ever grow longer.
type Clock struct {
	policy    ClockTrust
	started   bool
	base      Elapsed       // the axis at startMono
	startMono time.Duration // the first look of this process
	mono      time.Duration // the last look
	wall      time.Time
	synced    bool
	confirmed bool

	newest   time.Time // the newest trusted row's wall time
	newestAt Elapsed   // and its place on the axis
	aligned  bool      // the gap before this process has been added

	suspect   string        // why the clock is suspected since a jump, else empty
	agreeing  bool          // a first good check since the jump
	agreeMono time.Duration // when it was
}

// NewClock starts the axis behind the last row of the ledger: its place on the axis, and wall time and place of
// the newest row that was written while the clock was trusted (zero time: none).
func NewClock(policy ClockTrust, last Elapsed, newest time.Time, newestAt Elapsed) Clock {
	return Clock{policy: policy, base: last, newest: newest, newestAt: newestAt, aligned: newest.IsZero()}
}

// Advance takes the next look. Monotonic time never goes back; if it does, the axis stands still.
func (c Clock) Advance(now Instant) Clock {
	if !c.started {
		c.started, c.startMono, c.mono, c.wall = true, now.Mono, now.Mono, now.Wall
	}
	mono := max(c.mono, now.Mono)
	jump := now.Wall.Sub(c.wall) - (mono - c.mono)
	c.mono, c.wall, c.synced = mono, now.Wall, now.Synced
	if jump > jumpLimit || jump < -jumpLimit {
		c.suspect, c.agreeing, c.confirmed = fmt.Sprintf("the wall clock jumped by %s", jump.Round(time.Second)), false, false
	}
	c.recover()
	c.align()
	return c
}

// recover ends a suspicion after two looks, a minute apart, at which the kernel says the clock is disciplined.
func (c *Clock) recover() {
	switch {
	case c.suspect == "" || c.policy == TrustConfirmed:
	case !c.synced:
		c.agreeing = false
	case !c.agreeing:
		c.agreeing, c.agreeMono = true, c.mono
	case c.mono-c.agreeMono >= agreeApart:
		c.suspect, c.agreeing = "", false
	}
}

// align adds, once, the wall time between the newest trusted row and this process.
func (c *Clock) align() {
	if c.aligned || !c.Trusted() {
		return
	}
	c.aligned = true
	if gain := c.newestAt + Elapsed(c.wall.Sub(c.newest)/time.Millisecond) - c.Now(); gain > 0 {
		c.base += gain
	}
}

// Confirm records that the keeper vouches for the wall clock, until its next jump or the end of the process.
// Under TrustSynced it changes nothing: there the kernel decides.
func (c Clock) Confirm() Clock {
	if c.policy == TrustConfirmed {
		c.confirmed, c.suspect = true, ""
		c.align()
	}
	return c
}

// Recorded tells the clock that a row was written now.
func (c Clock) Recorded() Clock {
	if c.Trusted() {
		c.newest, c.newestAt = c.wall, c.Now()
	}
	return c
}

// Now is the present place on the true time axis.
func (c Clock) Now() Elapsed { return c.base + Elapsed((c.mono-c.startMono)/time.Millisecond) }

// Wall is the wall time at the last look.
func (c Clock) Wall() time.Time { return c.wall }

// Trusted says whether the wall clock can be believed.
func (c Clock) Trusted() bool { return c.Distrust() == "" }

// Distrust says why the wall clock is not believed, or is empty.
func (c Clock) Distrust() string {
	switch {
	case c.policy == TrustDeclared:
		return ""
	case !c.started:
		return "the clock has not been looked at yet"
	case c.suspect != "":
		return c.suspect
	case c.wall.Before(c.newest.Add(-backwardsTol)):
		return fmt.Sprintf("the wall clock says %s, earlier than the newest record of %s", stamp(c.wall), stamp(c.newest))
	case c.policy == TrustSynced && !c.synced:
		return "the system clock is not synchronised"
	case c.policy == TrustConfirmed && !c.confirmed:
		return "nobody has confirmed the clock since the start"
	}
	return ""
}

func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339) }
