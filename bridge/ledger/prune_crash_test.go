package ledger

import (
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// pruneChild prunes, says so, and ends.
func pruneChild(path string, out io.Writer) error {
	l, err := Open(Options{Path: path, MinFreeBytes: 1})
	if err != nil {
		return err
	}
	fmt.Fprintln(out, "ack 1")
	p := small(l)
	_, err = p.run(p.steps())
	fmt.Fprintln(out, "ack 2")
	return errors.Join(err, l.Close())
}

func TestPruneKilledAtAnyPoint(t *testing.T) {
	whole, rows := oldLedger(t)
	random := rand.New(rand.NewPCG(3, 20270301))
	copied := func() string {
		path := newPath(t)
		for _, end := range []string{"", ".mark"} {
			writeFile(t, path+end, fileBytes(t, whole+end))
		}
		return path
	}
	c := startChild(t, self(), childPath+"="+copied(), childPrune+"=1")
	c.read(1)
	began := time.Now()
	c.read(1)
	takes := time.Since(began)
	if err := c.finish(); err != nil {
		t.Fatalf("%v: %q", err, c.said)
	}
	before, after := 0, 0
	for i := range 20 {
		path := copied()
		c := startChild(t, self(), childPath+"="+path, childPrune+"=1")
		c.read(1)
		if i == 0 {
			c.read(1) // one that dies when all is done
		} else {
			time.Sleep(time.Duration(random.Int64N(int64(takes) * 5 / 4)))
		}
		_ = c.cmd.Process.Kill() // it may have ended
		_ = c.finish()
		if wantPruned(t, path, rows) < len(rows) {
			after++
		} else {
			before++
		}
	}
	t.Logf("%d times the old ledger, %d times the new one; a pruning takes %v", before, after, takes)
	if before == 0 || after == 0 {
		t.Error("the moments of death do not lie on both sides: the test shows little")
	}
}

// A disk that fails at any call leaves the old ledger or the new one.
func TestH39_PruneOnABadDisk(t *testing.T) {
	whole, rows := oldLedger(t)
	for _, call := range []string{"pwrite64", "write", "fsync,fdatasync", "rename,renameat,renameat2"} {
		for _, n := range []int{1, 2, 3, 8} {
			t.Run(fmt.Sprint(call, " ", n), func(t *testing.T) {
				path := newPath(t)
				for _, end := range []string{"", ".mark"} {
					writeFile(t, path+end, fileBytes(t, whole+end))
				}
				file := path + ".rows-1-1500.jsonl.gz"
				inject := fmt.Sprintf("inject=%s:error=EIO:when=%d+", call, n)
				c := startChild(t, strace(t, "-e", "trace="+call, "-e", inject, "-o", os.DevNull, "-P", path, "-P", path+"-wal", "-P", file, "-P", file+".part", "-P", filepath.Dir(path)),
					childPath+"="+path, childPrune+"=1")
				_ = c.finish()
				wantPruned(t, path, rows)
			})
		}
	}
}

// The file is on disk under its name before the database is told to let anything go.
func TestPruneSyncsTheFileFirst(t *testing.T) {
	path, _ := oldLedger(t)
	log := filepath.Join(t.TempDir(), "calls")
	c := startChild(t, strace(t, "-y", "-e", "trace=pwrite64,write,fsync,fdatasync,rename,renameat,renameat2", "-o", log), childPath+"="+path, childPrune+"=1")
	if err := c.finish(); err != nil {
		t.Fatalf("%v: %q", err, c.said)
	}
	var order []string
	for line := range strings.Lines(fileBytes(t, log)) {
		what := ""
		switch {
		case strings.Contains(line, "sync(") && strings.Contains(line, ".gz.part"):
			what = "file synced"
		case strings.Contains(line, "rename") && strings.Contains(line, ".gz.part"):
			what = "named"
		case strings.Contains(line, "sync(") && strings.Contains(line, "<"+filepath.Dir(path)+">") && len(order) == 2:
			what = "folder synced"
		case strings.Contains(line, "pwrite64(") && strings.Contains(line, "ledger.db-wal") && len(order) > 0:
			what = "database"
		}
		if what != "" && (len(order) == 0 || order[len(order)-1] != what) {
			order = append(order, what)
		}
	}
	if got := strings.Join(order, ", "); got != "file synced, named, folder synced, database" {
		t.Errorf("the order is %s", got)
	}
}
