package main

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
	"aliquot/safety"
)

// TestSecondDaemonSameLedger has a second service meet the first one's lock (H-07): it names the process and ends
// at once, as does an import.
func TestSecondDaemonSameLedger(t *testing.T) {
	t.Parallel()
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), "same-ledger")
	r.commission()
	first := r.daemon("")
	first.await("connected to the broker")
	second := r.daemon("")
	if code := second.code(); code != exitLedger {
		t.Errorf("a second service ended with code %d, must be %d", code, exitLedger)
	}
	holder := fmt.Sprintf("process %d", first.cmd.Process.Pid)
	if said := second.out.text(); !contains(said, holder) || !contains(said, "in use") {
		t.Errorf("a second service must say that the ledger is in use by %s, and says: %s", holder, said)
	}
	history := writeFile(t, "one.jsonl", `{"time":"2026-01-01T00:00:00Z","type":"primed","channel":"alk"}`+"\n")
	if got := command(t, "import", "-c", r.config, history); got.code != exitLedger || !contains(got.err, holder) {
		t.Errorf("an import beside the service: %s", got)
	}
	before := r.spy.mark()
	if a := r.ask(machine.VerbNote, `"kind":"other"`); !a.OK {
		t.Errorf("the first service is disturbed: %s (%s)", a.Text, a.Code)
	}
	if len(r.sentRuns(before)) > 0 {
		t.Error("a run was sent that nobody asked for")
	}
}

// TestSecondDaemonOtherLedger has a second service with a ledger of its own command the same site (H-07, INV-6).
// The broker lets only one of the two be connected at a time; the second must never run anything.
func TestSecondDaemonOtherLedger(t *testing.T) {
	t.Parallel()
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), "other-ledger")
	r.commission()
	r.nodes()
	first := r.daemon("")
	r.owns(first)
	r.runsAgain(first)

	copied := r.onAnotherLedger()
	copied.commission()
	second := copied.daemon("")
	second.await("another instance owns this site; dosing stops")
	r.askUntil("the second service's refusal", func(a reply) bool {
		return a.Code == string(safety.SecondOwner) && contains(a.Text, "another instance")
	})
	second.terminate()
	if code := second.code(); code != exitOK {
		t.Errorf("the second service ended with code %d", code)
	}
	// Its connections having been taken away, the first one waits for up to half a minute before it comes back.
	r.askUntil("the first service's return", func(a reply) bool { return a.Code == string(safety.Started) })

	if reserved, _ := copied.runs(); len(reserved) > 0 {
		t.Errorf("the second service reserved %d runs", len(reserved))
	}
	known := map[string]bool{}
	reserved, _ := r.runs()
	for _, run := range reserved {
		known[run.Run] = true
	}
	for _, c := range r.sentRuns(0) {
		if !known[c.ID] {
			t.Errorf("the run %s was on the wire and is not the first service's", c.ID)
		}
	}
	r.checkWire()
}

// TestCopyOfALedgerWaits has a second service start on a copy of the first one's ledger, as after a card was cloned, while
// the first lives (H-07, INV-6): the copy waits for the record's renewal, sees it, and never runs anything.
func TestCopyOfALedgerWaits(t *testing.T) {
	t.Parallel()
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), "copied")
	r.commission()
	r.nodes()
	first := r.daemon("")
	r.owns(first)
	r.runsAgain(first)

	copied := r.onACopy("", "-wal", ".mark")
	before, _ := copied.runs()
	second := copied.daemon("")
	second.awaitWithin("another instance owns this site; dosing stops", 3*patience)
	second.terminate()
	if code := second.code(); code != exitOK {
		t.Errorf("the service on the copy ended with code %d", code)
	}
	if second.said("this instance owns the site") {
		t.Error("the service on the copy took the site")
	}
	r.askUntil("the first service's return", func(a reply) bool { return a.Code == string(safety.Started) })
	if after, _ := copied.runs(); len(before) == 0 || len(after) != len(before) {
		t.Errorf("the copy had %d runs and has %d, must have as many as before", len(before), len(after))
	}
	r.checkWire()
}

// TestCrashWaitsForItsRecord has a service die: the next one gives its record the time to be renewed, and then doses.
func TestCrashWaitsForItsRecord(t *testing.T) {
	t.Parallel()
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), "crashed")
	r.commission()
	r.nodes()
	first := r.daemon("")
	r.owns(first)
	first.kill()
	first.wait()
	second := r.daemon("")
	second.await("connected to the broker")
	began := time.Now()
	if a := r.ask(machine.VerbRun, `"channel":"alk","volume_ml":1,"kind":"test"`); a.Code != string(safety.SecondOwner) || !contains(a.Text, "did not end in order") {
		t.Errorf("a run at once is answered: %s (%s)", a.Text, a.Code)
	}
	second.awaitWithin("this instance owns the site", 3*patience)
	if waited := time.Since(began); waited < 40*time.Second || waited > 60*time.Second {
		t.Errorf("the site was taken after %s, must be about 47 s", waited)
	}
	second.terminate()
	if code := second.code(); code != exitOK {
		t.Errorf("the second service ended with code %d", code)
	}
	// That one ended in order: the third need not wait.
	third := r.daemon("")
	r.owns(third)
	r.runsAgain(third)
}

// onAnotherLedger is the same site with a ledger of its own.
func (r *rig) onAnotherLedger() *rig {
	other := *r
	other.quay.Ledger = filepath.Join(r.t.TempDir(), "copy.db")
	other.config = other.quay.write(r.t, "site.yaml")
	return &other
}

// onACopy is the same site with a copy of the ledger, whose files end as named.
func (r *rig) onACopy(ends ...string) *rig {
	r.t.Helper()
	other := r.onAnotherLedger()
	for _, end := range ends {
		content, err := os.ReadFile(r.quay.Ledger + end)
		if err == nil {
			err = os.WriteFile(other.quay.Ledger+end, content, 0o600)
		}
		if err != nil {
			r.t.Fatal(err)
		}
	}
	return other
}

// TestH07_INV6_SecondDaemonOnACopy has a second service run on a copy of the ledger, as on a host that was cloned or restored
// (H-07, INV-6): whoever asks, and however often, only one of the two ever sends a run, and what truly leaves the outputs
// stays within the caps, which each of the two would keep only for itself.
func TestH07_INV6_SecondDaemonOnACopy(t *testing.T) {
	t.Parallel()
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), "on-a-copy", func(q *quay) { q.AlkPerDay = "5 mL" })
	r.commission()
	w := r.truly()
	first := r.daemon("")
	r.owns(first)
	r.runsAgain(first)
	first.terminate()
	first.wait()
	copied := r.onACopy("", ".mark")
	known, _ := r.runs()
	first = r.daemon("")
	r.owns(first)
	second := copied.daemon("")
	second.await("another instance owns this site; dosing stops")
	for range 12 {
		r.send(fmt.Sprintf("ref-%d", refs.Add(1)), machine.VerbClock, "")
		r.send(fmt.Sprintf("ref-%d", refs.Add(1)), machine.VerbRun, `"channel":"alk","volume_ml":1,"kind":"test"`)
		<-time.After(time.Second)
	}
	second.terminate()
	second.wait()
	r.askUntil("the first service's return", func(a reply) bool { return a.Code == string(safety.Started) || a.Code == string(safety.DayCap) })
	if mine, _ := copied.runs(); len(mine) != len(known) {
		t.Errorf("the second service reserved %d runs", len(mine)-len(known))
	}
	r.checkRecorded(nil)
	r.checkTruth(w, map[string]float64{"alk": 5, "trace": 1800})
	r.checkWire()
}

// askUntil asks for a small run, anew each second, until an answer is the wanted one.
func (r *rig) askUntil(what string, wanted func(reply) bool) {
	r.t.Helper()
	var last reply
	for deadline := time.Now().Add(2 * patience); time.Now().Before(deadline); {
		mark := r.spy.mark()
		ref := fmt.Sprintf("ref-%d", refs.Add(1))
		r.send(ref, machine.VerbRun, `"channel":"alk","volume_ml":1,"kind":"test"`)
		found := false
		r.spy.find(mark, time.Second, func(h heard) bool {
			a, ok := r.answerIn(h, ref)
			if ok {
				last, found = a, wanted(a)
			}
			return ok
		})
		if found {
			return
		}
	}
	r.t.Fatalf("%s did not come; the last answer was: %s (%s)", what, last.Text, last.Code)
}
