package units

import (
	"fmt"
	"math"
	"strconv"
)

// Plain is a figure for people. It prints like a float64, but %g never turns it into a power of ten: a magnesium of 1350
// under %.3g is 1350, where a float64 is 1.35e+03.
type Plain float64

// Format prints it.
func (p Plain) Format(f fmt.State, verb rune) {
	v := float64(p)
	digits, ok := f.Precision()
	if verb != 'g' || !ok || math.Abs(v) < math.Pow10(digits) || math.IsInf(v, 0) || math.IsNaN(v) {
		fmt.Fprintf(f, fmt.FormatString(f, verb), v)
		return
	}
	fmt.Fprint(f, strconv.FormatFloat(v, 'f', 0, 64))
}
