package main

import (
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"

	"aliquot/bridge/machine"
)

// planOf plans from the invented history of the shipped demo site.
func planOf(t *testing.T, format string, more ...string) string {
	t.Helper()
	args := append([]string{"plan", "-c", filepath.Join("..", "..", "deploy", "sites", "demo.yaml"),
		"--history", filepath.Join("testdata", "plan", "history.jsonl"), "--at", "2027-03-15T06:00:00Z", "--format", format}, more...)
	out := must(t, args...)
	folder, err := filepath.Abs(filepath.Join("testdata", "plan"))
	if err != nil {
		t.Fatal(err)
	}
	return strings.ReplaceAll(out, folder+string(filepath.Separator), "")
}

// TestPlanGolden plans a day from two weeks of tests and runs, in both formats, and again with the same bytes.
func TestPlanGolden(t *testing.T) {
	t.Parallel()
	for format, file := range map[string]string{"text": "plan.txt", "json": "plan.json"} {
		first := planOf(t, format)
		golden(t, filepath.Join("plan", file), first)
		for range 3 {
			if again := planOf(t, format); again != first {
				t.Fatalf("the same plan again reads differently:\n%s\n%s", first, again)
			}
		}
	}
}

// TestPlanSays looks at what the golden plan must hold, whatever its figures.
func TestPlanSays(t *testing.T) {
	t.Parallel()
	var plan machine.PlanView
	if err := json.Unmarshal([]byte(planOf(t, "json")), &plan); err != nil {
		t.Fatal(err)
	}
	sums := map[string]float64{}
	for _, r := range plan.Runs {
		sums[r.Channel] += r.VolumeML
		if r.At.Before(plan.At) || r.At.Sub(plan.At).Hours() >= 24 {
			t.Errorf("a run of %s at %s lies outside the 24 h", r.Channel, r.At)
		}
	}
	if !(sums["alk"] > 20 && sums["alk"] <= 110/1.05) || !(sums["ca"] > 10 && sums["ca"] <= 90/1.05) {
		t.Errorf("the plan's volumes are %v", sums)
	}
	held := map[string]string{}
	for _, w := range plan.Withheld {
		held[w.Channel+" "+string(w.Code)] = w.Text
	}
	if _, ok := held["mg not_primed"]; !ok || sums["mg"] != 0 {
		t.Errorf("mg was never primed and must be withheld for it: %v", held)
	}
	notes := strings.Join(plan.Notes, "\n")
	for _, want := range []string{"assumed good", "history.jsonl:", "1 line after 2027-03-15T06:00:00Z left out", "interlock"} {
		if !contains(notes, want) {
			t.Errorf("the notes do not say %q:\n%s", want, notes)
		}
	}
	for _, e := range plan.Estimates {
		if e.Quantity == "alkalinity" && (e.Level == nil || e.TestsUsed < 5 || e.TestsSetAside != 1) {
			t.Errorf("the estimate of alkalinity is %+v", e)
		}
	}
}
