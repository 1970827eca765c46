package trial

import "time"

// reading is a test by hand, and what was dosed and changed since the one before.
type reading struct {
	at    time.Time
	value float64
}

// Hand is a keeper who works the dose out by hand: the slope between two tests, with what was dosed between them,
// gives the use; the distance to the target is made up over some days. He believes every test.
type Hand struct {
	Every time.Duration // least time between the tests that he works by
	Over  float64       // days over which the distance to the target is made up
	Once  bool          // he sets the dose after the second test, and leaves it

	told    Told
	last    reading
	tests   int
	gained  float64 // by doses and water changes since last
	level   float64 // running guess, for what a water change does
	perDay  float64
	settled bool
}

// Never sets the dose once, from the slope between the first two tests.
func Never() *Hand { return &Hand{Over: 7, Once: true} }

// HandWeekly works it out about once a week.
func HandWeekly() *Hand { return &Hand{Every: 6*24*time.Hour + 12*time.Hour, Over: 7} }

// Hand3 works it out about every three days.
func Hand3() *Hand { return &Hand{Every: 2*24*time.Hour + 12*time.Hour, Over: 3} }

// Reset starts a trial.
func (k *Hand) Reset(told Told) {
	*k = Hand{Every: k.Every, Over: k.Over, Once: k.Once, told: told, perDay: told.Base}
}

// Test works the dose out if it is time.
func (k *Hand) Test(at time.Time, value float64) {
	k.tests++
	since := at.Sub(k.last.at)
	switch {
	case k.tests == 1:
	case k.settled:
		return
	case k.tests > 2 && since < k.Every:
		return // tests between are looked at and not used
	default:
		k.workOut(value, since.Hours()/24)
		k.settled = k.Once
	}
	k.last, k.gained, k.level = reading{at, value}, 0, value
}

func (k *Hand) workOut(value, days float64) {
	use := (k.last.value + k.gained - value) / days
	use = min(max(0, use), k.told.CapPerDay)
	correction := min(max((k.told.Target-value)/k.Over, -k.told.MaxFall), k.told.MaxRise)
	if k.Once {
		correction = 0
	}
	k.perDay = min(max(0, use+correction), k.told.CapPerDay)
}

// WaterChange counts as a gain, from the level that he supposes.
func (k *Hand) WaterChange(_ time.Time, fraction, mix float64) {
	if k.tests > 0 {
		k.gained += fraction * (mix - k.level)
	}
}

// Dosed is counted.
func (k *Hand) Dosed(_ time.Time, rise float64) { k.gained += rise }

// Daily gives the dose that he set.
func (k *Hand) Daily(time.Time) float64 { return k.perDay }
