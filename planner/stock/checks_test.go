package stock

import (
	"flag"
	"testing"

	"aliquot/planner/checktable"
)

var update = flag.Bool("update", false, "rewrite testdata/checks.csv")

// TestPublishedChecks runs every comparison and holds testdata/checks.csv up to date: go test -update.
func TestPublishedChecks(t *testing.T) {
	var all []*checktable.Check
	for _, run := range []func(*testing.T) []*checktable.Check{checkMasses, checkSolubility, checkResidue, checkCarbonate, checkSeawater, checkNitrogen} {
		all = append(all, run(t)...)
	}
	checktable.Hold(t, "testdata", *update, all)
}
