package ledger

import (
	"bufio"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner"
	"aliquot/safety"
)

// oldDays is how old the oldest row of an old ledger is.
const oldDays = 640

// oldRows are an invented history: four runs and four means of a probe a day, a refill each month, new tubing once, and a run
// in a hundred that nobody knows the outcome of.
func oldRows() []machine.Row {
	var rows []machine.Row
	add := func(at time.Time, id string, b machine.Body) {
		rows = append(rows, machine.Row{Seq: int64(len(rows) + 1), ID: id, At: at, Elapsed: safety.Elapsed(at.UnixMilli()), Trusted: true, Body: b})
	}
	full := 5000 * safety.Millilitre
	add(start, "", machine.DaemonStarted{Instance: "a1", Epoch: 1, Version: "0.1.0"})
	add(start, "", machine.Refill{Container: "carbonate-jug", Remaining: &full})
	add(start, "", machine.Calibration{Channel: "alk", Rate: 163_333, Tolerance: 50})
	add(start, "", machine.Primed{Channel: "alk"})
	for i := range oldDays * 4 {
		at := start.Add(time.Duration(i) * 6 * time.Hour)
		run := fmt.Sprintf("run %d", i)
		r := reserved(1, run, at.Format("2006-01-02T15:04")).Body
		add(at, run, r)
		e := machine.RunEnded{Run: run, Outcome: machine.Finished, Duration: 12_381, Hi: 2121, Lo: 1920}
		if i%100 == 7 {
			e.Outcome, e.Lo = machine.Unknown, 0
		}
		add(at.Add(13*time.Second), "", e)
		add(at.Add(time.Hour), "", machine.ProbeMean{Probe: "ph", From: at, Until: at.Add(time.Hour), Mean: 8 + float64(i%7)/100, Count: 100 + i%5})
		switch {
		case i == 900:
			add(at.Add(2*time.Hour), "", machine.Tube{Channel: "alk"})
			add(at.Add(2*time.Hour), "", machine.Calibration{Channel: "alk", Rate: 163_333, Tolerance: 50})
		case i%120 == 50:
			add(at.Add(2*time.Hour), "", machine.Refill{Container: "carbonate-jug", Added: 240 * safety.Millilitre})
		case i%200 == 9:
			add(at.Add(2*time.Hour), "", answered(1, fmt.Sprint("ask ", i)).Body)
		}
	}
	return rows
}

func oldSite() *machine.Site {
	c := machine.Channel{Container: "carbonate-jug", Node: "board", Output: 1}
	c.ID, c.System, c.Mode = "alk", "nursery", planner.Fixed
	return &machine.Site{Name: "shed", Zone: time.UTC, Systems: []planner.System{{ID: "nursery", NetLitres: 100}},
		Supplements: []machine.Supplement{{ID: "carbonate"}},
		Containers:  []machine.Container{{ID: "carbonate-jug", Supplement: "carbonate", Capacity: 5000 * safety.Millilitre}},
		Nodes:       []machine.Node{{ID: "board", Style: machine.BoundedRun}}, Channels: []machine.Channel{c},
		Probes: []machine.Probe{{ID: "ph", System: "nursery"}}}
}

// oldLedger makes a ledger of old rows, and gives its path, closed.
func oldLedger(t *testing.T) (string, []machine.Row) {
	t.Helper()
	path, rows := newPath(t), oldRows()
	l := mustOpen(t, path)
	mustAppend(t, l, rows...)
	mustClose(t, l)
	return path, rows
}

// folded is what the outside would see of a fold, and what it stands on.
func folded(t *testing.T, rows []machine.Row) string {
	t.Helper()
	f := machine.NewFold(oldSite())
	for _, r := range rows {
		f.Add(r)
	}
	s := f.State()
	text, err := json.Marshal(machine.Snapshot(&s))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// small is a pruning in pieces that suit the test.
func small(l *Ledger) *pruning {
	return &pruning{l: l, keep: KeepLeast, zone: time.UTC, rows: 1500, least: 100}
}

func mustPrune(t *testing.T, l *Ledger) (Pruned, bool) {
	t.Helper()
	p := small(l)
	done, err := p.run(p.steps())
	if err != nil {
		t.Fatal(err)
	}
	return p.Pruned, done
}

// exported are the rows of a file of rows that went.
func exported(t *testing.T, path string) []machine.Row {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	zip, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	var rows []machine.Row
	lines := bufio.NewScanner(zip)
	for lines.Scan() {
		var s storedRow
		if err := json.Unmarshal(lines.Bytes(), &s); err != nil {
			t.Fatal(err)
		}
		at, err := time.Parse(time.RFC3339Nano, s.At)
		if err != nil {
			t.Fatal(err)
		}
		b, err := machine.DecodeBody(s.Kind, string(s.Body))
		if err != nil {
			t.Fatal(err)
		}
		rows = append(rows, machine.Row{Seq: s.Seq, ID: s.ID, At: at, Elapsed: safety.Elapsed(s.Elapsed), Trusted: s.Trusted, By: s.By, Body: b})
	}
	return rows
}

// wantPruned checks a pruned ledger against the rows that it was made of: the fold is the same, every row is in it or in an
// exported file, and none of the last 400 days went.
func wantPruned(t *testing.T, path string, rows []machine.Row) (left int) {
	t.Helper()
	l := mustOpen(t, path)
	defer mustClose(t, l)
	got := allRows(t, l)
	if a, b := folded(t, rows), folded(t, got); a != b {
		t.Fatalf("the fold of what is left is another:\n%s\n%s", a, b)
	}
	if r := l.Report(); r.BehindMark || r.MarkMissing || r.Rows != int64(len(rows)) {
		t.Fatalf("Report = %+v; want nothing amiss and %d rows", r, len(rows))
	}
	there := map[int64]string{}
	for _, r := range got {
		if b, ok := r.Body.(machine.RunPast); ok && b.Sum != nil {
			continue
		}
		there[r.Seq] = fmt.Sprint(r)
	}
	list, err := l.Prunings()
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range list {
		gone := exported(t, filepath.Join(filepath.Dir(path), p.File))
		if int64(len(gone)) != p.Gone || p.Sums == 0 {
			t.Fatalf("%s holds %d rows; want %d", p.File, len(gone), p.Gone)
		}
		for _, r := range gone {
			there[r.Seq] = fmt.Sprint(r)
		}
	}
	newest := rows[len(rows)-1].At
	for _, r := range rows {
		if there[r.Seq] != fmt.Sprint(r) {
			t.Fatalf("row %d is %s, in the ledger and its files %s", r.Seq, fmt.Sprint(r), there[r.Seq])
		}
		if _, sum := r.Body.(machine.RunPast); newest.Sub(r.At) < KeepLeast && sum {
			t.Fatalf("row %d of %s was summed", r.Seq, r.At)
		}
	}
	return len(got)
}

func TestINV12_PruneExportsBeforeItSums(t *testing.T) {
	path, rows := oldLedger(t)
	l := mustOpen(t, path)
	first, done := mustPrune(t, l)
	if !done || first.First != 1 || first.Last != 1500 {
		t.Fatalf("the first pruning: %+v, %v", first, done)
	}
	second, done := mustPrune(t, l)
	if !done || second.First != 1501 {
		t.Fatalf("the second pruning: %+v, %v", second, done)
	}
	for range 9 { // the rest, which is too young or too little
		if _, done = mustPrune(t, l); !done {
			break
		}
	}
	if done {
		t.Fatal("there is no end of prunings")
	}
	list, err := l.Prunings()
	if err != nil || len(list) < 2 || list[0] != first && !list[0].Until.Equal(first.Until) {
		t.Fatalf("Prunings = %+v, %v", list, err)
	}
	newest := rows[len(rows)-1].At
	if last := list[len(list)-1]; newest.Sub(last.Until) < KeepLeast {
		t.Fatalf("rows until %s were pruned, the newest is of %s", last.Until, newest)
	}
	mustAppend(t, l, row(int64(len(rows))+1, machine.Note{System: "nursery", Note: "other"}))
	all := append(rows, row(int64(len(rows))+1, machine.Note{System: "nursery", Note: "other"}))
	copied := filepath.Join(t.TempDir(), "copy.db")
	if err := l.Backup(copied); err != nil {
		t.Fatal(err)
	}
	mustClose(t, l)
	left := wantPruned(t, path, all)
	t.Logf("%d rows became %d in %d prunings", len(all), left, len(list))
	if left > len(all)*85/100 {
		t.Errorf("%d of %d rows are left", left, len(all))
	}
	again := mustOpen(t, copied)
	if got := allRows(t, again); len(got) != left {
		t.Errorf("a copy has %d rows, want %d", len(got), left)
	}
	if from, err := again.FirstSince(newest.Add(-time.Hour)); err != nil || from < int64(len(rows))-20 {
		t.Errorf("FirstSince = %d, %v", from, err)
	}
}

// The default sizes leave a ledger alone that has too little to go.
func TestPruneWaitsUntilItIsWorthIt(t *testing.T) {
	path := filled(t, 50)
	l := mustOpen(t, path)
	if _, done, err := l.Prune(KeepLeast, time.UTC); done || err != nil {
		t.Fatalf("Prune of a young ledger = %v, %v", done, err)
	}
	if _, _, err := l.Prune(KeepLeast-time.Hour, time.UTC); err == nil || !strings.Contains(err.Error(), "400 days are never touched") {
		t.Fatalf("Prune of rows of less than 400 days = %v", err)
	}
	mustAppend(t, l, noted(51))
}

// Whichever step is the last before the process dies, the ledger is the old one or the new one, and the next pruning ends it.
func TestPruneMayEndAfterEveryStep(t *testing.T) {
	whole, rows := oldLedger(t)
	for n := range len((&pruning{}).steps()) + 1 {
		path := newPath(t)
		for _, end := range []string{"", ".mark"} {
			writeFile(t, path+end, fileBytes(t, whole+end))
		}
		l := mustOpen(t, path)
		p := small(l)
		for _, step := range p.steps()[:n] {
			if err := step(); err != nil {
				t.Fatal(err)
			}
		}
		mustClose(t, l)
		if left := wantPruned(t, path, rows); (left < len(rows)) != (n >= 7) {
			t.Fatalf("after %d steps %d of %d rows are left", n, left, len(rows))
		}
		l = mustOpen(t, path)
		if _, done := mustPrune(t, l); !done {
			t.Fatalf("after %d steps the next pruning did nothing", n)
		}
		mustClose(t, l)
		wantPruned(t, path, rows)
	}
}

// What does not read back is not removed.
func TestPruneRefusesAFileThatDoesNotReadBack(t *testing.T) {
	for name, spoil := range map[string]func(string) string{
		"a bit":      func(s string) string { return s[:len(s)/2] + string(s[len(s)/2]^1) + s[len(s)/2+1:] },
		"its end":    func(s string) string { return s[:len(s)-9] },
		"everything": func(string) string { return "" },
		"more":       func(s string) string { return s + "x" },
	} {
		t.Run(name, func(t *testing.T) {
			path, rows := oldLedger(t)
			l := mustOpen(t, path)
			p := small(l)
			steps := p.steps()
			after := func() error {
				data := []byte(spoil(fileBytes(t, p.part())))
				return os.WriteFile(p.part(), data, 0o600)
			}
			if done, err := p.run(append(append(steps[:4:4], after), steps[4:]...)); done || err == nil || !strings.Contains(err.Error(), "does not read back") {
				t.Fatalf("run = %v, %v", done, err)
			}
			if _, err := os.Stat(p.part()); !os.IsNotExist(err) || l.Failed() {
				t.Errorf("the file: %v, the ledger failed: %v; want neither", err, l.Failed())
			}
			wantRows(t, l, rows)
			mustAppend(t, l, row(int64(len(rows))+1, machine.ClockConfirmed{}))
		})
	}
}

func TestPruneNeverOverwritesAFile(t *testing.T) {
	path, rows := oldLedger(t)
	l := mustOpen(t, path)
	in := filepath.Join(filepath.Dir(path), "ledger.db.rows-1-1500.jsonl.gz")
	writeFile(t, in, "something else")
	p := small(l)
	if done, err := p.run(p.steps()); done || err == nil || !strings.Contains(err.Error(), "holds other rows") {
		t.Fatalf("run = %v, %v", done, err)
	}
	if fileBytes(t, in) != "something else" {
		t.Error("the file was overwritten")
	}
	wantRows(t, l, rows)
}

func TestH39_PruneWantsRoom(t *testing.T) {
	path, rows := oldLedger(t)
	l, err := Open(Options{Path: path, MinFreeBytes: math.MaxInt64 / 2})
	if err != nil {
		t.Fatal(err)
	}
	p := small(l)
	if done, err := p.run(p.steps()); done || !errors.Is(err, ErrDiskFull) || l.Failed() {
		t.Fatalf("run = %v, %v, failed %v; want ErrDiskFull and a ledger in order", done, err, l.Failed())
	}
	mustClose(t, l)
	wantRows(t, mustOpen(t, path), rows)
}

// A ledger that may not be the newest one is left alone; a date that nobody believed makes nothing older.
func TestH40_PruneLeavesADoubtedLedgerAlone(t *testing.T) {
	path, _ := oldLedger(t)
	if err := os.Remove(path + ".mark"); err != nil {
		t.Fatal(err)
	}
	l := mustOpen(t, path)
	if p, done := mustPrune(t, l); done {
		t.Fatalf("a ledger without its mark was pruned: %+v", p)
	}
	mustClose(t, l)
	path, rows := oldLedger(t)
	l = mustOpen(t, path)
	ahead := row(int64(len(rows))+1, machine.ClockConfirmed{})
	ahead.At, ahead.Trusted = start.AddDate(9, 0, 0), false
	mustAppend(t, l, ahead)
	for {
		p, done := mustPrune(t, l)
		if !done {
			break
		}
		if newest := rows[len(rows)-1].At; newest.Sub(p.Until) < KeepLeast {
			t.Fatalf("rows were pruned by a date that nobody believed: %+v", p)
		}
	}
}

// The database refuses to let go of rows that this package would not.
func TestINV12_TheDatabaseRefuses(t *testing.T) {
	path, rows := oldLedger(t)
	l := mustOpen(t, path)
	entry := fmt.Sprintf("INSERT INTO pruned (first, last, gone, sums, since, until, file, sha256) VALUES (1, %d, 1, 0, '', '', 'f', '')", len(rows))
	for _, statement := range []string{
		"DELETE FROM rows WHERE seq = 5", // not entered
		entry + "; DELETE FROM rows WHERE at > '2028-01-01T00:00:00Z'",
		"INSERT INTO rows SELECT 5, NULL, at, elapsed, trusted, by, 'note', NULL, NULL, body FROM rows WHERE seq = 6",
		"UPDATE pruned SET gone = 2",
		"DELETE FROM pruned",
	} {
		if _, err := l.write.ExecContext(context.Background(), statement); err == nil {
			t.Errorf("%s went through", statement)
		}
	}
	mustClose(t, l)
}

// A row that is missing in what was pruned, beyond what was taken out, is damage.
func TestH40_AHoleInWhatWasPruned(t *testing.T) {
	path, _ := oldLedger(t)
	l := mustOpen(t, path)
	if _, done := mustPrune(t, l); !done {
		t.Fatal("nothing was pruned")
	}
	mustClose(t, l)
	foreignDatabase(t, path, "DROP TRIGGER rows_never_go", "DELETE FROM rows WHERE seq = 3")
	err := mustOpen(t, path).Each(1, func(machine.Row) error { return nil })
	if !errors.Is(err, ErrDamaged) {
		t.Fatalf("Each = %v; want ErrDamaged", err)
	}
}
