package units

import (
	"fmt"
	"math"
	"testing"
)

func TestPlainNeverShowsAPowerOfTen(t *testing.T) {
	for _, c := range []struct {
		format string
		v      float64
		want   string
	}{
		{"%.3g", 8.0734, "8.07"}, {"%.3g", 1347.2, "1347"}, {"%.3g", 999.4, "999"}, {"%.3g", -1347.6, "-1348"}, {"%.2g", 118, "118"},
		{"%.2g", 99.4, "99"}, {"%.3g", 0.0123, "0.0123"}, {"%.1f", 1347.26, "1347.3"}, {"%+.3g", 12.34, "+12.3"}, {"%.3g", 0, "0"},
		{"%.3g", math.Inf(1), "+Inf"}, {"%v", 3.5, "3.5"},
	} {
		if got := fmt.Sprintf(c.format, Plain(c.v)); got != c.want {
			t.Errorf("%s of %v is %s, want %s", c.format, c.v, got, c.want)
		}
	}
}
