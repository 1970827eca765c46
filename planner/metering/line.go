package metering

import (
	"fmt"
	"math"

	"aliquot/safety"
)

// Lifts that a hobby peristaltic channel can do, in metres (common practice).
const (
	LiftWarnM   = 1.5
	LiftRefuseM = 1.8
)

// Lift is a verdict on the height from container to outlet.
type Lift int

// Verdicts on a lift. The zero value is the strict one.
const (
	LiftRefused Lift = iota
	LiftWarned
	LiftOK
)

func (l Lift) String() string {
	switch l {
	case LiftOK:
		return "ok"
	case LiftWarned:
		return "warn"
	}
	return "refuse"
}

// LiftVerdict judges the height that a channel must lift, in metres: above 1.5 m the rate falls and wear grows,
// above 1.8 m hobby channels stop delivering. Negative lifts are no lift; siphons are judged elsewhere.
func LiftVerdict(liftM float64) Lift {
	switch {
	case liftM <= LiftWarnM:
		return LiftOK
	case liftM <= LiftRefuseM:
		return LiftWarned
	}
	return LiftRefused
}

// LineVolumeML is what a line of this bore (mm) and length (m) holds, in mL: π/4 · bore² · length. A line of
// 3 mm × 1.5 m holds 10.6 mL. It is 0 unless both are positive and finite.
func LineVolumeML(boreMM, lengthM float64) float64 {
	v := math.Pi / 4 * boreMM * boreMM * lengthM
	if !(boreMM > 0 && lengthM > 0) || math.IsInf(v, 0) {
		return 0
	}
	return v
}

// Priming pushes more than one line volume, because a first run of a few mL only moves air and bubbles stay
// behind; the pump's own tube adds some mL. Both figures are this program's own choice.
const (
	primeFactor  = 1.5
	primeExtraML = 2
)

// PrimeVolume suggests how much to pump so that an empty line of this bore (mm) and length (m) is full up to
// the outlet. The person watches the outlet: the figure is a first bid, never a proof.
func PrimeVolume(boreMM, lengthM float64) (safety.Microlitres, error) {
	v := LineVolumeML(boreMM, lengthM)
	if !(v > 0) {
		return 0, fmt.Errorf("a line of %g mm × %g m has no volume; bore and length must be above 0", boreMM, lengthM)
	}
	return safety.MillilitresUp(primeFactor*v + primeExtraML)
}
