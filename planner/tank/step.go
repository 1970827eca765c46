package tank

import (
	"fmt"
	"time"
)

// ScaleUptake lets the corals take up factor times as much from at on, 0 to 100: animals that come or go, a lamp that is
// changed. at is not before the last moment that the tank was brought to.
func (t *Tank) ScaleUptake(at time.Time, factor float64) error {
	next := t.p.Uptake.PerDay * factor
	if !(factor >= 0 && factor <= 100 && next <= 20) {
		return fmt.Errorf("an uptake %g times %g dKH/day, allowed are 0 to 20 dKH/day", factor, t.p.Uptake.PerDay)
	}
	t.Advance(at)
	t.p.Uptake.PerDay = next
	return nil
}
