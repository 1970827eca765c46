package safety

import (
	"fmt"
	"math"
	"time"
)

// Microlitres is a volume in whole µL. One litre is 1e6.
type Microlitres int64

// Milliseconds is a running time in whole ms.
type Milliseconds int64

// Rate is a pump's delivery in whole nanolitres per second: 10 mL/min is 166 667.
type Rate int64

// Elapsed is true time in whole ms since the site's ledger began: it never falls, never runs faster than
// true time while a process observes it, and is carried over restarts (see Clock). All windows, rests and
// spacings are measured on it.
type Elapsed int64

// Millilitre is one mL in µL.
const Millilitre Microlitres = 1000

// maxMillilitres bounds conversions from floating point: 1e9 mL is far above any container and far below
// the range of int64.
const maxMillilitres = 1e9

// MillilitresDown converts a floating volume to whole µL, rounding down. NaN, infinite, negative and absurd
// values give an error: the caller has a bug or a hostile input.
func MillilitresDown(ml float64) (Microlitres, error) {
	return microlitres(ml, math.Floor)
}

// MillilitresUp is MillilitresDown rounding up, for amounts that must not be underestimated.
func MillilitresUp(ml float64) (Microlitres, error) {
	return microlitres(ml, math.Ceil)
}

func microlitres(ml float64, round func(float64) float64) (Microlitres, error) {
	if !(ml >= 0 && ml <= maxMillilitres) {
		return 0, fmt.Errorf("a volume of %v mL is not a number from 0 to %g", ml, maxMillilitres)
	}
	// The nudge keeps 8.2 mL at 8200 µL though 8.2*1000 may be 8199.999…: a millionth of a µL, or what a double
	// cannot hold of the number, is far below any rounding that matters.
	nudge := max(1e-6, ml*1000*1e-15)
	if v := math.Round(ml * 1000); math.Abs(v-ml*1000) < nudge {
		return Microlitres(v), nil
	}
	return Microlitres(round(ml * 1000)), nil
}

// Millilitres gives the volume in mL for display and for chemistry.
func (v Microlitres) Millilitres() float64 { return float64(v) / 1000 }

func (v Microlitres) String() string { return fmt.Sprintf("%g mL", v.Millilitres()) }

// Duration gives the running time as a time.Duration.
func (t Milliseconds) Duration() time.Duration { return time.Duration(t) * time.Millisecond }

// Seconds gives the running time in seconds, for payloads.
func (t Milliseconds) Seconds() float64 { return float64(t) / 1000 }

// MillisecondsUp converts a duration to whole ms, rounding up.
func MillisecondsUp(d time.Duration) Milliseconds {
	return Milliseconds((d + time.Millisecond - 1) / time.Millisecond)
}

// RateFromMillilitresPerMinute converts a calibration or a nominal rate, rounding to the nearest nL/s.
// Rates outside 0.01..5000 mL/min are no dosing pump and give an error.
func RateFromMillilitresPerMinute(r float64) (Rate, error) {
	if !(r >= 0.01 && r <= 5000) {
		return 0, fmt.Errorf("a rate of %v mL/min is outside 0.01..5000 mL/min", r)
	}
	return Rate(math.Round(r / 60 * 1e6)), nil
}

// MillilitresPerMinute gives the rate for display.
func (r Rate) MillilitresPerMinute() float64 { return float64(r) * 60 / 1e6 }

// VolumeIn gives what the pump moves in t, rounded up: the caller counts it as delivered.
func (r Rate) VolumeIn(t Milliseconds) Microlitres {
	return Microlitres(ceilDiv(product(int64(r), int64(t)), 1e6))
}

// leastIn is VolumeIn rounded down: what surely moved.
func (r Rate) leastIn(t Milliseconds) Microlitres {
	return Microlitres(product(int64(r), int64(t)) / 1e6)
}

// TimeFor gives the longest whole number of ms in which the pump moves no more than v. Zero if the rate is
// not positive.
func (r Rate) TimeFor(v Microlitres) Milliseconds {
	if r <= 0 || v <= 0 {
		return 0
	}
	return Milliseconds(product(int64(v), 1e6) / int64(r))
}

// Tolerance is a relative error in permille: 50 is 5 %.
type Tolerance int64

// Above gives v × (1 + tolerance), rounded up.
func (tol Tolerance) Above(v Microlitres) Microlitres {
	return Microlitres(ceilDiv(product(int64(v), 1000+int64(tol)), 1000))
}

// Below gives v × (1 − tolerance), rounded down, at least 0.
func (tol Tolerance) Below(v Microlitres) Microlitres {
	return Microlitres(product(int64(v), 1000-int64(tol)) / 1000)
}

func ceilDiv(a, b int64) int64 {
	if a <= 0 {
		return 0
	}
	return (a-1)/b + 1
}

// product is a × b, 0 if either is not positive, and the largest number there is where the true product is
// larger: an absurd input must not wrap round to a harmless amount.
func product(a, b int64) int64 {
	switch {
	case a <= 0 || b <= 0:
		return 0
	case a > math.MaxInt64/b:
		return math.MaxInt64
	}
	return a * b
}
