package ledger

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var rewrite = flag.Bool("rewrite", false, "write the golden ledger of the present schema anew")

// goldens are ledgers of every layout; -rewrite makes the newest.
var goldens = []string{"testdata/schema-1.db", "testdata/schema-2.db", "testdata/schema-3.db", "testdata/schema-4.db"}

// A ledger of every released schema is kept in testdata; it must open and read the same for ever.
func TestH44GoldenLedger(t *testing.T) {
	if *rewrite {
		path := newPath(t)
		l := mustOpen(t, path)
		mustAppend(t, l, varied()...)
		if err := l.SetRetainedTopics([]string{"aliquot/harbour-shed/about"}); err != nil {
			t.Fatal(err)
		}
		mustClose(t, l)
		writeFile(t, goldens[len(goldens)-1], fileBytes(t, path))
	}
	if len(goldens) != len(migrations) {
		t.Fatalf("%d golden ledgers for %d layouts", len(goldens), len(migrations))
	}
	for i, golden := range goldens {
		path := newPath(t)
		writeFile(t, path, fileBytes(t, golden))
		l := mustOpen(t, path)
		wantRows(t, l, varied())
		if topics, err := l.RetainedTopics(); err != nil || len(topics) != 1 {
			t.Fatalf("%s: RetainedTopics = %v, %v; want one", golden, topics, err)
		}
		if schema, err := readSchema(l.write); err != nil || schema != len(migrations) {
			t.Fatalf("%s: layout %d after opening, %v; want %d", golden, schema, err, len(migrations))
		}
		_, err := os.Stat(fmt.Sprintf("%s.schema%d.bak", path, i+1))
		if older := i+1 < len(migrations); older != (err == nil) {
			t.Fatalf("%s: a copy from before the update: %v; want one only of an older layout", golden, err)
		}
	}
}

var nextSteps = append(migrations[:len(migrations):len(migrations)], "CREATE TABLE extra (v TEXT) STRICT")

func TestH44UpdateKeepsTheRowsAndACopy(t *testing.T) {
	path := filled(t, 5)
	writeFile(t, path+".schema4.bak", "of an earlier attempt")
	l, err := open(Options{Path: path}, nextSteps)
	if err != nil {
		t.Fatal(err)
	}
	wantRows(t, l, notes(1, 5))
	mustAppend(t, l, noted(6))
	mustClose(t, l)

	if _, err := Open(Options{Path: path}); !errors.Is(err, ErrNewer) || !strings.Contains(err.Error(), "layout 5") {
		t.Fatalf("Open by the older program = %v; want ErrNewer and the layout", err)
	}
	old := mustOpen(t, path+".schema4.bak")
	wantRows(t, old, notes(1, 5))
	if info, err := os.Stat(path + ".schema4.bak"); err != nil || info.Mode().Perm() != 0o600 {
		t.Fatalf("the copy has mode %v, %v; want 600", info.Mode(), err)
	}
}

func TestH44UpdateThatFailsChangesNothing(t *testing.T) {
	path := filled(t, 5)
	steps := append(nextSteps[:len(nextSteps):len(nextSteps)], "CREATE TABLE rows (again)")
	if l, err := open(Options{Path: path}, steps); err == nil || !strings.Contains(err.Error(), "layout 4 to 6") {
		t.Fatalf("open with a bad step = %v, %v; want an error that names both layouts", l, err)
	}
	l := mustOpen(t, path)
	wantRows(t, l, notes(1, 5))
	var extra int
	if err := l.read.QueryRow("SELECT count(*) FROM sqlite_schema WHERE name = 'extra'").Scan(&extra); err != nil || extra != 0 {
		t.Fatalf("a half-done update stayed: %d tables, %v", extra, err)
	}
}

func TestH44UpdateWithoutRoomForTheCopyIsNotTried(t *testing.T) {
	path := filled(t, 5)
	if err := os.MkdirAll(filepath.Join(path+".schema4.bak.part", "in the way"), 0o700); err != nil {
		t.Fatal(err)
	}
	if _, err := open(Options{Path: path}, nextSteps); err == nil || !strings.Contains(err.Error(), "copying the ledger before its update") {
		t.Fatalf("open = %v; want that the copy failed", err)
	}
	wantRows(t, mustOpen(t, path), notes(1, 5))
}

func TestReadingAnOlderLayoutAsksForTheDaemon(t *testing.T) {
	path := filled(t, 5)
	if _, err := open(Options{Path: path, ReadOnly: true}, nextSteps); !errors.Is(err, ErrOlder) {
		t.Fatalf("open for reading = %v; want ErrOlder", err)
	}
}

func TestSettingsAreReadBack(t *testing.T) {
	l := mustOpen(t, newPath(t))
	for _, s := range []struct{ name, want string }{{"journal_mode", "wal"}, {"synchronous", "2"}, {"busy_timeout", "5000"}, {"foreign_keys", "1"}} {
		var got string
		if err := l.write.QueryRowContext(context.Background(), "PRAGMA "+s.name).Scan(&got); err != nil || got != s.want {
			t.Errorf("PRAGMA %s = %q, %v; want %s", s.name, got, err, s.want)
		}
	}
	if err := checkSettings(l.write, []setting{{"synchronous", "OFF", "0"}}); err == nil || !strings.Contains(err.Error(), `synchronous is "2", must be "0"`) {
		t.Errorf("a setting that reads back otherwise gave %v", err)
	}
}

func TestOldestEngine(t *testing.T) {
	for version, ok := range map[string]bool{
		"3.51.2": false, "3.51.3": true, "3.51.4": true, "3.50.9": false, "3.52.0": true, "4.0.0": true, "2.99.99": false, "": false, "three": false,
	} {
		if err := checkEngine(version); (err == nil) != ok {
			t.Errorf("checkEngine(%q) = %v; want good %v", version, err, ok)
		}
	}
}
