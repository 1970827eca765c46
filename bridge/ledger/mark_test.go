package ledger

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

func TestH40NewSite(t *testing.T) {
	path := newPath(t)
	l := mustOpen(t, path)
	if r := l.Report(); r != (Report{NewSite: true}) {
		t.Fatalf("Report = %+v; want a new site and nothing else", r)
	}
	mustClose(t, l)
	if r := mustOpen(t, path).Report(); r != (Report{}) {
		t.Fatalf("Report of the second start without a row = %+v; want nothing amiss", r)
	}
}

func TestH40PowerCutBeforeTheFirstMark(t *testing.T) {
	path := newPath(t)
	mustClose(t, mustOpen(t, path))
	before := fileBytes(t, path+".mark")
	l := mustOpen(t, path)
	mustAppend(t, l, noted(1))
	mustClose(t, l)
	writeFile(t, path+".mark", before) // as if the power had gone between the commit and the mark
	if r := mustOpen(t, path).Report(); r != (Report{Rows: 1}) {
		t.Fatalf("Report = %+v; want nothing amiss: the ledger may be ahead of its mark", r)
	}
}

func TestH40MarkFollowsEveryCommit(t *testing.T) {
	path := newPath(t)
	l := mustOpen(t, path)
	for seq := int64(1); seq <= 3; seq++ {
		mustAppend(t, l, noted(seq))
		m, found, err := readMark(path)
		if err != nil || !found || m != markOf(noted(seq)) {
			t.Fatalf("after row %d the mark is %+v, %v, %v", seq, m, found, err)
		}
	}
}

// Each case changes the files of a ledger of 9 rows between two starts; there is a copy of it with 5 rows.
func TestH40WhatOpenFinds(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(t *testing.T, path, older string)
		want   Report
	}{
		{"untouched", func(*testing.T, string, string) {}, Report{Rows: 9, MarkSeq: 9}},
		{"older copy restored", func(t *testing.T, path, older string) {
			writeFile(t, path, fileBytes(t, older))
		}, Report{Rows: 5, MarkSeq: 9, BehindMark: true}},
		{"ledger lost", func(t *testing.T, path, _ string) { mustRemove(t, path) }, Report{MarkSeq: 9, BehindMark: true}},
		{"mark lost", func(t *testing.T, path, _ string) { mustRemove(t, path+".mark") }, Report{Rows: 9, MarkMissing: true}},
		{"mark unreadable", func(t *testing.T, path, _ string) { writeFile(t, path+".mark", `{"seq":`) }, Report{Rows: 9, MarkMissing: true}},
		{"mark nonsense", func(t *testing.T, path, _ string) { writeFile(t, path+".mark", `{"seq":-4}`) }, Report{Rows: 9, MarkMissing: true}},
		{"both lost", func(t *testing.T, path, _ string) { mustRemove(t, path); mustRemove(t, path+".mark") }, Report{NewSite: true}},
		{"emptied", func(t *testing.T, path, _ string) { writeFile(t, path, "") }, Report{MarkSeq: 9, BehindMark: true}},
		{"older copy went on elsewhere", func(t *testing.T, path, older string) {
			l := mustOpen(t, older)
			for seq := int64(6); seq <= 12; seq++ {
				r := noted(seq)
				r.At, r.Elapsed = r.At.Add(time.Hour), r.Elapsed+3_600_000
				mustAppend(t, l, r)
			}
			mustClose(t, l)
			writeFile(t, path, fileBytes(t, older))
		}, Report{Rows: 12, MarkSeq: 9, BehindMark: true}},
	} {
		t.Run(c.name, func(t *testing.T) {
			path, older := filled(t, 5), filepath.Join(t.TempDir(), "older.db")
			writeFile(t, older, fileBytes(t, path))
			l := mustOpen(t, path)
			mustAppend(t, l, notes(6, 9)...)
			mustClose(t, l)
			c.change(t, path, older)
			if got := mustOpen(t, path).Report(); got != c.want {
				t.Fatalf("Report = %+v; want %+v", got, c.want)
			}
		})
	}
}

func mustRemove(t *testing.T, path string) {
	t.Helper()
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
}

// A restart must not forget that the ledger was restored, however many rows came meanwhile, until a row says so.
func TestH40RestoredStaysKnownUntilARowSaysSo(t *testing.T) {
	path := filled(t, 5)
	older := fileBytes(t, path)
	l := mustOpen(t, path)
	mustAppend(t, l, notes(6, 9)...)
	mustClose(t, l)
	writeFile(t, path, older)

	l = mustOpen(t, path)
	for seq := int64(6); seq <= 20; seq++ {
		r := noted(seq)
		r.Elapsed += 500 // another life than the lost one
		mustAppend(t, l, r)
	}
	mustClose(t, l)
	l = mustOpen(t, path)
	if !l.Report().BehindMark {
		t.Fatalf("Report after a restart = %+v; want it still behind its mark", l.Report())
	}
	mustAppend(t, l, row(21, machine.Lockout{Code: safety.LedgerRestored, Text: "rows are missing"}))
	mustClose(t, l)
	if r := mustOpen(t, path).Report(); r != (Report{Rows: 21, MarkSeq: 21}) {
		t.Fatalf("Report after the lockout was stored = %+v; want nothing amiss", r)
	}
}

func TestMarkThatCannotBeWrittenFailsTheLedger(t *testing.T) {
	path := newPath(t)
	l := mustOpen(t, path)
	if err := os.Mkdir(path+".mark.new", 0o700); err != nil { // takes the temporary file's name
		t.Fatal(err)
	}
	if err := l.Append([]machine.Row{noted(1)}); err == nil || !l.Failed() {
		t.Fatalf("Append without a mark: %v, failed %v; want a failed ledger", err, l.Failed())
	}
	if err := l.Append([]machine.Row{noted(2)}); !errors.Is(err, ErrFailed) {
		t.Fatalf("Append to a failed ledger: %v; want ErrFailed", err)
	}
	mustClose(t, l)
	mustRemove(t, path+".mark.new")
	again := mustOpen(t, path)
	wantRows(t, again, notes(1, 1)) // it was on disk after all, as the error said
}
