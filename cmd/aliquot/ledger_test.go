package main

import (
	"database/sql"
	"fmt"
	"os"
	"strings"
	"testing"

	"aliquot/bridge/mqtt/mosquittotest"
)

// newLedger makes a configuration and a ledger with many rows, without a broker.
func newLedger(t *testing.T) (config, path string) {
	t.Helper()
	q := newQuay(t, nil, "ledger")
	config = q.write(t, "site.yaml")
	var b strings.Builder
	for day := range 200 {
		fmt.Fprintf(&b, `{"time":"2026-01-01T%02d:%02d:00Z","type":"note","system":"quay","kind":"other","text":"look number %d"}`+"\n", day/60, day%60, day)
	}
	must(t, "import", "-c", config, writeFile(t, "history.jsonl", b.String()))
	return config, q.Ledger
}

// TestLedgerRefused starts on ledgers that must not be used (H-40, H-44): the exit code tells a service manager
// that starting again does not help, the file stays as it is, and the word is clear.
func TestLedgerRefused(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		spoil  func(t *testing.T, path string)
		word   string
		advice string
	}{
		{"newer", newer, "was written by a newer version", "install that version again"},
		{"damaged", damaged, "the ledger is damaged", "restore the last good copy"},
		{"foreign", foreign, "is not a ledger", "move it away"},
		{"folder", folder, "is a directory", "must be a file"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			config, path := newLedger(t)
			c.spoil(t, path)
			before, _ := os.ReadFile(path)
			for _, args := range [][]string{{"run"}, {"history"}, {"import", writeFile(t, "none.jsonl", "")}} {
				got := command(t, append(args, "-c", config)...)
				if got.code != exitLedger || !contains(got.err, c.word) || !contains(got.err, c.advice) {
					t.Errorf("%s: must end with code %d, %q and %q: %s", args[0], exitLedger, c.word, c.advice, got)
				}
			}
			if after, _ := os.ReadFile(path); string(after) != string(before) {
				t.Error("the file was changed")
			}
		})
	}
}

func newer(t *testing.T, path string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for _, statement := range []string{"UPDATE ledger_schema SET number = 99", "PRAGMA wal_checkpoint(TRUNCATE)"} {
		if _, err := db.Exec(statement); err != nil {
			t.Fatal(err)
		}
	}
}

// damaged overwrites a page in the middle, as a failing card does.
func damaged(t *testing.T, path string) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		t.Fatal(err)
	}
	const page = 4096
	if info.Size() < 8*page {
		t.Fatalf("the ledger has %d bytes, too few to damage one page of many", info.Size())
	}
	if _, err := f.WriteAt([]byte(strings.Repeat("\xa5", page)), info.Size()/page/2*page); err != nil {
		t.Fatal(err)
	}
}

func foreign(t *testing.T, path string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(strings.Repeat("a letter to a friend\n", 200)), 0o600); err != nil {
		t.Fatal(err)
	}
}

func folder(t *testing.T, path string) {
	t.Helper()
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(path, 0o700); err != nil {
		t.Fatal(err)
	}
}

// TestLedgerRestored puts yesterday's copy in the place of the ledger (H-40): nothing runs until the keeper accepts
// it as it is.
func TestLedgerRestored(t *testing.T) {
	t.Parallel()
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), "restored")
	r.commission()
	r.nodes()
	copied, err := os.ReadFile(r.quay.Ledger)
	if err != nil {
		t.Fatal(err)
	}
	p := r.daemon("")
	r.owns(p)
	r.runsAgain(p)
	p.terminate()
	if code := p.code(); code != exitOK {
		t.Fatalf("the service ended with code %d", code)
	}
	if err := os.WriteFile(r.quay.Ledger, copied, 0o600); err != nil {
		t.Fatal(err)
	}
	r.acceptsRestored()
}
