package plot

import (
	"math"
	"strconv"
)

// Figure writes a level with as many digits as a keeper reads.
func Figure(v float64) string {
	switch a := math.Abs(v); {
	case a >= 100:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case a >= 1:
		return strconv.FormatFloat(v, 'f', 2, 64)
	}
	return strconv.FormatFloat(v, 'g', 2, 64)
}

// Small writes a deviation with two digits.
func Small(v float64) string {
	if math.Abs(v) >= 10 {
		return strconv.FormatFloat(v, 'f', 0, 64)
	}
	return strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64)
}

// Signed is Small with its sign.
func Signed(v float64) string {
	if v > 0 {
		return "+" + Small(v)
	}
	return Small(v)
}
