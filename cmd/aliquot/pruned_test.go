package main

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/mqtt/mosquittotest"
)

// TestINV12_PrunedLedger starts the real service over a ledger of 440 days of which 400 are to be kept: what a channel gave on
// each day reads the same before and after, in history and report, and history says where the rows are.
func TestINV12_PrunedLedger(t *testing.T) {
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), "pruned")
	until := r.quay.now.Add(-24 * time.Hour)
	rows := agedLedger(t, r.quay.Ledger, until, 440)
	young, old := until.AddDate(0, 0, -60).UTC().Format(time.RFC3339), until.AddDate(0, 0, -400).UTC().Format(time.RFC3339)
	before, table := r.givenByDay("--until", old), must(t, "history", "-c", r.config, "--since", young, "--format", "csv")

	text, err := os.ReadFile(r.config)
	if err != nil {
		t.Fatal(err)
	}
	kept := strings.Replace(string(text), "ledger: {path: "+r.quay.Ledger+"}", "ledger: {path: "+r.quay.Ledger+", keep: 400d}", 1)
	if kept == string(text) {
		t.Fatal("the configuration has no place for keep")
	}
	if err := os.WriteFile(r.config, []byte(kept), 0o600); err != nil {
		t.Fatal(err)
	}
	p := r.daemon("")
	p.awaitWithin("old rows were exported and summed", time.Minute)
	p.awaitWithin("the page is at", time.Minute)
	p.terminate()
	if code := p.code(); code != exitOK {
		t.Fatalf("the service ended with code %d", code)
	}

	after := r.givenByDay("--until", old)
	if len(before) < 4*35 || len(after) != len(before) {
		t.Fatalf("%d days of channels before, %d after", len(before), len(after))
	}
	for day, ml := range before {
		if d := after[day] - ml; d > 1e-6 || d < -1e-6 {
			t.Errorf("%s: %v mL before, %v mL after", day, ml, after[day])
		}
	}
	if got := command(t, "history", "-c", r.config, "--since", young, "--format", "csv"); !strings.HasPrefix(got.out, table) || got.err != "" {
		t.Errorf("the last days read otherwise, or with a note: %s", got.err)
	}
	said := command(t, "history", "-c", r.config, "--until", old).err
	files, err := filepath.Glob(r.quay.Ledger + ".rows-1-*.jsonl.gz")
	if err != nil || len(files) != 1 || !strings.Contains(said, files[0]) {
		t.Errorf("the files are %v, %v; history says: %s", files, err, said)
	}
	left := strings.Count(must(t, "history", "-c", r.config, "--format", "csv", "--all"), "\n")
	t.Logf("%d rows; %d entries are left", rows, left)
}

// givenByDay is what each channel gave on each local day, mL, by the table for spreadsheets.
func (r *rig) givenByDay(args ...string) map[string]float64 {
	r.t.Helper()
	text := must(r.t, append([]string{"history", "-c", r.config, "--format", "csv", "--kind", "run"}, args...)...)
	lines, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		r.t.Fatal(err)
	}
	of := map[string]int{}
	for i, name := range lines[0] {
		of[name] = i
	}
	sums := map[string]float64{}
	for _, l := range lines[1:] {
		ml, err := strconv.ParseFloat(l[of["volume_ml"]], 64)
		if err != nil {
			r.t.Fatal(err)
		}
		sums[l[of["time_local"]][:len("2006-01-02")]+" "+l[of["channel"]]] += ml
	}
	return sums
}
