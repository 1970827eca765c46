package seawater

import "math"

// Salt says how much inorganic carbon comes with the alkalinity of a supplement, mol per eq, 0 to 1. The zero
// value is hydroxide, which moves pH most.
type Salt float64

// Salts of the trade. A mixture lies between.
const (
	Hydroxide   Salt = 0
	Carbonates  Salt = 0.5
	Bicarbonate Salt = 1
)

// Bounds of the pH step of one run, total scale. Common practice, no published source.
const (
	DefaultStep = 0.05
	HardStep    = 0.10
)

func (s Salt) check() error {
	return within("salts of carbonic acid and hydroxides", "carbon per equivalent", "mol/eq", float64(s), 0, 1)
}

func checkRise(rise MicromolPerKg) error {
	return within(solver, "rise of alkalinity", "umol/kg", float64(rise), -float64(HighestAlkalinity), float64(HighestAlkalinity))
}

// Closed gives the water after a rise of alkalinity by a salt, mixed in before any CO2 has come from or gone to the
// air: the worst pH, minutes after a dose. A negative rise is an acid (Hydroxide) or calcification (Carbonates).
func (s *System) Closed(before Carbonate, rise MicromolPerKg, salt Salt) (Carbonate, error) {
	if err := salt.check(); err != nil {
		return Carbonate{}, err
	}
	if err := checkRise(rise); err != nil {
		return Carbonate{}, err
	}
	return s.AlkalinityCarbon(before.Alkalinity+rise, before.Carbon+rise*MicromolPerKg(salt))
}

// Aired gives the water after a rise of alkalinity, once it is at equilibrium with a partial pressure of CO2. The
// salt no longer matters.
func (s *System) Aired(before Carbonate, rise MicromolPerKg, p Microatm) (Carbonate, error) {
	if err := checkRise(rise); err != nil {
		return Carbonate{}, err
	}
	return s.AlkalinityPCO2(before.Alkalinity+rise, p)
}

// Step is the change of pH that a rise makes in the closed system, measured from the pH that s gives for before's
// alkalinity and carbon. Negative: pH falls, as with bicarbonate.
func (s *System) Step(before Carbonate, rise MicromolPerKg, salt Salt) (float64, error) {
	start, err := s.AlkalinityCarbon(before.Alkalinity, before.Carbon)
	if err != nil {
		return 0, err
	}
	after, err := s.Closed(start, rise, salt)
	if err != nil {
		return 0, err
	}
	return float64(after.PH - start.PH), nil
}

// StepPerDKH is the slope dpH/dA in the closed system, per dKH: what a small run does. Runs of 0.2 dKH and more
// do less or more than slope times size, see Step.
func (s *System) StepPerDKH(before Carbonate, salt Salt) (float64, error) {
	if err := salt.check(); err != nil {
		return 0, err
	}
	start, err := s.AlkalinityCarbon(before.Alkalinity, before.Carbon)
	if err != nil {
		return 0, err
	}
	one, err := s.water.AlkalinityFromDKH(1)
	if err != nil {
		return 0, err
	}
	h := hydrogen(start.PH)
	_, minor := s.minor(h)
	share, d := s.carbonateShare(h)
	// A = C·f(ln h) + m(ln h); dA given, dC = salt·dA.
	perPH := -math.Ln10 * (float64(start.Carbon)*micro*d + minor) // mol/kg, above 0: the buffer
	return float64(one) * micro * (1 - float64(salt)*share) / perPH, nil
}

// LargestRise is the inverse of Step: the smallest rise that changes pH by step, up or down, so that every smaller
// rise changes it by less. bounded is false where no rise up to HighestAlkalinity does; the rise is then what is left
// to HighestAlkalinity. step is above 0 and at most 1. A *RangeError where the step would leave LowestPH to HighestPH.
func (s *System) LargestRise(before Carbonate, salt Salt, step float64) (rise MicromolPerKg, bounded bool, err error) {
	if err := salt.check(); err != nil {
		return 0, false, err
	}
	if !(step > 0 && step <= 1) {
		return 0, false, &RangeError{Formula: solver, Name: "pH step", Got: step, Low: 0, High: 1}
	}
	start, err := s.AlkalinityCarbon(before.Alkalinity, before.Carbon)
	if err != nil {
		return 0, false, err
	}
	left := HighestAlkalinity - start.Alkalinity
	// pH moves one way only: each pH belongs to exactly one rise. So at most one of the two is a rise.
	for _, target := range [...]TotalPH{start.PH + TotalPH(step), start.PH - TotalPH(step)} {
		r, ok := s.riseTo(start, salt, target)
		if !ok || r > left {
			continue
		}
		if err := checkPH(target); err != nil {
			return 0, false, err
		}
		return r, true, nil
	}
	return left, false, nil
}

// riseTo is the rise that takes the closed system to a pH: A + r = (C + salt·r)·f + m, solved for r. Not ok: it
// would be a fall, or the salt never gets there.
func (s *System) riseTo(start Carbonate, salt Salt, target TotalPH) (MicromolPerKg, bool) {
	h := hydrogen(target)
	minor, _ := s.minor(h)
	share, _ := s.carbonateShare(h)
	lacking := float64(start.Carbon)*micro*share + minor - float64(start.Alkalinity)*micro
	r := lacking / (1 - float64(salt)*share) / micro
	return MicromolPerKg(r), r > 0
}

// LargestRiseDKH is LargestRise in dKH of the system's water.
func (s *System) LargestRiseDKH(before Carbonate, salt Salt, step float64) (dkh float64, bounded bool, err error) {
	r, bounded, err := s.LargestRise(before, salt, step)
	if err != nil {
		return 0, false, err
	}
	dkh, err = s.water.DKHFromAlkalinity(r)
	return dkh, bounded, err
}
