package seawater

import (
	"fmt"
	"math"
)

// Limits of what is solved. They hold every reef tank and every accident in one; outside them a number is a
// mistake more often than a tank.
const (
	LowestAlkalinity  MicromolPerKg = 200   // 0.6 dKH
	HighestAlkalinity MicromolPerKg = 10000 // 29 dKH
	LowestCarbon      MicromolPerKg = 1
	HighestCarbon     MicromolPerKg = 15000
	LowestPH          TotalPH       = 6.5
	HighestPH         TotalPH       = 9.5
	LowestPCO2        Microatm      = 1e-4
	HighestPCO2       Microatm      = 200000
)

const solver = "the carbonate solver"

// Carbonate is a full solution of the carbonate system of one water.
type Carbonate struct {
	Alkalinity MicromolPerKg // total alkalinity, µeq/kg
	Carbon     MicromolPerKg // dissolved inorganic carbon
	PH         TotalPH
	PCO2, FCO2 Microatm // at one atmosphere, in moist air
	CO2        MicromolPerKg
	HCO3       MicromolPerKg
	CO3        MicromolPerKg
	BOH4       MicromolPerKg
	OH         MicromolPerKg
	Aragonite  float64 // saturation Ω, 1 is at equilibrium
	Calcite    float64
}

// AlkalinityPH solves from total alkalinity and pH. It fails with a *RangeError, or with a *NoSolutionError
// where borate and hydroxide alone hold more alkalinity than there is.
func (s *System) AlkalinityPH(a MicromolPerKg, ph TotalPH) (Carbonate, error) {
	if err := checkAlkalinity(a); err != nil {
		return Carbonate{}, err
	}
	if err := checkPH(ph); err != nil {
		return Carbonate{}, err
	}
	h := hydrogen(ph)
	minor, _ := s.minor(h)
	share, _ := s.carbonateShare(h)
	carbon := MicromolPerKg((float64(a)*micro - minor) / share / micro)
	if !(carbon > 0) {
		return Carbonate{}, &NoSolutionError{
			Found: fmt.Sprintf("alkalinity %.4g umol/kg is less than the %.4g umol/kg that borate and hydroxide hold at pH %.3f", float64(a), minor/micro, float64(ph)),
			Hint:  "test alkalinity again and check the pH probe",
		}
	}
	if err := checkCarbon(carbon); err != nil {
		return Carbonate{}, err
	}
	return s.fill(a, carbon, h, ph), nil
}

// AlkalinityCarbon solves from total alkalinity and dissolved inorganic carbon.
func (s *System) AlkalinityCarbon(a, carbon MicromolPerKg) (Carbonate, error) {
	if err := checkAlkalinity(a); err != nil {
		return Carbonate{}, err
	}
	if err := checkCarbon(carbon); err != nil {
		return Carbonate{}, err
	}
	return s.finish(a, carbon, s.solve(float64(a)*micro, float64(carbon)*micro, byCarbon))
}

// CarbonPH solves from dissolved inorganic carbon and pH.
func (s *System) CarbonPH(carbon MicromolPerKg, ph TotalPH) (Carbonate, error) {
	if err := checkCarbon(carbon); err != nil {
		return Carbonate{}, err
	}
	if err := checkPH(ph); err != nil {
		return Carbonate{}, err
	}
	h := hydrogen(ph)
	minor, _ := s.minor(h)
	share, _ := s.carbonateShare(h)
	a := MicromolPerKg((float64(carbon)*micro*share + minor) / micro)
	if err := checkAlkalinity(a); err != nil {
		return Carbonate{}, err
	}
	return s.fill(a, carbon, h, ph), nil
}

// AlkalinityPCO2 solves from total alkalinity and the partial pressure of CO2, as for water at equilibrium with air.
func (s *System) AlkalinityPCO2(a MicromolPerKg, p Microatm) (Carbonate, error) {
	if err := checkAlkalinity(a); err != nil {
		return Carbonate{}, err
	}
	if err := within(solver, "pCO2", "uatm", float64(p), float64(LowestPCO2), float64(HighestPCO2)); err != nil {
		return Carbonate{}, err
	}
	co2 := float64(p) * micro * s.fugacity * s.k.K0
	h := s.solve(float64(a)*micro, co2, byCO2)
	f, _ := s.carbonatePerCO2(h)
	share, _ := s.carbonateShare(h)
	carbon := MicromolPerKg(co2 * f / share / micro)
	if err := checkCarbon(carbon); err != nil {
		return Carbonate{}, err
	}
	return s.finish(a, carbon, h)
}

func (s *System) finish(a, carbon MicromolPerKg, h float64) (Carbonate, error) {
	ph := TotalPH(-math.Log10(h))
	if err := checkPH(ph); err != nil {
		return Carbonate{}, err
	}
	return s.fill(a, carbon, h, ph), nil
}

// fill sets every species from h and the dissolved inorganic carbon.
func (s *System) fill(a, carbon MicromolPerKg, h float64, ph TotalPH) Carbonate {
	k1h, k12 := s.k.K1*h, s.k.K1*s.k.K2
	part := float64(carbon) / (h*h + k1h + k12) // µmol/kg
	c := Carbonate{
		Alkalinity: a, Carbon: carbon, PH: ph,
		CO2: MicromolPerKg(part * h * h), HCO3: MicromolPerKg(part * k1h), CO3: MicromolPerKg(part * k12),
		BOH4: MicromolPerKg(s.totals.borate / micro * s.k.KB / (s.k.KB + h)),
		OH:   MicromolPerKg(s.k.KW / h / micro),
	}
	c.FCO2 = Microatm(float64(c.CO2) / s.k.K0)
	c.PCO2 = c.FCO2 / Microatm(s.fugacity)
	product := float64(c.CO3) * micro * s.totals.calcium
	c.Aragonite, c.Calcite = product/s.k.KspAragonite, product/s.k.KspCalcite
	return c
}

func hydrogen(ph TotalPH) float64 { return math.Exp(-math.Ln10 * float64(ph)) }

func checkAlkalinity(a MicromolPerKg) error {
	return within(solver, "alkalinity", "umol/kg", float64(a), float64(LowestAlkalinity), float64(HighestAlkalinity))
}

func checkCarbon(c MicromolPerKg) error {
	return within(solver, "dissolved inorganic carbon", "umol/kg", float64(c), float64(LowestCarbon), float64(HighestCarbon))
}

func checkPH(ph TotalPH) error {
	return within(solver, "pH (total scale)", "", float64(ph), float64(LowestPH), float64(HighestPH))
}

// given says what is held fixed beside alkalinity.
type given int

const (
	byCarbon given = iota // dissolved inorganic carbon
	byCO2                 // dissolved CO2
)

// solve finds the hydrogen ion concentration at which the species add up to alkalinity a, with the amount
// held fixed, both in mol/kg. Alkalinity falls strictly with ln h, so there is one root; Newton steps that leave
// the bracket are replaced by halving it. A root outside pH 3 to 12 comes out as that end.
func (s *System) solve(a, amount float64, held given) float64 {
	low, high := -12*math.Ln10, -3*math.Ln10 // ln h
	u := -8 * math.Ln10
	for range 100 {
		h := math.Exp(u)
		sum, slope := s.minor(h)
		f, d := s.carbonateShare(h)
		if held == byCO2 {
			f, d = s.carbonatePerCO2(h)
		}
		excess := sum + amount*f - a
		if excess > 0 {
			low = u
		} else {
			high = u
		}
		next := u - excess/(slope+amount*d)
		if !(next > low && next < high) {
			next = (low + high) / 2
		}
		if math.Abs(next-u) < 1e-12 {
			return math.Exp(next)
		}
		u = next
	}
	return math.Exp(u)
}
