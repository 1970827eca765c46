package metering

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Small example by hand: x 1 2 3 4, y 2 4 5 8 gives slope 1.9, intercept 0, residual sum of squares 0.7.
func TestFitLineByHand(t *testing.T) {
	f, err := FitLine([]float64{1, 2, 3, 4}, []float64{2, 4, 5, 8})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"slope", f.Slope, 1.9}, {"intercept", f.Intercept, 0}, {"residual SS", f.ResidualSS, 0.7}, {"regression SS", f.RegressionSS, 18.05},
		{"R2", f.R2, 1 - 0.7/18.75}, {"residual sd", f.ResidualSD, math.Sqrt(0.35)}, {"slope SE", f.SlopeSE, math.Sqrt(0.35 / 5)},
		{"intercept SE", f.InterceptSE, math.Sqrt(0.35 * (0.25 + 6.25/5))}, {"F", f.FStatistic(), 18.05 / 0.35}, {"leverage", f.Leverages[0], 0.25 + 2.25/5},
	} {
		if math.Abs(c.got-c.want) > 1e-12 {
			t.Errorf("%s is %v; want %v", c.name, c.got, c.want)
		}
	}
	y, line, point := f.At(2.5)
	if math.Abs(y-4.75) > 1e-12 || math.Abs(line-math.Sqrt(0.35/4)) > 1e-12 || math.Abs(point-math.Sqrt(0.35*1.25)) > 1e-12 {
		t.Errorf("at the mean: %v, %v, %v", y, line, point)
	}
	slope, intercept, err := f.Interval(0.95)
	if err != nil || math.Abs(slope-4.302653*f.SlopeSE) > 1e-6 || math.Abs(intercept-4.302653*f.InterceptSE) > 1e-6 {
		t.Errorf("half widths %v, %v, %v", slope, intercept, err)
	}
	if _, _, err := f.Interval(2); err == nil {
		t.Error("a confidence of 2 was accepted")
	}
}

func TestFitLineRefuses(t *testing.T) {
	ok := []float64{1, 2, 3}
	for name, c := range map[string]struct {
		x, y []float64
		want string
	}{
		"two":        {ok[:2], ok[:2], "at least three points"},
		"none":       {nil, nil, "at least three points"},
		"uneven":     {ok, ok[:2], "3 x and 2 y"},
		"one x":      {[]float64{5, 5, 5}, ok, "at least two different x, all are 5"},
		"NaN":        {ok, []float64{1, math.NaN(), 2}, "point 2 (2, NaN) is not within ±1e+09"},
		"infinite":   {[]float64{1, 2, math.Inf(1)}, ok, "point 3 (+Inf, 3) is not within"},
		"too large":  {[]float64{1, 2, 1.1e9}, ok, "point 3"},
		"far in one": {ok, []float64{1, 2, -1.1e9}, "point 3"},
	} {
		f, err := FitLine(c.x, c.y)
		if err == nil || !strings.Contains(err.Error(), c.want) || f.Points != 0 || f.Slope != 0 {
			t.Errorf("%s: %+v, %v; want %q", name, f, err, c.want)
		}
	}
}

// Points on a line give the line back, also with coordinates that share their first nine digits.
func TestFitLineKeepsDigits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		far := rapid.SampledFrom([]float64{0, 1e3, 1e6, 5e8}).Draw(t, "far")
		slope := float64(rapid.IntRange(-64, 64).Draw(t, "slope"))
		intercept := float64(rapid.IntRange(-1000, 1000).Draw(t, "intercept"))
		n := rapid.IntRange(3, 20).Draw(t, "n")
		var x, y []float64
		for i := range n {
			v := far/128 + float64(i)/8
			x, y = append(x, v), append(y, intercept+slope*v)
		}
		f, err := FitLine(x, y)
		if err != nil || math.Abs(f.Slope-slope) > 1e-9 || math.Abs(f.Intercept-intercept) > 1e-9*(1+far) || !(f.R2 <= 1 && f.R2 >= 0) {
			t.Fatalf("%+v, %v; want %v and %v", f, err, slope, intercept)
		}
	})
}

// A shift of x or y moves only the intercept; the residuals sum to 0 and the leverages to 2.
func TestFitLineProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 12).Draw(t, "n")
		var x, y, moved []float64
		shift := rapid.Float64Range(-100, 100).Draw(t, "shift")
		for i := range n {
			x = append(x, float64(i)+rapid.Float64Range(0, 0.5).Draw(t, "x"))
			y = append(y, rapid.Float64Range(-10, 10).Draw(t, "y"))
			moved = append(moved, y[i]+shift)
		}
		f, err := FitLine(x, y)
		g, err2 := FitLine(x, moved)
		if err != nil || err2 != nil {
			t.Fatal(err, err2)
		}
		if math.Abs(f.Slope-g.Slope) > 1e-10 || math.Abs(g.Intercept-f.Intercept-shift) > 1e-9 || math.Abs(f.ResidualSD-g.ResidualSD) > 1e-9 {
			t.Fatalf("%+v and moved by %v %+v", f, shift, g)
		}
		if math.Abs(sum(f.Residuals)) > 1e-9 || math.Abs(sum(f.Leverages)-2) > 1e-9 {
			t.Fatalf("residuals sum to %v, leverages to %v", sum(f.Residuals), sum(f.Leverages))
		}
	})
}

func FuzzFitLine(f *testing.F) {
	f.Add(1.0, 2.0, 3.0, 1.0, 2.0, 3.5)
	f.Add(1e9, 1e9, 1e9-1e-7, -1e9, 1e9, 0.0)
	f.Add(5e-324, 0.0, 0.0, 1.0, 2.0, 3.0)
	f.Fuzz(func(t *testing.T, x1, x2, x3, y1, y2, y3 float64) {
		got, err := FitLine([]float64{x1, x2, x3}, []float64{y1, y2, y3})
		if err != nil {
			return
		}
		for _, v := range []float64{got.Slope, got.Intercept, got.SlopeSE, got.InterceptSE, got.ResidualSD, got.R2, got.ResidualSS} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("accepted, but %+v", got)
				return
			}
		}
	})
}
