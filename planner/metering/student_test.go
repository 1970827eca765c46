package metering

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestStudentRefuses(t *testing.T) {
	for _, c := range [][2]float64{{0, 5}, {1, 5}, {-0.1, 5}, {math.NaN(), 5}, {0.9, 0.99}, {0.9, 1e6 + 1}, {0.9, math.NaN()}, {0.9, math.Inf(1)}} {
		if got, err := StudentQuantile(c[0], c[1]); err == nil || got != 0 {
			t.Errorf("StudentQuantile(%v, %v) = %v; want an error", c[0], c[1], got)
		}
	}
	for _, c := range [][2]float64{{1, 0}, {1, -1}, {1, math.NaN()}, {math.NaN(), 3}} {
		if got := StudentCDF(c[0], c[1]); !math.IsNaN(got) {
			t.Errorf("StudentCDF(%v, %v) = %v; want NaN", c[0], c[1], got)
		}
	}
	for _, c := range []float64{0.49, 0.99991, math.NaN(), 1} {
		if _, err := twoSided(c, 5); err == nil {
			t.Errorf("a confidence of %v was accepted", c)
		}
	}
}

func TestStudentEdges(t *testing.T) {
	if got, err := StudentQuantile(0.5, 7); err != nil || got != 0 {
		t.Errorf("the median is %v, %v", got, err)
	}
	if got := StudentCDF(0, 3); math.Abs(got-0.5) > 1e-15 {
		t.Errorf("below 0 lies %v", got)
	}
	if lo, hi := StudentCDF(math.Inf(-1), 3), StudentCDF(math.Inf(1), 3); lo != 0 || hi != 1 {
		t.Errorf("the ends are %v and %v", lo, hi)
	}
	got, err := StudentQuantile(1e-12, 1) // Cauchy: −1/(π p)
	if want := -1 / (math.Pi * 1e-12); err != nil || math.Abs(got/want-1) > 1e-9 {
		t.Errorf("far out it is %v, %v; want %v", got, err, want)
	}
}

// The quantile inverts the CDF, is symmetric, rises with p, and falls with the degrees of freedom.
func TestStudentProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.Float64Range(0.51, 0.9999).Draw(t, "p")
		df := rapid.Float64Range(1, 200).Draw(t, "df")
		q, err := StudentQuantile(p, df)
		if err != nil || !(q > 0) {
			t.Fatalf("%v, %v", q, err)
		}
		if back := StudentCDF(q, df); math.Abs(back-p) > 1e-10 {
			t.Fatalf("p %v, df %v: quantile %v, back %v", p, df, q, back)
		}
		if low, err := StudentQuantile(1-p, df); err != nil || math.Abs(low+q) > 1e-7*(1+q) {
			t.Fatalf("not symmetric: %v and %v, %v", low, q, err)
		}
		if more, _ := StudentQuantile(p+(1-p)/2, df); !(more > q) {
			t.Fatalf("%v after %v", more, q)
		}
		if narrower, _ := StudentQuantile(p, df+1); !(narrower < q) {
			t.Fatalf("df %v: %v, one more: %v", df, q, narrower)
		}
	})
}
