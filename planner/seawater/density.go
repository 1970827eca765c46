package seawater

import "math"

// DensityOf gives the density of seawater at one atmosphere by EOS-80: Millero & Poisson 1981, Deep-Sea Res. A
// 28:625-629; UNESCO 1983, Tech. Pap. Mar. Sci. 44. Valid from 0 to 42 psu and -2 to 40 °C.
func DensityOf(s PSU, t Celsius) (Density, error) {
	if err := eos80.check(s, t); err != nil {
		return 0, err
	}
	return Density(eosAt(t).density(float64(s))), nil
}

// oneAtmosphere holds EOS-80 at one temperature: ρ = w + a·S + b·S^1.5 + c·S².
type oneAtmosphere struct{ w, a, b, c float64 }

func eosAt(t Celsius) oneAtmosphere {
	x := float64(t.IPTS68())
	return oneAtmosphere{
		w: 999.842594 + x*(6.793952e-2+x*(-9.095290e-3+x*(1.001685e-4+x*(-1.120083e-6+x*6.536332e-9)))),
		a: 8.24493e-1 + x*(-4.0899e-3+x*(7.6438e-5+x*(-8.2467e-7+x*5.3875e-9))),
		b: -5.72466e-3 + x*(1.0227e-4+x*-1.6546e-6),
		c: 4.8314e-4,
	}
}

func (e oneAtmosphere) density(s float64) float64 {
	return e.w + s*(e.a+e.b*math.Sqrt(s)+e.c*s)
}

// salinity inverts density by Newton steps; ρ rises with S and is all but straight, so that a few steps do.
func (e oneAtmosphere) salinity(rho float64) float64 {
	s := (rho - e.w) / 0.75
	for range 50 {
		if !(s > 0) {
			s = 0
		}
		root := math.Sqrt(s)
		step := (e.density(s) - rho) / (e.a + 1.5*e.b*root + 2*e.c*s)
		s -= step
		if math.Abs(step) < 1e-11 {
			break
		}
	}
	return s
}

// SalinityFromDensity is the inverse of DensityOf, converged to 1e-10 psu.
func SalinityFromDensity(rho Density, t Celsius) (PSU, error) {
	if err := eos80.temperature(t); err != nil {
		return 0, err
	}
	e := eosAt(t)
	// A float's own rounding must not turn fresh water away: 1e-9 kg/m³ is 1e-9 psu.
	low, high := e.density(0)-1e-9, e.density(float64(eos80.highPSU))+1e-9
	if err := within(eos80.formula, "density", "kg/m3", float64(rho), low, high); err != nil {
		return 0, err
	}
	return PSU(min(max(e.salinity(float64(rho)), 0), float64(eos80.highPSU))), nil
}

// WaterDensity gives the density of pure, air-free water of ordinary isotopic composition at 101325 Pa by the
// formula of Tanaka et al. 2001, Metrologia 38:301-309. Valid from 0 to 40 °C, expanded uncertainty below 0.001
// kg/m³. EOS-80 at 0 psu is up to 0.0016 kg/m³ away from it; specific gravities use EOS-80 for both waters.
func WaterDensity(t Celsius) (Density, error) {
	if err := tanaka.temperature(t); err != nil {
		return 0, err
	}
	x := float64(t)
	d := x - 3.983035
	return Density(999.974950 * (1 - d*d*(x+301.797)/(522528.9*(x+69.34881)))), nil
}
