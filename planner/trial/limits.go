package trial

import "time"

// phase is by how much the level lies above its mean over the day at the start of an hour, per dKH/day of use, when
// what is used in a day is given evenly.
func (w *water) phase(hour int) float64 {
	level, sum, here := 0.0, 0.0, 0.0
	for h := range 24 {
		if h == hour%24 {
			here = level
		}
		next := level + (1-w.light(h))/24
		sum += (level + next) / 2
		level = next
	}
	return here - sum/24
}

// holding gives the rise, as told, that holds the level for a day and brings its mean over the day to the target as
// fast as may be.
func (w *water) holding(hour int, told Told) float64 {
	use := w.useNow()
	far := told.Target - (w.level - use*w.phase(hour))
	return (use + min(max(far, -told.MaxFall), told.MaxRise)) / w.gain
}

// Informed is the limit of knowing: it is shown the level, the use and the pump as they are whenever it is asked, but
// not what comes. No policy that only sees tests can do as well for long.
type Informed struct {
	told  Told
	truth *water
}

func (k *Informed) see(w *water) { k.truth = w }

// Reset starts a trial.
func (k *Informed) Reset(told Told) { k.told = told }

// Test is of no use to it.
func (k *Informed) Test(time.Time, float64) {}

// WaterChange is of no use to it.
func (k *Informed) WaterChange(time.Time, float64, float64) {}

// Dosed is of no use to it.
func (k *Informed) Dosed(time.Time, float64) {}

// Daily gives what holds the level.
func (k *Informed) Daily(at time.Time) float64 { return max(0, k.truth.holding(hourOf(at), k.told)) }

func hourOf(at time.Time) int { return int(at.Sub(Start) / time.Hour) }
