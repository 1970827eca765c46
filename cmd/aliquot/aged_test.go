package main

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/ledger"
	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
	"aliquot/planner/units"
	"aliquot/safety"
)

var agedYears = flag.Int("aged-years", 1, "how many years the ledger of TestAgedLedger is old")

// agedRuns is how many runs each of four channels has in a day: 100 together.
const agedRuns = 25

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
	if bound := time.Duration(*agedYears) * 5 * time.Second; cpu > bound {
		t.Errorf("a start used %v of the processor; want at most %v", cpu, bound)
	}
	t.Logf("from the command to a page: %v; without any row %v; %v of the processor till the end", took, young, cpu)
	r.agedQueries(t, most)
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

// agedLedger fills a ledger with days of 100 runs, a test and its answer, that end at a moment; it gives the number of rows.
func agedLedger(t *testing.T, path string, until time.Time, days int) int64 {
	t.Helper()
	book, err := ledger.Open(ledger.Options{Path: path})
	if err != nil {
		t.Fatal(err)
	}
	a := aged{start: until.AddDate(0, 0, -days).UTC().Truncate(time.Second)}
	a.commission()
	for day := range days {
		a.day(day)
		if day%30 == 29 || day == days-1 {
			if err := book.Append(a.rows); err != nil {
				t.Fatal(err)
			}
			a.rows = a.rows[:0]
		}
	}
	if err := book.Close(); err != nil {
		t.Fatal(err)
	}
	return a.seq
}

// aged writes the rows that a service would have written.
type aged struct {
	start time.Time
	seq   int64
	rows  []machine.Row
}

// agedChannels are the channels of the quay, with their containers, nodes and outputs.
var agedChannels = []struct {
	channel, container, node string
	output                   int
}{{"alk", "carbonate-jug", "board", 1}, {"ca", "calcium-jug", "board", 2}, {"trace", "trace-jug", "timed", 0}, {"iodine", "iodine-jug", "fixed", 0}}

const agedRate = safety.Rate(1_000_000) // 1 mL/s

func (a *aged) add(at time.Time, id string, body machine.Body) {
	a.seq++
	a.rows = append(a.rows, machine.Row{Seq: a.seq, ID: id, At: at, Elapsed: safety.Elapsed(at.Sub(a.start).Milliseconds()), Trusted: true, Body: body})
}

func (a *aged) commission() {
	for _, c := range agedChannels {
		full := safety.Microlitres(500_000)
		a.add(a.start, "", machine.Refill{Container: c.container, Remaining: &full})
		a.add(a.start, "", machine.Primed{Channel: c.channel})
		a.add(a.start, "", machine.Calibration{Channel: c.channel, Rate: agedRate, Tolerance: safety.DefaultTolerance})
	}
}

// day adds 25 runs of each channel, a minute apart, a test, and at each tenth day a refill.
func (a *aged) day(day int) {
	begin := a.start.AddDate(0, 0, day)
	for n := range agedRuns {
		for i, c := range agedChannels {
			at := begin.Add(time.Duration(n)*24*time.Hour/agedRuns + time.Duration(i+1)*time.Minute)
			run := fmt.Sprintf("01J%023d", a.seq)
			a.add(at, "", machine.RunReserved{Run: run, Channel: c.channel, Container: c.container, Node: c.node, Output: c.output, Serial: a.seq,
				Purpose: machine.Dose, Into: machine.IntoTank, Slot: at.Format("2006-01-02T15:04"), Volume: 1010, Duration: 1010, Longest: 1010,
				Worst: 1010, Tolerance: safety.DefaultTolerance, Rate: agedRate, DayVolume: 25_250})
			a.add(at.Add(1100*time.Millisecond), "", machine.RunEnded{Run: run, Outcome: machine.Finished, Duration: 1010, Hi: 1111, Lo: 909})
		}
	}
	end := begin.Add(24*time.Hour - time.Minute)
	level := 8.0 + .05*float64(day%4)
	a.add(end, fmt.Sprintf("test-%d", day), machine.Test{System: "quay", Quantity: units.Alkalinity, Level: level, Value: level, Unit: "dKH", Taken: end})
	if day%10 == 9 {
		for _, c := range agedChannels {
			full := safety.Microlitres(500_000)
			a.add(end, "", machine.Refill{Container: c.container, Remaining: &full})
		}
	}
}
