package ledger

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// copied makes a ledger with some rows, a copy of it, and more rows behind the copy.
func copied(t *testing.T, before, after int64) (path, copy string) {
	t.Helper()
	path, copy = newPath(t), filepath.Join(t.TempDir(), "copy.db")
	l := mustOpen(t, path)
	mustAppend(t, l, notes(1, before)...)
	if err := l.Backup(copy); err != nil {
		t.Fatal(err)
	}
	if after > 0 {
		mustAppend(t, l, notes(before+1, before+after)...)
	}
	mustClose(t, l)
	return path, copy
}

func mustRestore(t *testing.T, copy, path string) Restored {
	t.Helper()
	r, err := Restore(copy, path, start)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestH40_RestoredIsDoubtedAndTheOldOneKept(t *testing.T) {
	path, copy := copied(t, 5, 3)
	r := mustRestore(t, copy, path)
	if r.Rows != 5 || r.Once != 8 || !r.Newest.Equal(noted(5).At) || r.Bytes == 0 {
		t.Errorf("Restore = %+v", r)
	}
	if want := path + ".until-20270301T070000Z"; r.Kept != want {
		t.Errorf("kept as %s, want %s", r.Kept, want)
	}
	if c, err := Look(r.Kept); err != nil || c.Rows != 8 {
		t.Errorf("what is kept holds %+v, %v; want 8 rows", c, err)
	}
	l := mustOpen(t, path)
	wantRows(t, l, notes(1, 5))
	if !l.Report().Restored {
		t.Errorf("Report = %+v; want it restored", l.Report())
	}
	if _, err := os.Stat(path + ".restored"); !os.IsNotExist(err) {
		t.Errorf("the part stayed: %v", err)
	}
}

// A copy as new as the ledger, or of another ledger that went on, knows as little of what was dosed elsewhere since.
func TestH40_RestoredIsDoubtedHoweverNew(t *testing.T) {
	path, copy := copied(t, 5, 0)
	mustRestore(t, copy, path)
	if r := mustOpen(t, path).Report(); !r.Restored || r.Rows != 5 {
		t.Errorf("Report of a copy as new as the ledger = %+v; want it restored", r)
	}
	longer, _ := copied(t, 2, 0)
	if r := mustRestore(t, copy, longer); r.Once != 2 {
		t.Errorf("Restore = %+v", r)
	}
	if r := mustOpen(t, longer).Report(); !r.Restored {
		t.Errorf("Report of a copy ahead of the ledger = %+v; want it restored", r)
	}
}

func TestH40_RestoredOnANewMachine(t *testing.T) {
	_, copy := copied(t, 5, 0)
	path := newPath(t)
	if r := mustRestore(t, copy, path); r.Kept != "" || r.Once != 0 {
		t.Errorf("Restore = %+v; nothing was there", r)
	}
	l := mustOpen(t, path)
	wantRows(t, l, notes(1, 5))
	if r := l.Report(); !r.Restored || r.NewSite {
		t.Errorf("Report = %+v; want it restored", r)
	}
}

// A copy that somebody made of all files of a ledger in use brings its log along.
func TestRestoreReadsTheLogBesideACopy(t *testing.T) {
	from, path := newPath(t), newPath(t)
	l := mustOpen(t, from)
	mustAppend(t, l, notes(1, 7)...)
	copy := filepath.Join(t.TempDir(), "copy.db")
	for _, end := range []string{"", "-wal"} {
		b, err := os.ReadFile(from + end)
		if err != nil {
			t.Fatal(err)
		}
		writeFile(t, copy+end, string(b))
	}
	if r := mustRestore(t, copy, path); r.Rows != 7 {
		t.Errorf("Restore = %+v; want 7 rows", r)
	}
	wantRows(t, mustOpen(t, path), notes(1, 7))
}

func TestH40_RestoreThatIsRefusedChangesNothing(t *testing.T) {
	path, copy := copied(t, 5, 3)
	held := newPath(t)
	mustAppend(t, mustOpen(t, held), notes(1, 2)...)
	text, broken, newer, empty := newPath(t), newPath(t), newPath(t), newPath(t)
	writeFile(t, text, strings.Repeat("no database. ", 500))
	writeFile(t, empty, "")
	for _, p := range []string{broken, newer} {
		if b, err := os.ReadFile(copy); err != nil {
			t.Fatal(err)
		} else {
			writeFile(t, p, string(b))
		}
	}
	overwrite(t, broken, 3)
	foreignDatabase(t, newer, "UPDATE ledger_schema SET number = 99")
	before := folderOf(t, path)
	for _, c := range []struct {
		name, source, path string
		want               error
		says               string
	}{
		{"a text", text, path, ErrForeign, ""},
		{"nothing in it", empty, path, ErrForeign, "empty"},
		{"damaged", broken, path, ErrDamaged, ""},
		{"by a newer program", newer, path, ErrNewer, ""},
		{"not there", copy + "x", path, os.ErrNotExist, ""},
		{"the ledger itself", path, path, nil, "name a copy"},
		{"in use", copy, held, ErrInUse, "stop that one first"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Restore(c.source, c.path, start)
			if err == nil || c.want != nil && !errors.Is(err, c.want) || !strings.Contains(err.Error(), c.says) {
				t.Fatalf("Restore gives %v; want %v, %q", err, c.want, c.says)
			}
			if after := folderOf(t, path); !slices.Equal(after, before) {
				t.Errorf("the folder holds %v; before %v", after, before)
			}
		})
	}
	l := mustOpen(t, path)
	wantRows(t, l, notes(1, 8))
	if r := l.Report(); r.BehindMark || r.MarkMissing || r.Restored {
		t.Errorf("Report = %+v; nothing was restored", r)
	}
}

// folderOf gives names and sizes of a ledger's files, and what the database holds, but for the lock.
func folderOf(t *testing.T, path string) []string {
	t.Helper()
	var out []string
	list, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range list {
		b, err := os.ReadFile(filepath.Join(filepath.Dir(path), e.Name()))
		if err != nil {
			t.Fatal(err)
		}
		if !strings.HasSuffix(e.Name(), ".lock") && !strings.HasSuffix(e.Name(), "-shm") && !strings.HasSuffix(e.Name(), "-wal") {
			out = append(out, e.Name()+": "+string(bytes.TrimSpace(b[max(0, len(b)-64):])))
		}
	}
	return out
}

// Whatever step was the last one before the power went, the next start has all rows or doubts what it has.
func TestH06_H40_APowerCutWithinARestoration(t *testing.T) {
	for _, copyAhead := range []bool{false, true} {
		for done := 0; ; done++ {
			path, copy := copied(t, 5, 3)
			if copyAhead {
				_, copy = copied(t, 20, 0)
			}
			contents, err := Look(copy)
			if err != nil {
				t.Fatal(err)
			}
			r := restoration{source: copy, path: path, kept: path + ".kept", done: &Restored{Contents: contents}}
			steps := r.steps()
			if done > len(steps) {
				break
			}
			for _, step := range steps[:done] {
				if err := step(); err != nil {
					t.Fatal(err)
				}
			}
			l, err := Open(Options{Path: path})
			if err != nil {
				t.Fatalf("after %d steps: %v", done, err)
			}
			doubted := l.Report().BehindMark || l.Report().MarkMissing || l.Report().Restored
			if rows := count(t, l); !doubted && rows != 8 {
				t.Errorf("after %d steps %d rows are there, and nobody doubts them", done, rows)
			}
			mustClose(t, l)
			if done < len(steps)-2 || copyAhead {
				continue
			}
			if _, err := Restore(copy, path, start); err != nil {
				t.Errorf("after %d steps a second restoration: %v", done, err)
			}
		}
	}
}

func count(t *testing.T, l *Ledger) (n int64) {
	t.Helper()
	if err := l.Each(1, func(machine.Row) error { n++; return nil }); err != nil {
		t.Fatal(err)
	}
	return n
}

// Asking whether a copy is whole leaves nothing beside it.
func TestLookLeavesACopyAlone(t *testing.T) {
	_, copy := copied(t, 5, 0)
	t.Chdir(filepath.Dir(copy))
	if c, err := Look(filepath.Base(copy)); err != nil || c.Rows != 5 {
		t.Errorf("Look = %+v, %v", c, err)
	}
	if list, err := os.ReadDir("."); err != nil || len(list) != 1 {
		t.Errorf("beside the copy stand %v, %v", list, err)
	}
}

// The doubt lasts over starts, until a row says that the copy was accepted.
func TestH40_RestoredStaysKnownUntilItIsAccepted(t *testing.T) {
	path, copy := copied(t, 5, 3)
	mustRestore(t, copy, path)
	l := mustOpen(t, path)
	mustAppend(t, l, noted(6))
	mustClose(t, l)
	l = mustOpen(t, path)
	if !l.Report().Restored {
		t.Fatalf("Report at the second start = %+v", l.Report())
	}
	mustAppend(t, l, row(7, machine.Lockout{Code: safety.LedgerRestored, Text: "a copy was put in the ledger's place"}))
	mustClose(t, l)
	if r := mustOpen(t, path).Report(); r.Restored || r.BehindMark || r.MarkMissing {
		t.Errorf("Report once a lockout stands in the rows = %+v", r)
	}
}

func TestLook(t *testing.T) {
	path := newPath(t)
	l := mustOpen(t, path)
	mustClose(t, l)
	if c, err := Look(path); err != nil || c.Rows != 0 || !c.Newest.IsZero() {
		t.Errorf("Look at a ledger without rows = %+v, %v", c, err)
	}
	golden := newPath(t)
	if b, err := os.ReadFile("testdata/schema-1.db"); err != nil {
		t.Fatal(err)
	} else {
		writeFile(t, golden, string(b))
	}
	if c, err := Look(golden); err != nil || c.Rows == 0 || c.Newest.Before(time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)) {
		t.Errorf("Look at an older layout = %+v, %v", c, err)
	}
}
