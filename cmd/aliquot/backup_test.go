package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"aliquot/bridge/ledger"
	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
)

// TestH40_BackupAndRestore copies a ledger beside a running service in the middle of a run, and puts the copy back: the
// service then doses nothing until the keeper accepts it.
func TestH40_BackupAndRestore(t *testing.T) {
	t.Parallel()
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), "copied")
	r.commission()
	r.nodes()
	p := r.daemon("")
	r.owns(p)
	file := filepath.Join(t.TempDir(), "copied-ledger.db")
	mark := r.spy.mark()
	running := r.ask(machine.VerbRun, `"channel":"alk","volume_ml":3,"kind":"test"`)
	must(t, "backup", "-c", r.config, file)
	r.awaitEnd(mark, runOf(t, running), machine.Finished)

	got := command(t, "backup", "-c", r.config, file)
	if got.code != exitFailed || !contains(got.err, "--replace") {
		t.Errorf("a copy over a copy: %s", got)
	}
	r.runsAgain(p)
	var first, second ledgerCopy
	first.read(t, command(t, "backup", "-c", r.config, "--format", "json", file+".2"))
	r.runsAgain(p)
	second.read(t, command(t, "backup", "-c", r.config, "--format", "json", "--replace", file+".2"))
	if first.Site != r.quay.Site || first.Newest == nil || second.Rows <= first.Rows || second.Bytes == 0 {
		t.Errorf("copies hold %+v and, two runs later, %+v", first, second)
	}

	got = command(t, "restore", "-c", r.config, file)
	if got.code != exitLedger || !contains(got.err, "stop that one first") {
		t.Errorf("a restoration beside the service: %s", got)
	}
	r.runsAgain(p)
	p.terminate()
	if code := p.code(); code != exitOK {
		t.Fatalf("the service ended with code %d", code)
	}
	before := len(r.rows())
	said := must(t, "restore", "-c", r.config, file)
	for _, word := range []string{"What stood there is kept: " + r.quay.Ledger, "aliquot accept ledger", "24 h"} {
		if !contains(said, word) {
			t.Errorf("a restoration must say %q: %s", word, said)
		}
	}
	if now := len(r.rows()); now >= before {
		t.Errorf("after the restoration there are %d rows, before it %d", now, before)
	}
	kept, err := filepath.Glob(r.quay.Ledger + ".until-*Z")
	if err != nil || len(kept) != 1 {
		t.Fatalf("kept: %v, %v", kept, err)
	}
	if c, err := ledger.Look(kept[0]); err != nil || c.Rows != int64(before) {
		t.Errorf("what is kept holds %+v, %v; want %d rows", c, err, before)
	}
	r.acceptsRestored()
}

func (c *ledgerCopy) read(t *testing.T, r result) {
	t.Helper()
	if err := json.Unmarshal([]byte(r.out), c); err != nil {
		t.Fatalf("%v: %s", err, r)
	}
}

// acceptsRestored starts the service on a copy: it doses only once the keeper says so.
func (r *rig) acceptsRestored() {
	r.t.Helper()
	// The copy does not know the service that ran since, whose owner record would count as live for some time more.
	r.takeOver()
	p := r.daemon("")
	r.owns(p)
	const ask = `"channel":"alk","volume_ml":1,"kind":"test"`
	if a := r.ask("run", ask); a.Code != "ledger_restored" {
		r.t.Errorf("a run on a restored ledger: %s (%s)", a.Text, a.Code)
	}
	r.spy.await(r.from, "the alert", on(r.topic("alert/lockout-all-ledger_restored"), `"critical"`))
	if a := r.ask("accept", `"what":"ledger"`); !a.OK {
		r.t.Errorf("accepting the ledger: %s (%s)", a.Text, a.Code)
	}
	r.runsAgain(p)
	r.checkWire()
}

func TestBackupThatFails(t *testing.T) {
	config, path := newLedger(t)
	for _, c := range []struct {
		name string
		args []string
		code int
		word string
	}{
		{"into nowhere", []string{"backup", filepath.Join(t.TempDir(), "no", "where.db")}, exitFailed, "no such file or directory"},
		{"of no name", []string{"backup"}, exitUsage, "<file>"},
		{"from nowhere", []string{"restore", filepath.Join(t.TempDir(), "nothing.db")}, exitUsage, "nothing.db"},
		{"from a text", []string{"restore", writeFile(t, "letter.txt", "a letter to a friend")}, exitLedger, "is not a ledger"},
		{"from itself", []string{"restore", path}, exitLedger, "name a copy"},
	} {
		t.Run(c.name, func(t *testing.T) {
			before, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			got := command(t, append(c.args, "-c", config)...)
			if got.code != c.code || !contains(got.err, c.word) {
				t.Errorf("must end with code %d and say %q: %s", c.code, c.word, got)
			}
			if after, _ := os.ReadFile(path); string(after) != string(before) {
				t.Error("the ledger was changed")
			}
		})
	}
}
