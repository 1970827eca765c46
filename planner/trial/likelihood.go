package trial

import "math"

// likelihood of the error of a reading: the kit's noise and rounding, and a gross error now and then.
func (k kit) likelihood(e float64) float64 {
	sd := math.Sqrt(k.sd*k.sd + k.step*k.step/12)
	return (1-k.gross)*k.density(e, sd) + k.gross*grossDensity(e, sd)
}

// density is Gaussian, or Student's t with the same sd.
func (k kit) density(e, sd float64) float64 {
	if k.tails <= 0 {
		return math.Exp(-e*e/(2*sd*sd)) / (sd * math.Sqrt(2*math.Pi))
	}
	n := k.tails
	s := sd * math.Sqrt((n-2)/n)
	above, _ := math.Lgamma((n + 1) / 2)
	below, _ := math.Lgamma(n / 2)
	scale := math.Exp(above-below) / (s * math.Sqrt(n*math.Pi))
	return scale * math.Pow(1+e*e/(s*s*n), -(n+1)/2)
}

// grossDensity is that of an even spread between the least and the most on either side, smeared by the noise.
func grossDensity(e, sd float64) float64 {
	e = math.Abs(e)
	below := func(x float64) float64 { return 0.5 * math.Erfc(-x/(sd*math.Sqrt2)) }
	return (below(e-grossLeast) - below(e-grossMost)) / (2 * (grossMost - grossLeast))
}
