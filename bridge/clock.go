package bridge

import (
	"time"

	"aliquot/safety"
)

// SystemClock is the host's clock. Its monotonic time starts at zero when it is made.
type SystemClock struct {
	start  time.Time
	synced func() bool
}

// NewSystemClock makes the host's clock; synced says whether the kernel's clock is disciplined.
func NewSystemClock(synced func() bool) *SystemClock {
	return &SystemClock{start: time.Now(), synced: synced}
}

// Now reads the clock.
func (c *SystemClock) Now() safety.Instant {
	now := time.Now()
	// Round(0) strips the monotonic reading, so that wall arithmetic sees the wall clock and nothing else.
	return safety.Instant{Wall: now.Round(0).UTC(), Mono: now.Sub(c.start), Synced: c.synced()}
}

// WakeAt wakes at a monotonic time.
func (c *SystemClock) WakeAt(mono time.Duration) (<-chan time.Time, func()) {
	t := time.NewTimer(mono - time.Since(c.start))
	return t.C, func() { t.Stop() }
}
