//go:build long

package main

import (
	"errors"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/ledger"
	"aliquot/bridge/mqtt/mosquittotest"
)

var agedYears = flag.Int("aged-years", 1, "how many years the ledger of TestAgedLedger is old")

// TestAgedLedger starts the service over a ledger of years, and asks it for its history: it prints how large the ledger is
// and how long each took, and fails where a service manager or a keeper would not wait any more.
func TestAgedLedger(t *testing.T) {
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), "aged")
	young, _ := r.startsWithin(time.Minute)
	if err := os.RemoveAll(filepath.Dir(r.quay.Ledger)); err != nil { // with its high-water file: a new site
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Dir(r.quay.Ledger), 0o700); err != nil {
		t.Fatal(err)
	}
	days := *agedYears * 365
	rows := agedLedger(t, r.quay.Ledger, r.quay.now.Add(-24*time.Hour), days)
	info, err := os.Stat(r.quay.Ledger)
	if err != nil {
		t.Fatal(err)
	}
	perDay := info.Size() / int64(days)
	t.Logf("%d days, %d runs, %d rows: %.1f MB, %d bytes a day", days, days*4*agedRuns, rows, float64(info.Size())/1e6, perDay)
	// More than twice what was measured is a row that has grown, and would fill a small card years earlier.
	if perDay > 200_000 {
		t.Errorf("a day of %d runs takes %d bytes; want at most 200,000", 4*agedRuns, perDay)
	}
	// By the clock the bound is the service manager's TimeoutStartSec, by the processor four times what was measured: other
	// tests beside this one stretch the first many times over.
	most := 120 * time.Second
	took, cpu := r.startsWithin(most)
	if bound := time.Duration(*agedYears) * 1500 * time.Millisecond; cpu > bound {
		t.Errorf("a start used %v of the processor; want at most %v", cpu, bound)
	}
	t.Logf("from the command to a page: %v; without any row %v; %v of the processor till the end", took, young, cpu)
	r.agedQueries(t, most)
}

// TestAgedLedgerPruned prunes a ledger of years to the least that may be kept, as the starts of a service would, and prints
// what that costs and what is left.
func TestAgedLedgerPruned(t *testing.T) {
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), "aged")
	days := *agedYears*365 + 400
	rows := agedLedger(t, r.quay.Ledger, r.quay.now.Add(-24*time.Hour), days)
	before, _ := r.startsWithin(120 * time.Second)
	book, err := ledger.Open(ledger.Options{Path: r.quay.Ledger})
	if err != nil {
		t.Fatal(err)
	}
	var gone, sums, size, slowest = int64(0), int64(0), int64(0), time.Duration(0)
	began, pieces := time.Now(), 0
	for {
		one := time.Now()
		p, done, err := book.Prune(ledger.KeepLeast, time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		if !done {
			break
		}
		pieces++
		gone, sums, slowest = gone+p.Gone, sums+p.Sums, max(slowest, time.Since(one))
		info, err := os.Stat(filepath.Join(filepath.Dir(r.quay.Ledger), p.File))
		if err != nil {
			t.Fatal(err)
		}
		size += info.Size()
	}
	took := time.Since(began)
	compact := filepath.Join(t.TempDir(), "copy.db")
	if err := errors.Join(book.Backup(compact), book.Close()); err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(compact)
	if err != nil {
		t.Fatal(err)
	}
	after, _ := r.startsWithin(120 * time.Second)
	t.Logf("%d days, %d rows: %d went and %d sums came in %d prunings, %v in all, %v the slowest; files %.1f MB, a copy of the ledger %.1f MB; a start took %v, takes %v",
		days, rows, gone, sums, pieces, took.Round(time.Millisecond), slowest.Round(time.Millisecond), float64(size)/1e6, float64(info.Size())/1e6, before, after)
	if left := rows - gone + sums; left > rows/2+1000*int64(*agedYears) && *agedYears > 1 {
		t.Errorf("%d of %d rows are left", left, rows)
	}
}

// startsWithin starts the service, waits until it has folded its ledger and owns the site, and ends it in order. It gives the
// time until the page was there, and what the process used of the processor in its whole life.
func (r *rig) startsWithin(most time.Duration) (took, cpu time.Duration) {
	r.t.Helper()
	began := time.Now()
	p := r.daemon("")
	p.awaitWithin("the page is at", most)
	took = time.Since(began).Round(time.Millisecond)
	p.await("this instance owns the site")
	p.terminate()
	if code := p.code(); code != exitOK {
		r.t.Fatalf("the service ended with code %d", code)
	}
	state := p.cmd.ProcessState
	return took, (state.UserTime() + state.SystemTime()).Round(time.Millisecond)
}

// agedQueries asks for a day, all, and a month, and copies the ledger.
func (r *rig) agedQueries(t *testing.T, most time.Duration) {
	t.Helper()
	month := r.quay.now.AddDate(0, 0, -40).UTC().Format("2006-01")
	for _, args := range [][]string{
		{"history", "--since", r.quay.now.Add(-48 * time.Hour).UTC().Format(time.RFC3339)},
		{"history", "--format", "csv"},
		{"history", "--format", "jsonl"},
		{"report", "--month", month, "-o", filepath.Join(t.TempDir(), "month.html")},
		{"backup", filepath.Join(t.TempDir(), "copy.db")},
	} {
		began := time.Now()
		out := must(t, append(args, "-c", r.config)...)
		took := time.Since(began)
		what := strings.Join(args[:min(len(args), 3)], " ")
		t.Logf("%s: %v, %d bytes said", strings.Split(what, "/")[0], took.Round(time.Millisecond), len(out))
		if took > most {
			t.Errorf("%s took %v; want at most %v", what, took, most)
		}
	}
}
