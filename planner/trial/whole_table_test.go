package trial_test

import (
	"strings"
	"testing"

	"aliquot/planner/trial"
	"aliquot/planner/units"
)

// TestWholeTanks prints the table of alkalinity, calcium and magnesium. It takes the flags of TestBenchmark but -policies.
func TestWholeTanks(t *testing.T) {
	p := planOfFlags(t)
	p.Policies = trial.WholePolicies()
	rows, err := trial.PlayWhole(p)
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	if err := trial.WriteWhole(&b, rows); err != nil {
		t.Fatal(err)
	}
	t.Log("\n" + b.String())
	if *noiseFlag == 1 && *growthFlag == 1 && *everyFlag == 0 {
		checkWhole(t, rows)
	}
}

// checkWhole holds the least that the planner must be worth for each quantity.
func checkWhole(t *testing.T, rows []trial.WholeRow) {
	t.Helper()
	by := map[string]trial.WholeRow{}
	for _, r := range rows {
		by[string(r.Quantity)+" "+r.Policy] = r
	}
	for _, q := range trial.Quantities {
		ours, hand, alone := by[string(q)+" ours"], by[string(q)+" hand"], by[string(q)+" alone"]
		if !(ours.Median(trial.RMS) < 0.75*hand.Median(trial.RMS)) {
			t.Errorf("%s: median RMS %.3f of ours, %.3f by hand; want at most 0.75 of it", q, ours.Median(trial.RMS), hand.Median(trial.RMS))
		}
		if q == units.Calcium && !(ours.Mean(trial.RMS) < alone.Mean(trial.RMS)) {
			t.Errorf("%s: mean RMS %.3f, %.3f without what alkalinity says", q, ours.Mean(trial.RMS), alone.Mean(trial.RMS))
		}
		within := ours.Mean(func(s trial.Score) float64 { return s.Coverage.Level })
		if !(within > 0.8 && within < 0.98) {
			t.Errorf("%s: %.0f %% of hours within the 90 %% interval of the level", q, 100*within)
		}
	}
}
