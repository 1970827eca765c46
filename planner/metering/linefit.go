package metering

import (
	"fmt"
	"math"
)

// LineFit is the straight line y = Intercept + Slope·x through points by ordinary least squares, with what the
// scatter says about it. All figures are finite.
type LineFit struct {
	Points    int
	Slope     float64
	Intercept float64
	// SlopeSE and InterceptSE are standard errors, in the units of slope and intercept.
	SlopeSE     float64
	InterceptSE float64
	// ResidualSD is the standard deviation of the points around the line, with Points − 2 degrees of freedom.
	ResidualSD float64
	// R2 is the share of the scatter of y that the line explains, 0..1; 1 if y does not scatter at all.
	R2           float64
	RegressionSS float64
	ResidualSS   float64
	MeanX        float64
	SumXX        float64 // sum of (x − MeanX)²
	Residuals    []float64
	// Leverages say how much each point holds the line where it is, between 1/Points and 1.
	Leverages []float64
}

// DegreesOfFreedom is Points − 2.
func (f LineFit) DegreesOfFreedom() int { return f.Points - 2 }

// FStatistic is the ratio of regression to residual mean square; +Inf if the points lie on the line.
func (f LineFit) FStatistic() float64 {
	return f.RegressionSS / (f.ResidualSS / float64(f.DegreesOfFreedom()))
}

// FitLine fits a line through at least three points with at least two different x, each coordinate within ±1e9.
// Numbers are centred on their means first and every sum is compensated, so that no digits are lost to large
// coordinates close together (T. F. Chan, G. H. Golub, R. J. LeVeque 1983, Am. Stat. 37:242-247; T. Ogita, S. M. Rump,
// S. Oishi 2005, SIAM J. Sci. Comput. 26:1955-1988).
func FitLine(x, y []float64) (LineFit, error) {
	if err := checkPoints(x, y); err != nil {
		return LineFit{}, err
	}
	n := float64(len(x))
	dx, meanX, restX := centred(x)
	dy, meanY, restY := centred(y)
	sxx, sxy, syy := dot(dx, dx), dot(dx, dy), dot(dy, dy)
	if !(sxx > 0) {
		return LineFit{}, fmt.Errorf("a line needs at least two different x, all are %g", x[0])
	}
	f := LineFit{Points: len(x), Slope: sxy / sxx, MeanX: meanX, SumXX: sxx, Residuals: make([]float64, len(x)), Leverages: make([]float64, len(x))}
	f.Intercept = math.FMA(-f.Slope, meanX, meanY) + (restY - f.Slope*restX)
	for i := range dx {
		f.Residuals[i] = math.FMA(-f.Slope, dx[i], dy[i])
		f.Leverages[i] = 1/n + dx[i]/sxx*dx[i]
	}
	f.ResidualSS = dot(f.Residuals, f.Residuals)
	f.RegressionSS = f.Slope * sxy
	f.R2 = 1
	if syy > 0 {
		f.R2 = math.Min(math.Max(1-f.ResidualSS/syy, 0), 1)
	}
	f.ResidualSD = math.Sqrt(f.ResidualSS / (n - 2))
	f.SlopeSE = f.ResidualSD / math.Sqrt(sxx)
	f.InterceptSE = f.ResidualSD * math.Sqrt(1/n+meanX/sxx*meanX)
	return f, nil
}

func checkPoints(x, y []float64) error {
	const most = 1e9
	if len(x) != len(y) || len(x) < 3 {
		return fmt.Errorf("a line through %d x and %d y: at least three points are needed, and as many x as y", len(x), len(y))
	}
	for i := range x {
		if !(math.Abs(x[i]) <= most && math.Abs(y[i]) <= most) {
			return fmt.Errorf("point %d (%g, %g) is not within ±%g", i+1, x[i], y[i], most)
		}
	}
	return nil
}

// Interval gives the two-sided confidence interval of the slope and of the intercept as half widths.
func (f LineFit) Interval(confidence float64) (slope, intercept float64, err error) {
	t, err := twoSided(confidence, f.DegreesOfFreedom())
	if err != nil {
		return 0, 0, err
	}
	return t * f.SlopeSE, t * f.InterceptSE, nil
}

// At gives the line's value at x and the standard deviations of the line itself and of one more point there.
func (f LineFit) At(x float64) (y, lineSD, pointSD float64) {
	d := x - f.MeanX
	lineSD = f.ResidualSD * math.Sqrt(1/float64(f.Points)+d/f.SumXX*d)
	return f.Intercept + f.Slope*x, lineSD, math.Hypot(lineSD, f.ResidualSD)
}

// centred gives the distances to the mean; the mean is mean + rest, the second part what rounding left over.
func centred(v []float64) (d []float64, mean, rest float64) {
	n := float64(len(v))
	mean = sum(v) / n
	d = make([]float64, len(v))
	for i := range v {
		d[i] = v[i] - mean
	}
	rest = sum(d) / n
	for i := range d {
		d[i] -= rest
	}
	return d, mean, rest
}

// sum adds with Neumaier's compensation (A. Neumaier 1974, Z. Angew. Math. Mech. 54:39-51).
func sum(v []float64) float64 {
	s, c := 0.0, 0.0
	for _, x := range v {
		t := s + x
		if math.Abs(s) >= math.Abs(x) {
			c += (s - t) + x
		} else {
			c += (x - t) + s
		}
		s = t
	}
	return s + c
}

// dot is the scalar product with compensated products and sums (Dot2 of Ogita, Rump & Oishi).
func dot(a, b []float64) float64 {
	s, c := 0.0, 0.0
	for i := range a {
		p := a[i] * b[i]
		lost := math.FMA(a[i], b[i], -p)
		t := s + p
		z := t - s
		c += (s - (t - z)) + (p - z) + lost
		s = t
	}
	return s + c
}
