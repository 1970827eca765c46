package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A plan from 240,000 runs needs no more memory than one from 60,000: rows are folded as they come. With all of them held it was
// 2.7 times as much.
func TestPlanMemoryIsThatOfAShortHistory(t *testing.T) {
	const most = 1.25
	site := sixChannelSite(t)
	short, long := planPeak(t, site, sixChannelYears(2)), planPeak(t, site, sixChannelYears(8))
	t.Logf("60,000 runs: %d kB; 240,000: %d kB", short, long)
	if float64(long) > most*float64(short) {
		t.Errorf("240,000 runs took %d kB, 60,000 %d kB; want at most %g times as much", long, short, most)
	}
}

func planPeak(t *testing.T, site string, history []byte) (kB int64) {
	t.Helper()
	return peakOf(t, "plan", "-c", site, "--history", writeFile(t, "h.jsonl", string(history)), "--at", planFrom.Format(time.RFC3339))
}

// peakOf is the largest part of memory that a command had in its life. (What wait says of a child begins with its parent's.)
func peakOf(t *testing.T, args ...string) (kB int64) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "status")
	p := launch(t, append([]string{os.Args[0]}, args...), args[0], childEnv+"=1", statusEnv+"="+path)
	if code := p.code(); code != exitOK {
		t.Fatalf("%v ended with code %d", args, code)
	}
	status, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	_, peak, _ := strings.Cut(string(status), "VmHWM:")
	if _, err := fmt.Sscan(peak, &kB); err != nil {
		t.Fatalf("%v\n%s", err, status)
	}
	return kB
}

// It is so with a ledger, and with the picture of a day.
func TestPlanMemoryIsThatOfAShortLedger(t *testing.T) {
	const most = 1.25
	peaks := map[int]map[string]int64{}
	for _, days := range []int{60, 300} {
		q := newQuay(t, nil, "aged")
		q.now = planFrom
		config := q.write(t, "site.yaml")
		agedLedger(t, q.Ledger, planFrom, days)
		at := planFrom.Format(time.RFC3339)
		peaks[days] = map[string]int64{
			"plan":    peakOf(t, "plan", "-c", config, "--at", at),
			"picture": peakOf(t, "plan", "-c", config, "--at", at, "--day", "2027-02-27", "--svg", filepath.Join(t.TempDir(), "day.svg")),
		}
	}
	for what, short := range peaks[60] {
		long := peaks[300][what]
		t.Logf("%s: 60 days %d kB, 300 days %d kB", what, short, long)
		if float64(long) > most*float64(short) {
			t.Errorf("%s of 300 days took %d kB, of 60 days %d kB; want at most %g times as much", what, long, short, most)
		}
	}
}
