package main

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"aliquot/bridge/ledger"
)

// sixtyDays makes a site with a ledger that takes some time to copy.
func sixtyDays(t *testing.T) (config, path string, rows int64) {
	t.Helper()
	q := newQuay(t, nil, "copied")
	return q.write(t, "site.yaml"), q.Ledger, agedLedger(t, q.Ledger, q.now, 60)
}

// holds fails unless a file is a whole ledger with so many rows.
func holds(t *testing.T, path string, rows int64) {
	t.Helper()
	if c, err := ledger.Look(path); err != nil || c.Rows != rows {
		t.Errorf("%s holds %+v, %v; want %d rows", filepath.Base(path), c, err, rows)
	}
}

// TestH40_BackupKilled kills copying in its middle: there is no copy, or a whole one, and the next is made as if nothing
// had been.
func TestH40_BackupKilled(t *testing.T) {
	t.Parallel()
	config, path, rows := sixtyDays(t)
	cut := 0
	for i := range 6 {
		file := filepath.Join(t.TempDir(), "copy.db")
		p := start(t, "a copy", "", "backup", "-c", config, file)
		awaitPart(t, p, file+".part")
		<-time.After(time.Duration(i) * 2 * time.Millisecond)
		p.kill()
		p.wait()
		args := []string{"backup", "-c", config, file}
		if _, err := os.Stat(file); err == nil {
			holds(t, file, rows)
			args = append(args, "--replace")
		} else {
			cut++
		}
		must(t, args...)
		holds(t, file, rows)
		if _, err := os.Stat(file + ".part"); !os.IsNotExist(err) {
			t.Errorf("half a copy is left: %v", err)
		}
	}
	if cut == 0 {
		t.Error("no copy was cut in its middle: the test shows nothing")
	}
	holds(t, path, rows)
}

// awaitPart waits until a copy is being written, or its process has ended.
func awaitPart(t *testing.T, p *process, part string) {
	t.Helper()
	for end := time.After(time.Minute); ; {
		if _, err := os.Stat(part); err == nil {
			return
		}
		select {
		case <-p.ended:
			return
		case <-end:
			t.Fatalf("%s is not begun", part)
		case <-time.After(100 * time.Microsecond):
		}
	}
}

// TestH40_NoRoomForACopy lets files grow to 100 KiB only, as on a full disk: neither a copy nor half of one is left, and
// the ledger that is there stays the ledger.
func TestH40_NoRoomForACopy(t *testing.T) {
	t.Parallel()
	config, path, rows := sixtyDays(t)
	small := []string{"sh", "-c", `ulimit -f 200; exec "$0" "$@"`} // blocks of 512 bytes
	file := filepath.Join(t.TempDir(), "copy.db")
	p := startUnder(t, small, "a copy without room", "", "backup", "-c", config, file)
	if code := p.code(); code != exitFailed || !p.said("copying the ledger") {
		t.Errorf("a copy without room ended with code %d", code)
	}
	for _, name := range []string{file, file + ".part"} {
		if _, err := os.Stat(name); !os.IsNotExist(err) {
			t.Errorf("%s is left behind: %v", filepath.Base(name), err)
		}
	}
	must(t, "backup", "-c", config, file)
	p = startUnder(t, small, "a restoration without room", "", "restore", "-c", config, file)
	if code := p.code(); code != exitLedger || !p.said("restoring the ledger") {
		t.Errorf("a restoration without room ended with code %d", code)
	}
	holds(t, path, rows)
	must(t, "restore", "-c", config, file)
	holds(t, path, rows)
}
