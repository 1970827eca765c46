package metering

import (
	"fmt"
	"math"
)

// StudentCDF is the probability that Student's t with df degrees of freedom (above 0) is at most t: the
// regularised incomplete beta function of df/(df+t²) (Abramowitz & Stegun 1964, 26.7.1). NaN for a bad df or t.
func StudentCDF(t, df float64) float64 {
	if !(df > 0) || math.IsNaN(t) {
		return math.NaN()
	}
	tail := 0.5 * incompleteBeta(df/2, 0.5, df, t*t)
	if t < 0 {
		return tail
	}
	return 1 - tail
}

// StudentQuantile is the t that Student's t with df degrees of freedom stays below with probability p, for p
// above 0 and below 1 and df from 1 to 1e6. It inverts the upper
// tail by bisection: slow, and sure. The relative error is below 1e-8.
func StudentQuantile(p, df float64) (float64, error) {
	if !(p > 0 && p < 1) {
		return 0, fmt.Errorf("a probability of %g is not between 0 and 1", p)
	}
	if !(df >= 1 && df <= 1e6) {
		return 0, fmt.Errorf("%g degrees of freedom are outside 1..1e6", df)
	}
	upper := math.Min(p, 1-p)
	if upper == 0.5 {
		return 0, nil
	}
	// The upper tail is inverted, not the CDF: 1 minus a small number would lose its digits.
	tail := func(t float64) float64 { return 0.5 * incompleteBeta(df/2, 0.5, df, t*t) }
	low, high := 0.0, 1.0
	for tail(high) > upper && high < 1e300 {
		low, high = high, 2*high
	}
	for range 200 {
		middle := low + (high-low)/2
		if middle == low || middle == high {
			break
		}
		if tail(middle) > upper {
			low = middle
		} else {
			high = middle
		}
	}
	if p < 0.5 {
		return -high, nil
	}
	return high, nil
}

// twoSided is the factor of a two-sided confidence interval, 2.228 for 95 % and 10 degrees of freedom.
func twoSided(confidence float64, df int) (float64, error) {
	if !(confidence >= 0.5 && confidence <= 0.9999) {
		return 0, fmt.Errorf("a confidence of %g is outside 0.5..0.9999; 0.95 is usual", confidence)
	}
	return StudentQuantile(0.5+confidence/2, float64(df))
}

// incompleteBeta is I_x(a, b) at x = n/(n+s), given as n and s so that 1 − x keeps its digits: continued fraction
// of Abramowitz & Stegun 26.5.8, evaluated by Lentz's method (W. J. Lentz 1976, Appl. Opt. 15:668-671).
func incompleteBeta(a, b, n, s float64) float64 {
	x, y := n/(n+s), s/(n+s)
	if math.IsInf(s, 1) {
		x, y = 0, 1
	}
	if x == 0 || y == 0 {
		return x // 0 or 1, exactly
	}
	ga, _ := math.Lgamma(a)
	gb, _ := math.Lgamma(b)
	gab, _ := math.Lgamma(a + b)
	lnX, lnY := math.Log(x), math.Log(y)
	if x > 0.5 {
		lnX = math.Log1p(-y)
	} else {
		lnY = math.Log1p(-x)
	}
	front := math.Exp(gab - ga - gb + a*lnX + b*lnY)
	// The fraction converges fast only on its own side of the mean.
	if x < (a+1)/(a+b+2) {
		return front * betaFraction(a, b, x) / a
	}
	return 1 - front*betaFraction(b, a, y)/b
}

func betaFraction(a, b, x float64) float64 {
	const tiny = 1e-300
	c, d := 1.0, 1-(a+b)*x/(a+1)
	d = 1 / away(d, tiny)
	h := d
	for m := 1.0; m <= 20000; m++ {
		even := m * (b - m) * x / ((a + 2*m - 1) * (a + 2*m))
		d = 1 / away(1+even*d, tiny)
		c = away(1+even/c, tiny)
		h *= d * c
		odd := -(a + m) * (a + b + m) * x / ((a + 2*m) * (a + 2*m + 1))
		d = 1 / away(1+odd*d, tiny)
		c = away(1+odd/c, tiny)
		step := d * c
		h *= step
		if math.Abs(step-1) < 1e-16 {
			break
		}
	}
	return h
}

// away keeps a divisor off zero.
func away(v, tiny float64) float64 {
	if math.Abs(v) < tiny {
		return tiny
	}
	return v
}
