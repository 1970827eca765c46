package ledger

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
)

func TestRowsComeBackAsTheyWereStored(t *testing.T) {
	path, want := newPath(t), varied()
	l := mustOpen(t, path)
	mustAppend(t, l, want[:3]...)
	mustAppend(t, l, want[3:]...)
	wantRows(t, l, want)
	mustClose(t, l)

	again := mustOpen(t, path)
	wantRows(t, again, want)
	if last, ok := again.Last(); !ok || last.Seq != int64(len(want)) || last.Body != want[len(want)-1].Body {
		t.Fatalf("Last() = %+v, %v; want row %d", last, ok, len(want))
	}
	if r := again.Report(); r != (Report{Rows: int64(len(want)), MarkSeq: int64(len(want))}) {
		t.Fatalf("Report() = %+v; want all rows and nothing amiss", r)
	}
}

func TestOpenNames(t *testing.T) {
	for _, name := range []string{"ledger.db", "with space.db", "with?mark.db", "with#hash.db", "100%41.db", "ütf-8.db"} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), name)
			l := mustOpen(t, path)
			mustAppend(t, l, noted(1))
			if _, err := os.Stat(path); err != nil {
				t.Fatalf("the file is not where it was asked for: %v", err)
			}
		})
	}
}

func TestOpenRefusesBadPaths(t *testing.T) {
	dir := t.TempDir()
	for name, path := range map[string]string{"no path": "", "a directory": dir, "no such directory": filepath.Join(dir, "gone", "ledger.db")} {
		t.Run(name, func(t *testing.T) {
			if l, err := Open(Options{Path: path}); err == nil {
				t.Fatalf("Open(%q) = %v; want an error", path, l)
			}
		})
	}
}

func TestFilesArePrivate(t *testing.T) {
	path := newPath(t)
	l := mustOpen(t, path)
	mustAppend(t, l, noted(1))
	for _, suffix := range []string{"", "-wal", "-shm", ".lock", ".mark"} {
		info, err := os.Stat(path + suffix)
		if err != nil {
			t.Fatal(err)
		}
		if info.Mode().Perm() != 0o600 {
			t.Errorf("%s has mode %o, want 600", filepath.Base(path)+suffix, info.Mode().Perm())
		}
	}
}

func TestWideModeOfARestoredFileIsNarrowed(t *testing.T) {
	path := filled(t, 1)
	if err := os.Chmod(path, 0o664); err != nil {
		t.Fatal(err)
	}
	mustOpen(t, path)
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Fatalf("mode %v, %v; want 600", info.Mode(), err)
	}
}

func TestH07SecondUseIsRefused(t *testing.T) {
	path := newPath(t)
	first := mustOpen(t, path)
	link := filepath.Join(t.TempDir(), "other-name.db")
	if err := os.Symlink(path, link); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{path, link} {
		_, err := Open(Options{Path: name})
		if !errors.Is(err, ErrInUse) || !strings.Contains(err.Error(), fmt.Sprint("process ", os.Getpid())) {
			t.Fatalf("Open of a ledger in use: %v; want ErrInUse with this process's number", err)
		}
	}
	mustAppend(t, first, noted(1))
	mustClose(t, first)
	mustAppend(t, mustOpen(t, path), noted(2))
}

func TestReadingBesideTheDaemon(t *testing.T) {
	path := newPath(t)
	if _, err := Open(Options{Path: path, ReadOnly: true}); !errors.Is(err, os.ErrNotExist) {
		t.Fatalf("reading a ledger that is not there: %v; want that it does not exist", err)
	}
	daemon := mustOpen(t, path)
	mustAppend(t, daemon, notes(1, 3)...)
	reader, err := Open(Options{Path: path, ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	mustAppend(t, daemon, noted(4))
	wantRows(t, reader, notes(1, 4))
	if err := reader.Append([]machine.Row{noted(5)}); !errors.Is(err, ErrReadOnly) {
		t.Fatalf("Append to a ledger opened for reading: %v; want ErrReadOnly", err)
	}
	if err := reader.SetRetainedTopics([]string{"a/b"}); !errors.Is(err, ErrReadOnly) {
		t.Fatalf("SetRetainedTopics on a ledger opened for reading: %v; want ErrReadOnly", err)
	}
	mustClose(t, reader)
	mustAppend(t, daemon, noted(5))
	mustClose(t, daemon)
	wantRows(t, mustOpen(t, path), notes(1, 5))
}

func TestCloseTwiceAndUseAfterwards(t *testing.T) {
	path := newPath(t)
	l := mustOpen(t, path)
	mustAppend(t, l, noted(1))
	mustClose(t, l)
	mustClose(t, l)
	if info, err := os.Stat(path + "-wal"); err == nil && info.Size() > 0 {
		t.Errorf("the -wal file still has %d bytes after Close", info.Size())
	}
	if err := l.Append([]machine.Row{noted(2)}); !errors.Is(err, ErrClosed) {
		t.Errorf("Append after Close: %v; want ErrClosed", err)
	}
	if err := l.Each(1, func(machine.Row) error { return nil }); !errors.Is(err, ErrClosed) {
		t.Errorf("Each after Close: %v; want ErrClosed", err)
	}
	if _, err := l.RetainedTopics(); !errors.Is(err, ErrClosed) {
		t.Errorf("RetainedTopics after Close: %v; want ErrClosed", err)
	}
	if err := l.Backup(path + ".copy"); !errors.Is(err, ErrClosed) {
		t.Errorf("Backup after Close: %v; want ErrClosed", err)
	}
}

func TestEachStopsAndStartsWhereAsked(t *testing.T) {
	l := mustOpen(t, newPath(t))
	mustAppend(t, l, notes(1, 5)...)
	stop := errors.New("enough")
	var seen []int64
	err := l.Each(3, func(r machine.Row) error {
		seen = append(seen, r.Seq)
		if r.Seq == 4 {
			return stop
		}
		return nil
	})
	if !errors.Is(err, stop) || fmt.Sprint(seen) != "[3 4]" {
		t.Fatalf("Each(3) saw %v and gave %v; want [3 4] and the function's error", seen, err)
	}
	if err := l.Each(6, func(machine.Row) error { return stop }); err != nil {
		t.Fatalf("Each behind the last row: %v; want nothing", err)
	}
}

func TestEachSeesTheLedgerAsItWasAndMayAppend(t *testing.T) {
	l := mustOpen(t, newPath(t))
	mustAppend(t, l, notes(1, 3)...)
	seen := 0
	err := l.Each(1, func(machine.Row) error {
		seen++
		last, _ := l.Last()
		return l.Append([]machine.Row{noted(last.Seq + 1)})
	})
	if err != nil || seen != 3 {
		t.Fatalf("Each saw %d rows, %v; want 3", seen, err)
	}
	wantRows(t, l, notes(1, 6))
}

func TestRetainedTopics(t *testing.T) {
	path := newPath(t)
	l := mustOpen(t, path)
	if topics, err := l.RetainedTopics(); err != nil || len(topics) != 0 {
		t.Fatalf("RetainedTopics of a new ledger = %v, %v; want none", topics, err)
	}
	for _, set := range [][]string{{"b/c", "a/b", "b/c"}, {"z"}} {
		if err := l.SetRetainedTopics(set); err != nil {
			t.Fatal(err)
		}
	}
	if err := l.SetRetainedTopics([]string{"x/y", "a/b", "x/y"}); err != nil {
		t.Fatal(err)
	}
	mustClose(t, l)
	again := mustOpen(t, path)
	if topics, err := again.RetainedTopics(); err != nil || fmt.Sprint(topics) != "[a/b x/y]" {
		t.Fatalf("RetainedTopics = %v, %v; want [a/b x/y]", topics, err)
	}
	if err := again.SetRetainedTopics([]string{""}); err == nil || !again.Failed() {
		t.Fatalf("an empty topic was stored: %v", err)
	}
}

func TestBackupIsAWholeLedger(t *testing.T) {
	path := newPath(t)
	l := mustOpen(t, path)
	mustAppend(t, l, varied()...)
	copied := filepath.Join(t.TempDir(), "copy.db")
	writeFile(t, copied, "an older copy")
	if err := l.Backup(copied); err != nil {
		t.Fatal(err)
	}
	mustAppend(t, l, noted(int64(len(varied()))+1))
	restored := mustOpen(t, copied)
	wantRows(t, restored, varied())
	if r := restored.Report(); !r.MarkMissing || r.NewSite {
		t.Fatalf("Report of a bare copy = %+v; want MarkMissing", r)
	}
}

func TestFirstSince(t *testing.T) {
	l := mustOpen(t, newPath(t))
	if n, err := l.FirstSince(start); err != nil || n != 1 {
		t.Errorf("in an empty ledger FirstSince = %d, %v", n, err)
	}
	mustAppend(t, l, notes(1, 100)...) // one each second, the n-th n seconds after the start
	for _, c := range []struct {
		after time.Duration
		want  int64
	}{{-time.Hour, 1}, {50 * time.Second, 50}, {50*time.Second + 400*time.Millisecond, 51}, {100 * time.Second, 100}, {103 * time.Second, 101}} {
		// It may begin up to two seconds early: nothing of the moment is left out.
		if n, err := l.FirstSince(start.Add(c.after)); err != nil || n > c.want || n < min(c.want-2, 101) && c.want > 2 {
			t.Errorf("FirstSince %s after the start = %d, %v; want %d or two earlier", c.after, n, err, c.want)
		}
	}
	mustClose(t, l)
	if _, err := l.FirstSince(start); !errors.Is(err, ErrClosed) {
		t.Errorf("of a closed ledger: %v", err)
	}
}
