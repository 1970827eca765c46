//go:build !race

// Under the race detector this takes minutes, and no goroutine is at work here.

package ledger

import (
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var (
	imagesWanted = flag.Int("images", 150, "how many images of power cuts to open")
	imagesSeed   = flag.Uint64("images-seed", 1, "which of them")
)

// rowsTraced makes SQLite fold its -wal file into the database in the middle, which it does after 1000 pages.
const rowsTraced = 2700

// traced has a child write a ledger from nothing, and gives its directory and the calls that it made.
func traced(t *testing.T) (dir string, calls []call) {
	t.Helper()
	dir = t.TempDir()
	path, log := filepath.Join(dir, "ledger.db"), filepath.Join(t.TempDir(), "calls")
	const which = "trace=?open,openat,pwrite64,write,fsync,fdatasync,ftruncate,?truncate,?rename,renameat,renameat2,?unlink,unlinkat"
	c := startChild(t, strace(t, "-y", "-xx", "-s", "1000000", "-e", which, "-o", log), childPath+"="+path, fmt.Sprint(childRows, "=", rowsTraced))
	if err := c.finish(); err != nil || c.acked != rowsTraced {
		t.Fatalf("the child acknowledged %d rows: %v, %q", c.acked, err, c.said)
	}
	calls, err := readCalls(fileBytes(t, log))
	if err != nil {
		t.Fatal(err)
	}
	return dir, calls
}

// moment is a place in the trace at which the power may go, with the last row that was acknowledged before.
type moment struct {
	index int
	acked int64
	rare  bool // while the ledger is made, folded or closed
}

// moments lists all places, and checks that the trace holds what the test is about.
func moments(t *testing.T, dir string, calls []call) (list []moment) {
	t.Helper()
	d := &disk{dir: dir}
	var acked int64
	folds := 0
	for i, c := range calls {
		if c.name == "write" && strings.HasPrefix(string(c.data), "ack ") {
			if _, err := fmt.Sscanf(string(c.data), "ack %d", &acked); err != nil {
				t.Fatal(err)
			}
		}
		if !d.do(c) {
			continue
		}
		main := filepath.Base(c.paths[0]) == "ledger.db"
		if main && acked > 0 && acked < rowsTraced {
			folds++
		}
		list = append(list, moment{i, acked, main || acked == 0 || acked == rowsTraced})
	}
	for name, n := range d.names(len(d.since)) {
		n.sync()
		if want := fileBytes(t, filepath.Join(dir, name)); string(n.synced) != want {
			t.Fatalf("by the trace %s has %d bytes that are not the %d in the file: the model is wrong", name, len(n.synced), len(want))
		}
	}
	if acked != rowsTraced || folds == 0 {
		t.Fatalf("the trace acknowledges %d rows and has %d writes to the database in its middle", acked, folds)
	}
	return list
}

// chosen picks moments: half of them rare ones. The result is in the order of the trace.
func chosen(list []moment, count int, random *rand.Rand) map[int]moment {
	out := map[int]moment{}
	var rare []moment
	for _, m := range list {
		if m.rare {
			rare = append(rare, m)
		}
	}
	for range count {
		m := list[random.IntN(len(list))]
		if random.IntN(2) == 0 {
			m = rare[random.IntN(len(rare))]
		}
		out[m.index] = m
	}
	return out
}

// TestH06_INV4_PowerCuts lets the power go between any two system calls of a process that writes a ledger, with any
// part of what was not synced lost, torn or reordered: whatever is left opens as a whole ledger, and every row that was
// acknowledged before is in it.
func TestH06_INV4_PowerCuts(t *testing.T) {
	dir, calls := traced(t)
	list := moments(t, dir, calls)
	random := rand.New(rand.NewPCG(*imagesSeed, 6))
	picked := chosen(list, *imagesWanted/3, random)
	opened, same := 0, map[string]bool{}
	d := &disk{dir: dir}
	for i, c := range calls {
		d.do(c)
		m, ok := picked[i]
		if !ok {
			continue
		}
		for how := range cuts {
			left := d.cut(how, random)
			key := fmt.Sprint(left.key(), m.acked)
			if same[key] {
				continue
			}
			same[key] = true
			opened++
			if err := opens(t, left, m.acked); err != nil {
				t.Errorf("power cut after call %d (%s of %s), of what was not synced %s is left, images-seed %d: %v", i, c.name, filepath.Base(c.paths[0]), cuts[how].name, *imagesSeed, err)
			}
		}
	}
	t.Run("are noticed where syncs do nothing", func(t *testing.T) { checkLazySyncs(t, dir, calls) })
	t.Logf("%d different images of power cuts at %d of %d moments opened", opened, len(picked), len(list))
}

// checkLazySyncs shows that the test above can fail: where syncs of one kind do nothing, rows get lost.
func checkLazySyncs(t *testing.T, dir string, calls []call) {
	for _, lazy := range []struct{ name, file string }{{"of the -wal file", "ledger.db-wal"}, {"of the directory", filepath.Base(dir)}, {"of the database", "ledger.db"}} {
		d, random := &disk{dir: dir}, rand.New(rand.NewPCG(1, 1))
		var acked int64
		failed := false
		for i, c := range calls {
			if strings.HasSuffix(c.name, "sync") && filepath.Base(c.paths[0]) == lazy.file {
				continue
			}
			if c.name == "write" {
				_, _ = fmt.Sscanf(string(c.data), "ack %d", &acked)
			}
			if d.do(c) && i%197 == 0 && !failed {
				failed = opens(t, d.cut(0, random), acked) != nil
			}
		}
		if !failed && opens(t, d.cut(0, random), acked) == nil {
			t.Errorf("syncs %s do nothing, and nobody notices", lazy.name)
		}
	}
}

// opens writes an image out, opens it as a ledger and appends to it.
func opens(t *testing.T, left image, acked int64) error {
	t.Helper()
	dir, err := os.MkdirTemp(memory(), "cut")
	if err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(dir)
	for name, content := range left {
		writeFile(t, filepath.Join(dir, name), string(content))
	}
	l, err := Open(Options{Path: filepath.Join(dir, "ledger.db"), MinFreeBytes: 1})
	if err != nil {
		return err
	}
	defer l.Close()
	stored, err := checkNotes(l)
	if err != nil {
		return err
	}
	if stored < acked || stored > acked+batchSize {
		return fmt.Errorf("%d rows are stored, %d were acknowledged", stored, acked)
	}
	if r := l.Report(); r.BehindMark || r.MarkMissing {
		return fmt.Errorf("a false alarm: %+v", r)
	}
	if err := l.Append(notes(stored+1, stored+1)); err != nil {
		return fmt.Errorf("storing on: %w", err)
	}
	return l.Close()
}

// TestH06_PowerCutInTheFirstStart leaves what the very first start leaves when the power goes while SQLite makes the first
// page: the journal that undoes it. The service puts it right, and whoever only reads is told so.
func TestH06_PowerCutInTheFirstStart(t *testing.T) {
	path := newPath(t)
	half := func(statement string) {
		foreignDatabase(t, path, statement)
		page, undo := fileBytes(t, path), make([]byte, sector)
		// The journal of a database that was empty: magic, no pages, salt, a size of 0 pages, sectors of 512, pages of 4096.
		copy(undo, "\xd9\xd5\x05\xf9\x20\xa1\x63\xd7\x00\x00\x00\x00\x77\x9d\x67\x8d\x00\x00\x00\x00\x00\x00\x02\x00\x00\x00\x10\x00")
		writeFile(t, path, page)
		writeFile(t, path+"-journal", string(undo))
	}
	half("PRAGMA user_version = 1")
	if _, err := Open(Options{Path: path, ReadOnly: true}); err == nil || !strings.Contains(err.Error(), "start the daemon once") {
		t.Errorf("reading it: %v; want the way out", err)
	}
	l := mustOpen(t, path)
	mustAppend(t, l, notes(1, 2)...)
	mustClose(t, l)

	// No more of the first page than some bytes came so far.
	path = newPath(t)
	half("PRAGMA user_version = 1")
	whole := fileBytes(t, path)
	writeFile(t, path, whole[:76])
	if _, err := Open(Options{Path: path, ReadOnly: true}); err == nil || !strings.Contains(err.Error(), "start the daemon once") {
		t.Errorf("reading a torn first page: %v; want the way out", err)
	}
	l = mustOpen(t, path)
	mustAppend(t, l, notes(1, 2)...)
	mustClose(t, l)
	// Bytes that are no beginning of a database are somebody's, whatever lies beside them.
	path = newPath(t)
	half("PRAGMA user_version = 1")
	writeFile(t, path, "a shopping list")
	if _, err := Open(Options{Path: path}); !errors.Is(err, ErrForeign) {
		t.Errorf("opening a text: %v; want that it is not a ledger", err)
	}
	if fileBytes(t, path) != "a shopping list" {
		t.Error("a text that was refused was changed")
	}

	// A larger database with such a journal is somebody else's, or damaged: it is left alone.
	path = newPath(t)
	half("CREATE TABLE readings (v)")
	before := fileBytes(t, path)
	if _, err := Open(Options{Path: path}); err == nil {
		t.Error("a database with more than a first page was rolled back")
	}
	if fileBytes(t, path) != before {
		t.Error("a database that was refused was changed")
	}
}
