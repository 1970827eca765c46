package mqtt

import "time"

// lossLimit is how many losses in the window make the longest pause the least one (H-07: two clients with
// one id throw each other off without end).
const lossLimit = 3

// pauses says how long to wait before the next attempt. It reads no clock.
type pauses struct {
	least, most time.Duration
	window      time.Duration
	failures    int         // attempts in a row that never came up
	losses      []time.Time // of connections that had been up, within the window
}

// next gives the pause after an attempt that ended at now; wasUp says whether it had come up. jitter is a
// random number in [0, 1) that spreads clients which lost the same broker.
func (p *pauses) next(now time.Time, wasUp bool, jitter float64) time.Duration {
	if wasUp {
		p.failures = 0
		p.losses = append(p.losses, now)
	} else {
		p.failures++
	}
	recent := p.losses[:0]
	for _, at := range p.losses {
		if now.Sub(at) < p.window {
			recent = append(recent, at)
		}
	}
	p.losses = recent
	base := p.least
	for i := 1; i < p.failures && base < p.most; i++ {
		base *= 2
	}
	base = min(base, p.most)
	if len(p.losses) >= lossLimit {
		base = p.most
		return base + time.Duration(jitter*float64(base)/5) // never below the longest pause
	}
	// Three quarters to all of the pause, but not below the shortest one.
	return max(p.least, base-time.Duration(jitter*float64(base)/4))
}
