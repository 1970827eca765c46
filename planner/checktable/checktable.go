// Package checktable is test support: it compares results with published values, and holds each package's
// testdata/checks.csv, from which the table of METHODS.md is written, at what the comparisons measured.
//
// It decides nothing but whether a deviation is within its tolerance; it knows no formula and no reference value.
// Only tests import it.
package checktable

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
)

// Tester is what a comparison needs of a testing.T.
type Tester interface {
	Helper()
	Errorf(format string, args ...any)
	Failed() bool
}

// Check is one comparison with published values: how many, and how far off the worst of them is.
type Check struct {
	Name, Source, Unit string
	Tolerance          float64 // largest deviation that passes, in Unit
	Memory             bool    // the reference itself is not verified: shown, does not gate
	worst              float64
	count              int
}

// Add takes one deviation, of either sign; what names the value. A deviation that is not a number always fails.
func (c *Check) Add(t Tester, what string, deviation float64) {
	t.Helper()
	c.count++
	deviation = math.Abs(deviation)
	if !(deviation <= c.Tolerance) && !c.Memory || math.IsNaN(deviation) {
		t.Errorf("%s: %s is %.3g off; at most %.3g (%s)", c.Name, what, deviation, c.Tolerance, c.Source)
	}
	c.worst = math.Max(c.worst, deviation)
}

// Relative adds got over want minus 1.
func (c *Check) Relative(t Tester, what string, got, want float64) {
	t.Helper()
	c.Add(t, fmt.Sprintf("%s: %.8g, not %.8g:", what, got, want), got/want-1)
}

func (c *Check) row() []string {
	worst, gates := fmt.Sprintf("%.1e", c.worst), "yes"
	if c.worst < 1e-12 { // the last digits differ between processors
		worst = "<1e-12"
	}
	if c.Memory {
		gates = "no"
	}
	return []string{c.Name, c.Source, fmt.Sprintf("%.0e", c.Tolerance), worst, c.Unit, fmt.Sprint(c.count), gates}
}

// Hold compares dir/checks.csv with what the checks measured. With update it is written first, unless a comparison
// failed. A check that compared nothing fails.
func Hold(t Tester, dir string, update bool, checks []*Check) {
	t.Helper()
	rows := [][]string{{"check", "source", "tolerance", "worst", "unit", "count", "gates"}}
	for _, c := range checks {
		if c.count == 0 {
			t.Errorf("%s compares nothing", c.Name)
		}
		rows = append(rows, c.row())
	}
	var is bytes.Buffer
	if err := csv.NewWriter(&is).WriteAll(rows); err != nil {
		t.Errorf("%v", err)
		return
	}
	path := filepath.Join(dir, "checks.csv")
	if update && !t.Failed() {
		if err := os.WriteFile(path, is.Bytes(), 0o644); err != nil {
			t.Errorf("%v", err)
		}
	}
	was, err := os.ReadFile(path)
	if err != nil || !bytes.Equal(was, is.Bytes()) {
		t.Errorf("%s is stale (%v): run go test -update and look at the difference\n%s", path, err, is.String())
	}
}
