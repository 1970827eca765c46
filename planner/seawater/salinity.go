package seawater

import "math"

// standardConductivity is C(35 psu, 15 °C IPTS-68, 0 dbar) in mS/cm (Culkin & Smith 1980, IEEE J. Oceanic Eng.
// 5:22-23). PSS-78 itself is a scale of ratios; absolute meters need this number.
const standardConductivity = 42.914

// deepest is the pressure limit of PSS-78 in dbar.
const deepest = 10000

// Salinity gives practical salinity (PSS-78) of water whose uncompensated conductivity at t and p was measured.
// Sources: Lewis 1980, IEEE J. Oceanic Eng. 5:3-8; UNESCO 1983, Tech. Pap. Mar. Sci. 44. Valid from
// 2 to 42 psu, -2 to 35 °C, 0 to 10000 dbar, and refused outside with a *RangeError.
func Salinity(c Conductivity, t Celsius, p Dbar) (PSU, error) {
	if err := checkProbe(t, p); err != nil {
		return 0, err
	}
	if !(c > 0 && c <= 200) {
		return 0, &RangeError{Formula: pss78.formula, Name: "conductivity", Got: float64(c), Low: 0, High: 200, Unit: "mS/cm"}
	}
	s := salinityOf(float64(c)/standardConductivity, t.IPTS68(), p)
	if err := pss78.salinity(s); err != nil {
		return 0, err
	}
	return s, nil
}

func checkProbe(t Celsius, p Dbar) error {
	if err := pss78.temperature(t); err != nil {
		return err
	}
	return within(pss78.formula, "pressure", "dbar", float64(p), 0, deepest)
}

// salinityOf is the formula itself, for a conductivity ratio r = C/C(35, 15, 0), without limits.
func salinityOf(r float64, t IPTS68, p Dbar) PSU {
	a, b := pressureTerms(t, p)
	rp := 1 + a/(b+pressureSlope(t)*r)
	s, _ := salinityOfRoot(math.Sqrt(r/(rp*standardRatio(t))), thermalFactor(t))
	return PSU(s)
}

// standardRatio is r_t = C(35, t, 0)/C(35, 15, 0), UNESCO 44.
func standardRatio(t IPTS68) float64 {
	x := float64(t)
	return 0.6766097 + x*(2.00564e-2+x*(1.104259e-4+x*(-6.9698e-7+x*1.0031e-9)))
}

// thermalFactor is the fraction in front of ΔS, UNESCO 44.
func thermalFactor(t IPTS68) float64 {
	d := float64(t) - 15
	return d / (1 + 0.0162*d)
}

// pressureTerms are numerator and constant part of the denominator of R_p - 1, UNESCO 44; the rest of
// the denominator is pressureSlope times R.
func pressureTerms(t IPTS68, p Dbar) (a, b float64) {
	x, y := float64(t), float64(p)
	return y * (2.070e-5 + y*(-6.370e-10+y*3.989e-15)), 1 + x*(3.426e-2+x*4.464e-4)
}

func pressureSlope(t IPTS68) float64 { return 4.215e-1 - 3.107e-3*float64(t) }

// salinityOfRoot gives S and dS/dx for x = √R_t, UNESCO 44, with the thermal factor k.
func salinityOfRoot(x, k float64) (s, slope float64) {
	s = 0.0080 + x*(-0.1692+x*(25.3851+x*(14.0941+x*(-7.0261+x*2.7081)))) +
		k*(0.0005+x*(-0.0056+x*(-0.0066+x*(-0.0375+x*(0.0636+x*-0.0144)))))
	slope = -0.1692 + x*(2*25.3851+x*(3*14.0941+x*(4*-7.0261+x*5*2.7081))) +
		k*(-0.0056+x*(2*-0.0066+x*(3*-0.0375+x*(4*0.0636+x*5*-0.0144))))
	return s, slope
}

// ConductivityOf is the inverse of Salinity: the conductivity that water of salinity s has at t and p, in mS/cm,
// converged to 1e-11 psu. Same range as Salinity.
func ConductivityOf(s PSU, t Celsius, p Dbar) (Conductivity, error) {
	if err := checkProbe(t, p); err != nil {
		return 0, err
	}
	if err := pss78.salinity(s); err != nil {
		return 0, err
	}
	t68 := t.IPTS68()
	x := rootOfSalinity(float64(s), thermalFactor(t68))
	surface := x * x * standardRatio(t68) // R·1/R_p
	// R = surface·R_p(R) is a quadratic in R; its positive root is the answer.
	a, b := pressureTerms(t68, p)
	c := pressureSlope(t68)
	half := (b - c*surface) / 2
	r := (-half + math.Sqrt(half*half+c*surface*(b+a))) / c
	return Conductivity(r * standardConductivity), nil
}

// rootOfSalinity inverts salinityOfRoot by Newton steps. S is nearly a square in x over the whole range, so that
// five steps from √(S/35) reach rounding everywhere in it.
func rootOfSalinity(s, k float64) float64 {
	x := math.Sqrt(s / 35)
	for range 12 {
		f, slope := salinityOfRoot(x, k)
		step := (f - s) / slope
		x -= step
		if math.Abs(step) < 1e-14 {
			break
		}
	}
	return x
}

// ConductivityAt converts a conductivity measured at t to the one that the same water has at ref, both at the
// surface, by way of its salinity. Meters that compensate by a fixed 1.9 or 2 % per degree differ from it.
func ConductivityAt(c Conductivity, t, ref Celsius) (Conductivity, error) {
	s, err := Salinity(c, t, 0)
	if err != nil {
		return 0, err
	}
	return ConductivityOf(s, ref, 0)
}
