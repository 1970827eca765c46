package stock

import (
	"bytes"
	"encoding/csv"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"
)

var update = flag.Bool("update", false, "rewrite testdata/checks.csv")

// check is one comparison with published values: how many, and how far off the worst of them is.
type check struct {
	name, source, unit string
	tolerance          float64
	memory             bool // the reference itself is not verified: shown, does not gate
	worst              float64
	count              int
}

func (c *check) add(t *testing.T, what string, deviation float64) {
	t.Helper()
	c.count++
	deviation = math.Abs(deviation)
	if !(deviation <= c.tolerance) && !c.memory || math.IsNaN(deviation) {
		t.Errorf("%s: %s is %.3g off; at most %.3g (%s)", c.name, what, deviation, c.tolerance, c.source)
	}
	c.worst = math.Max(c.worst, deviation)
}

// relative adds got over want minus 1.
func (c *check) relative(t *testing.T, what string, got, want float64) {
	t.Helper()
	c.add(t, fmt.Sprintf("%s: %.8g, not %.8g:", what, got, want), got/want-1)
}

func (c *check) row() []string {
	worst, gates := fmt.Sprintf("%.1e", c.worst), "yes"
	if c.worst < 1e-12 { // the last digits differ between processors
		worst = "<1e-12"
	}
	if c.memory {
		gates = "no"
	}
	return []string{c.name, c.source, fmt.Sprintf("%.0e", c.tolerance), worst, c.unit, fmt.Sprint(c.count), gates}
}

// TestPublishedChecks runs every comparison and holds testdata/checks.csv up to date: go test -update.
func TestPublishedChecks(t *testing.T) {
	var buf bytes.Buffer
	w := csv.NewWriter(&buf)
	rows := [][]string{{"check", "source", "tolerance", "worst", "unit", "count", "gates"}}
	for _, run := range []func(*testing.T) []*check{checkMasses, checkSolubility, checkResidue, checkCarbonate, checkSeawater, checkNitrogen} {
		for _, c := range run(t) {
			if c.count == 0 {
				t.Errorf("%s compares nothing", c.name)
			}
			rows = append(rows, c.row())
		}
	}
	if err := w.WriteAll(rows); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join("testdata", "checks.csv")
	if *update && !t.Failed() {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, buf.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	was, err := os.ReadFile(path)
	if err != nil || !bytes.Equal(was, buf.Bytes()) {
		t.Errorf("%s is stale (%v): run go test -update and look at the difference\n%s", path, err, buf.String())
	}
}
