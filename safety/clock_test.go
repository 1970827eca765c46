package safety

import (
	"strings"
	"testing"
	"time"
)

// noon is the true time at which the tables below begin.
var noon = time.Date(2027, 3, 2, 12, 0, 0, 0, time.UTC)

func look(wall time.Time, mono time.Duration, synced bool) Instant {
	return Instant{Wall: wall, Mono: mono, Synced: synced}
}

// steady is a clock that has run well for an hour and recorded a row at its end.
func steady(policy ClockTrust) Clock {
	c := NewClock(policy, 0, time.Time{}, 0).Advance(look(noon, 0, true)).Confirm()
	return c.Advance(look(noon.Add(time.Hour), time.Hour, true)).Recorded()
}

func wantClock(t *testing.T, name string, c Clock, at Elapsed, distrust string) {
	t.Helper()
	if c.Now() != at {
		t.Errorf("%s: the axis is at %d ms; want %d", name, c.Now(), at)
	}
	got := c.Distrust()
	if (distrust == "") != (got == "") || !strings.Contains(got, distrust) {
		t.Errorf("%s: distrust %q; want it to contain %q", name, got, distrust)
	}
	if c.Trusted() != (got == "") {
		t.Errorf("%s: trusted %v, but distrust %q", name, c.Trusted(), got)
	}
}

func TestClockBeforeTheFirstLook(t *testing.T) {
	for _, policy := range []ClockTrust{TrustSynced, TrustConfirmed} {
		c := NewClock(policy, 7*hour, noon, 6*hour)
		wantClock(t, "new", c, 7*hour, "not been looked at")
		wantClock(t, "confirmed unseen", c.Confirm(), 7*hour, "not been looked at")
		wantClock(t, "recorded unseen", c.Recorded(), 7*hour, "not been looked at")
	}
	wantClock(t, "declared", NewClock(TrustDeclared, 7*hour, noon, 6*hour), 7*hour, "")
}

func TestH14BootIn1970(t *testing.T) {
	old := time.Date(1970, 1, 1, 0, 0, 10, 0, time.UTC)
	// The ledger: last row 2 h after the newest trusted one, which was at noon.
	c := NewClock(TrustSynced, 12*hour, noon, 10*hour)
	c = c.Advance(look(old, 3*time.Second, false))
	wantClock(t, "at boot", c, 12*hour, "earlier than the newest record")
	c = c.Advance(look(old.Add(10*time.Minute), 10*time.Minute+3*time.Second, true))
	wantClock(t, "a synchronised 1970 is not believed either", c, 12*hour+10*minute, "earlier than the newest record")

	// Synchronised after 20 minutes: 30 h after noon in truth.
	c = c.Advance(look(noon.Add(30*time.Hour), 20*time.Minute+3*time.Second, true))
	wantClock(t, "when synchronised", c, 12*hour+20*minute, "jumped")
	c = c.Advance(look(noon.Add(30*time.Hour+time.Minute-time.Millisecond), 21*time.Minute+3*time.Second-time.Millisecond, true))
	wantClock(t, "just under a minute later", c, 12*hour+21*minute-1, "jumped")
	c = c.Advance(look(noon.Add(30*time.Hour+time.Minute), 21*time.Minute+3*time.Second, true))
	wantClock(t, "a minute later the gap is known", c, 40*hour+minute, "")
	c = c.Advance(look(noon.Add(31*time.Hour), 80*time.Minute+3*time.Second, true))
	wantClock(t, "and is added once", c, 40*hour+minute+59*minute, "")
}

// A host without a battery clock that boots with the time of its last shutdown, and is synchronised 20 minutes
// later; the correction is then no jump of the wall clock against what the process saw, but the truth.
func TestH14BootAtLastShutdown(t *testing.T) {
	c := NewClock(TrustSynced, 10*hour, noon, 10*hour).Advance(look(noon.Add(time.Second), 0, false))
	wantClock(t, "at boot", c, 10*hour, "not synchronised")
	c = c.Advance(look(noon.Add(20*time.Minute), 20*time.Minute, false))
	wantClock(t, "after 20 min", c, 10*hour+20*minute, "not synchronised")
	c = c.Advance(look(noon.Add(5*time.Hour+20*time.Minute), 20*time.Minute, true))
	wantClock(t, "when synchronised", c, 10*hour+20*minute, "jumped by 5h0m0s")
	c = c.Advance(look(noon.Add(5*time.Hour+22*time.Minute), 22*time.Minute, true))
	wantClock(t, "two minutes later", c, 15*hour+22*minute, "")
}

// While the clock is not trusted the axis gains only what the process saw: old rows count longer, never shorter.
func TestH14UntrustedRestartsOnlyLengthenWindows(t *testing.T) {
	last := 10 * hour
	for range 3 {
		c := NewClock(TrustSynced, last, noon, 10*hour).Advance(look(noon.Add(48*time.Hour), 0, false))
		c = c.Advance(look(noon.Add(49*time.Hour), time.Hour, false)).Recorded()
		last = c.Now()
	}
	if last != 13*hour {
		t.Errorf("three untrusted hours put the axis at %d ms; want %d", last, 13*hour)
	}
	c := NewClock(TrustSynced, last, noon, 10*hour).Advance(look(noon.Add(96*time.Hour), 0, true))
	wantClock(t, "then one trusted look", c, 106*hour, "")
}

func TestH11ClockJumpsForward(t *testing.T) {
	for _, jump := range []time.Duration{time.Hour, 25 * time.Hour, 365 * 24 * time.Hour} {
		t.Run(jump.String(), func(t *testing.T) {
			c := steady(TrustSynced)
			mono := time.Hour + 15*time.Second
			c = c.Advance(look(noon.Add(mono+jump), mono, true))
			wantClock(t, "jumped", c, hour+15*second, "jumped by "+jump.String())
			c = c.Advance(look(noon.Add(mono+jump+30*time.Second), mono+30*time.Second, true))
			wantClock(t, "30 s later", c, hour+45*second, "jumped")
			c = c.Advance(look(noon.Add(mono+jump+45*time.Second), mono+45*time.Second, false))
			wantClock(t, "no longer synchronised", c, hour+60*second, "jumped")
			c = c.Advance(look(noon.Add(mono+jump+60*time.Second), mono+60*time.Second, true))
			wantClock(t, "the count of checks began anew", c, hour+75*second, "jumped")
			c = c.Advance(look(noon.Add(mono+jump+119*time.Second), mono+119*time.Second, true))
			wantClock(t, "59 s after", c, hour+134*second, "jumped")
			c = c.Advance(look(noon.Add(mono+jump+120*time.Second), mono+120*time.Second, true))
			wantClock(t, "60 s after: believed, and the axis gained nothing", c, hour+135*second, "")
		})
	}
}

func TestH12ClockJumpsBack(t *testing.T) {
	for _, jump := range []time.Duration{time.Hour, 25 * time.Hour} {
		t.Run(jump.String(), func(t *testing.T) {
			c := steady(TrustSynced)
			mono := time.Hour + 15*time.Second
			c = c.Advance(look(noon.Add(mono-jump), mono, true))
			wantClock(t, "jumped", c, hour+15*second, "jumped by -"+jump.String())
			c = c.Advance(look(noon.Add(mono-jump+time.Minute), mono+time.Minute, true))
			wantClock(t, "two checks later it is still before the newest row", c, hour+75*second, "earlier than the newest record of 2027-03-02T13:00:00Z")

			// The newest row is from mono 1 h; the wall is believed again 2 s before it gets there.
			back := time.Hour + jump - 2*time.Second
			c = c.Advance(look(noon.Add(back-jump-time.Millisecond), back-time.Millisecond, true))
			wantClock(t, "just too early", c, hour+Elapsed((jump-2*time.Second)/time.Millisecond)-1, "earlier than")
			c = c.Advance(look(noon.Add(back-jump), back, true))
			wantClock(t, "at the newest row", c, hour+Elapsed((jump-2*time.Second)/time.Millisecond), "")
		})
	}
}

func TestH12JumpBackAndForthStaysSuspect(t *testing.T) {
	c := steady(TrustSynced)
	c = c.Advance(look(noon, time.Hour+time.Second, true))
	c = c.Advance(look(noon.Add(time.Hour+2*time.Second), time.Hour+2*time.Second, true))
	wantClock(t, "back and forth", c, hour+2*second, "jumped by 1h0m1s")
	c = c.Advance(look(noon.Add(time.Hour+62*time.Second), time.Hour+62*time.Second, true))
	wantClock(t, "a quiet minute later", c, hour+62*second, "")
}

func TestH11JumpLimit(t *testing.T) {
	const lookAfter = 15 * time.Second
	for _, tt := range []struct {
		name   string
		offset time.Duration
		want   string
	}{
		{"slew of 500 ppm", 7500 * time.Microsecond, ""},
		{"just below a minute ahead", time.Minute - time.Millisecond, ""},
		{"a minute ahead", time.Minute, ""},
		{"just above a minute ahead", time.Minute + time.Millisecond, "jumped by 1m0s"},
		{"back by less than the time between the looks", -lookAfter, ""},
		{"2 s before the newest row", -lookAfter - 2*time.Second, ""},
		{"just more than 2 s before the newest row", -lookAfter - 2*time.Second - time.Millisecond, "earlier than"},
		{"a minute back", -time.Minute, "earlier than"},
		{"just above a minute back", -time.Minute - time.Millisecond, "jumped by -1m0s"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			mono := time.Hour + lookAfter
			c := steady(TrustSynced).Advance(look(noon.Add(mono+tt.offset), mono, true))
			wantClock(t, tt.name, c, hour+15*second, tt.want)
		})
	}
}

func TestClockLosesSynchronisation(t *testing.T) {
	c := steady(TrustSynced)
	c = c.Advance(look(noon.Add(2*time.Hour), 2*time.Hour, false))
	wantClock(t, "lost", c, 2*hour, "not synchronised")
	wantClock(t, "the keeper cannot replace the kernel under this policy", c.Confirm(), 2*hour, "not synchronised")
	c = c.Advance(look(noon.Add(3*time.Hour), 3*time.Hour, true))
	wantClock(t, "found again without a jump", c, 3*hour, "")
}

func TestH14ConfirmedPolicy(t *testing.T) {
	c := NewClock(TrustConfirmed, 10*hour, noon, 10*hour).Advance(look(noon.Add(5*time.Hour), 0, true))
	wantClock(t, "the kernel alone does not do", c, 10*hour, "nobody has confirmed")
	c = c.Advance(look(noon.Add(5*time.Hour+time.Minute), time.Minute, false)).Confirm()
	wantClock(t, "confirmed: the gap is added", c, 15*hour+minute, "")
	c = c.Advance(look(noon.Add(7*time.Hour+time.Minute), time.Minute+time.Second, false))
	wantClock(t, "a jump ends the confirmation", c, 15*hour+minute+second, "jumped")
	for i := range time.Duration(3) {
		c = c.Advance(look(noon.Add(7*time.Hour+(2+i)*time.Minute), time.Minute+time.Second+(1+i)*time.Minute, true))
	}
	wantClock(t, "which no kernel renews", c, 15*hour+4*minute+second, "jumped")
	c = c.Confirm()
	wantClock(t, "but the keeper", c, 15*hour+4*minute+second, "")

	next := NewClock(TrustConfirmed, c.Now(), c.Wall(), c.Now()).Advance(look(noon.Add(8*time.Hour), 0, true))
	wantClock(t, "every start needs a new one", next, 15*hour+4*minute+second, "nobody has confirmed")
	early := NewClock(TrustConfirmed, 10*hour, noon, 10*hour).Advance(look(noon.Add(-time.Hour), 0, true)).Confirm()
	wantClock(t, "none holds before the newest row", early, 10*hour, "earlier than the newest record")
}

func TestDeclaredPolicy(t *testing.T) {
	c := NewClock(TrustDeclared, 10*hour, noon, 10*hour).Advance(look(noon.Add(5*time.Hour), 0, false))
	wantClock(t, "started", c, 15*hour, "")
	c = c.Advance(look(noon.Add(29*time.Hour), time.Second, false))
	wantClock(t, "a jump is nobody's business, and the axis keeps to monotonic time", c, 15*hour+second, "")
	c = NewClock(TrustDeclared, 10*hour, noon, 10*hour).Advance(look(noon.Add(-5*time.Hour), 0, false))
	wantClock(t, "a start in the past takes nothing away", c, 10*hour, "")
}

func TestMonotonicTimeNeverTakesTheAxisBack(t *testing.T) {
	c := steady(TrustSynced)
	c = c.Advance(look(noon.Add(time.Hour+time.Second), 30*time.Minute, true))
	wantClock(t, "monotonic time went back", c, hour, "")
	c = c.Advance(look(noon.Add(time.Hour+2*time.Second), time.Hour+time.Millisecond, true))
	wantClock(t, "and caught up", c, hour+1, "")
}

func TestFirstStartHasNoGap(t *testing.T) {
	c := NewClock(TrustSynced, 5*hour, time.Time{}, 0).Advance(look(noon, time.Minute, true))
	wantClock(t, "no trusted row yet", c, 5*hour, "")
	if got := c.Wall(); !got.Equal(noon) {
		t.Errorf("Wall() = %s; want %s", got, noon)
	}
}

// Outside the assumptions: a wall clock that the kernel calls synchronised though it is wrong. Within a process
// the axis does not care. Over a restart it gains exactly the lie, no more, and only if the lie was slow.
func TestH12WrongClockCalledSyncedCostsExactlyTheLie(t *testing.T) {
	for _, tt := range []struct {
		name string
		lie  time.Duration // wall − truth while the row was recorded
		want Elapsed       // the axis 3 h after the beginning, with a true clock again
		text string
	}{
		{"an hour slow: 1 h too much", -time.Hour, 4 * hour, ""},
		{"true", 0, 3 * hour, ""},
		{"half an hour fast: half an hour too little", 30 * time.Minute, 2*hour + 30*minute, ""},
		{"a day fast: nothing is gained and nothing trusted", 24 * time.Hour, hour, "earlier than"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c := NewClock(TrustSynced, 0, time.Time{}, 0).Advance(look(noon.Add(tt.lie), 0, true))
			c = c.Advance(look(noon.Add(tt.lie+time.Hour), time.Hour, true)).Recorded()
			wantClock(t, "before", c, hour, "")
			c = NewClock(TrustSynced, c.Now(), c.Wall(), c.Now()).Advance(look(noon.Add(3*time.Hour), 0, true))
			wantClock(t, "after the restart", c, tt.want, tt.text)
		})
	}
}
