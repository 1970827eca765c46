package ledger

import (
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
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

// One place is spoiled in every way; the other one still says how far the ledger had come a commit before.
func TestH40SpoiledPlaceOfTheMark(t *testing.T) {
	path := newPath(t)
	l := mustOpen(t, path)
	for seq := int64(1); seq <= 4; seq++ {
		mustAppend(t, l, noted(seq))
	}
	before := fileBytes(t, path+".mark")
	mustAppend(t, l, noted(5))
	after := fileBytes(t, path+".mark")
	mustClose(t, l)
	var at, end int // what the last commit wrote
	for i := range after {
		if after[i] != before[i] {
			if end == 0 {
				at = i / placeSize * placeSize
			}
			end = i + 1
		}
	}
	if len(after) != places*placeSize || end <= at || end > at+recordSize {
		t.Fatalf("a commit changed bytes %d to %d of %d; want one place of one sector", at, end, len(after))
	}
	for i := at; i < at+recordSize; i++ { // torn behind each byte
		writeFile(t, path+".mark", after[:i]+before[i:])
		m, found, err := readMark(path)
		if want := markOf(noted(4)); err != nil || !found || m != want && m != markOf(noted(5)) {
			t.Fatalf("torn behind byte %d the mark is %+v, %v, %v; want %+v or the next", i, m, found, err, want)
		}
		flipped := []byte(after)
		flipped[i] ^= 1 // of a digit it makes another
		writeFile(t, path+".mark", string(flipped))
		if m, found, err = readMark(path); err != nil || !found || m != markOf(noted(4)) && m != markOf(noted(5)) {
			t.Fatalf("with byte %d flipped the mark is %+v, %v, %v", i, m, found, err)
		}
	}
	writeFile(t, path+".mark", strings.Repeat("\x00", places*placeSize))
	if r := mustOpen(t, path).Report(); r != (Report{Rows: 5, MarkMissing: true}) {
		t.Fatalf("Report with both places spoiled = %+v; want the mark missing", r)
	}
}

// The two places are written in turn, so that no commit writes over the newest mark.
func TestH40MarksTakeTurns(t *testing.T) {
	path := newPath(t)
	l := mustOpen(t, path)
	mustAppend(t, l, noted(1))
	for seq := int64(2); seq <= 7; seq++ {
		mustAppend(t, l, noted(seq))
		content := fileBytes(t, path+".mark")
		for place := range places {
			m, ok := readRecord([]byte(content[place*placeSize:]))
			if want := seq - (seq+1+int64(place))%places; !ok || m.Seq != want {
				t.Fatalf("after row %d place %d holds %+v, %v; want row %d", seq, place, m, ok, want)
			}
		}
	}
}

// An earlier version wrote one record without a sum; and whatever is done to the file of a running ledger, the next
// commit leaves a whole one.
func TestH40MarkOfAnotherKindIsReplaced(t *testing.T) {
	path := filled(t, 5)
	old, err := json.Marshal(markOf(noted(5)))
	if err != nil {
		t.Fatal(err)
	}
	writeFile(t, path+".mark", string(old)+"\n")
	l := mustOpen(t, path)
	if r := l.Report(); r != (Report{Rows: 5, MarkSeq: 5}) {
		t.Fatalf("Report over a mark of an earlier version = %+v; want nothing amiss", r)
	}
	for i, change := range []func(){
		func() {},
		func() { mustRemove(t, path+".mark") },
		func() { writeFile(t, path+".mark", string(old)) },
		func() { writeFile(t, path+".mark", "") },
	} {
		change()
		seq := int64(6 + i)
		mustAppend(t, l, noted(seq))
		if m, found, err := readMark(path); err != nil || !found || m != markOf(noted(seq)) || len(fileBytes(t, path+".mark")) != places*placeSize {
			t.Fatalf("after row %d the mark is %+v, %v, %v", seq, m, found, err)
		}
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
