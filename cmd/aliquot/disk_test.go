package main

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
	"aliquot/bridge/needed"
	"aliquot/safety"
)

var moreDisks = flag.Int("disks", 0, "how many bad disks to draw besides those in the table")

// badDisk is a way in which a disk fails under the running service: which system call, how, and from which time on.
type badDisk struct {
	call, error string
	when        string // of strace: 7 is the seventh time, 7+ from then on
}

var badDisks = []badDisk{
	{"pwrite64", "EIO", "1"}, {"pwrite64", "EIO", "40"}, {"pwrite64", "ENOSPC", "3+"}, {"pwrite64", "ENOSPC", "55+"}, {"pwrite64", "EIO", "111"},
	{"fsync,fdatasync", "EIO", "2"}, {"fsync,fdatasync", "EIO", "17"}, {"fsync,fdatasync", "EIO", "30+"},
	{"rename,renameat,renameat2", "ENOSPC", "1"}, {"write", "ENOSPC", "1+"}, // of the high-water file, which is made anew at the first row
}

// TestH39_INV4_BadDisk has the disk of the running service fail: once or from then on, in a write or in a sync. Nothing is
// sent that is not on disk, the service says in words what is wrong, stops the pumps, goes on hearing a stop, and a new start
// on a good disk finds everything that was acknowledged.
func TestH39_INV4_BadDisk(t *testing.T) {
	t.Parallel()
	b := mosquittotest.Start(t, mosquittotest.Options{})
	for i, c := range append(slices.Clone(badDisks), drawDisks(*moreDisks)...) {
		t.Run(fmt.Sprintf("%d-%s-%s-from-%s", i, strings.ReplaceAll(c.call, ",", "-"), c.error, strings.TrimSuffix(c.when, "+")), func(t *testing.T) {
			t.Parallel()
			r := newRig(t, b, fmt.Sprintf("disk-%d", i))
			r.commission()
			r.nodes()
			r.from = r.spy.mark()
			p := startUnder(t, r.failing(c.call, c.error, c.when), "the service of "+r.quay.Site, "", "run", "-c", r.config)
			acknowledged := r.untilItFails(p)
			r.checkFailed(p)
			r.isDead(p)
			r.checkRecorded(acknowledged)

			again := r.daemon("")
			r.owns(again)
			r.runsAgain(again)
			r.checkRecorded(acknowledged)
			r.checkWire()
		})
	}
}

// drawDisks draws bad disks that differ from run to run and are named by their tests.
func drawDisks(count int) (out []badDisk) {
	for range count {
		calls, errors := []string{"pwrite64", "fsync,fdatasync"}, []string{"EIO", "ENOSPC"}
		c := badDisk{calls[rand.IntN(len(calls))], errors[rand.IntN(len(errors))], fmt.Sprint(1 + rand.IntN(150))}
		if rand.IntN(2) == 0 {
			c.when += "+"
		}
		out = append(out, c)
	}
	return out
}

// failing is the command that makes system calls on the ledger's files fail, and then becomes the program.
func (r *rig) failing(call, name, when string) []string {
	r.t.Helper()
	strace := needed.Program(r.t, "strace", "strace")
	out := []string{strace, "-D", "-f", "-qq", "-o", os.DevNull, "-e", "trace=" + call, "-e", fmt.Sprintf("inject=%s:error=%s:when=%s", call, name, when)}
	for _, path := range []string{r.quay.Ledger, r.quay.Ledger + "-wal", r.quay.Ledger + ".mark.new", r.quay.Ledger + ".mark", filepath.Dir(r.quay.Ledger)} {
		out = append(out, "-P", path)
	}
	return out
}

// untilItFails asks until the service has said that its ledger cannot be written, or has ended. It gives the references
// that were answered well before.
func (r *rig) untilItFails(p *process) (acknowledged []string) {
	r.t.Helper()
	for began := time.Now(); time.Since(began) < 2*patience; {
		select {
		case <-p.ended:
			return acknowledged
		default:
		}
		if contains(p.out.text(), "the ledger cannot be written") {
			return acknowledged
		}
		mark, ref := r.spy.mark(), fmt.Sprintf("ref-%d", refs.Add(1))
		switch len(acknowledged) % 4 {
		case 0:
			r.send(ref, machine.VerbClock, "")
		case 3:
			r.send(ref, machine.VerbRun, `"channel":"alk","volume_ml":1,"kind":"test"`)
		default:
			r.send(ref, machine.VerbNote, `"kind":"other","text":"a remark"`)
		}
		var a reply
		if _, ok := r.spy.find(mark, time.Second, func(h heard) (ok bool) { a, ok = r.answerIn(h, ref); return ok }); ok && a.OK {
			acknowledged = append(acknowledged, ref)
		}
	}
	r.t.Fatalf("after %d requests the disk has not failed", len(acknowledged))
	return nil
}

// checkFailed holds what must be true of a service whose disk has failed, whether it lives or ended.
func (r *rig) checkFailed(p *process) {
	r.t.Helper()
	select {
	case <-p.ended:
		if code := p.code(); code == exitOK || !contains(p.out.text(), "ledger") {
			r.t.Errorf("the service ended with code %d and said %q", code, withoutWarnings(p.out.text()))
		}
		if runs := r.sentRuns(r.from); len(runs) > 0 {
			r.t.Errorf("the service ended at its start and had sent a run: %s", runs[0].Payload)
		}
		return
	default:
	}
	p.await("connected to the broker")
	r.spy.await(r.from, "the alert", on(r.topic("alert/ledger"), `"critical"`))
	if said := p.out.text(); !contains(said, "the ledger cannot be written; dosing stops") {
		r.t.Errorf("the service does not say that its ledger has failed: %s", said)
	}
	sent := len(r.sentRuns(r.from))
	for range 2 {
		a := r.ask(machine.VerbRun, `"channel":"alk","volume_ml":1,"kind":"test"`)
		if a.Code != string(safety.LedgerFault) || !contains(a.Text, "cannot be written") {
			r.t.Errorf("a run after the disk failed: %s (%s)", a.Text, a.Code)
		}
	}
	mark := r.spy.mark()
	if a := r.ask(machine.VerbStop, `"all":true`); !a.OK {
		r.t.Errorf("a stop after the disk failed: %s (%s)", a.Text, a.Code)
	}
	r.checkStopsFirst(mark)
	if now := len(r.sentRuns(r.from)); now > sent {
		r.t.Errorf("%d runs were sent after the disk failed", now-sent)
	}
	r.checkLastIsStop()
}

// checkLastIsStop holds that nothing was told to run and not to stop afterwards.
func (r *rig) checkLastIsStop() {
	r.t.Helper()
	last := map[string]wireCommand{}
	for _, c := range r.commands(r.from) {
		last[c.output] = c
	}
	for _, o := range outputs {
		if c, ok := last[o]; !ok || !c.stop {
			r.t.Errorf("the last that output %s was told is %q", o, c.Payload)
		}
	}
}

// checkRecorded holds INV-4: what was sent and what was answered is in the ledger, which is whole.
func (r *rig) checkRecorded(acknowledged []string) {
	r.t.Helper()
	runs, answers := map[string]int{}, map[string]int{}
	for _, row := range r.rows() {
		switch b := row.Body.(type) {
		case machine.RunReserved:
			runs[b.Run]++
		case machine.Answered:
			answers[b.Ref]++
		}
	}
	for _, c := range r.sentRuns(0) {
		if c.ID != "" && runs[c.ID] != 1 {
			r.t.Errorf("the run %s was sent, and is %d times in the ledger", c.ID, runs[c.ID])
		}
	}
	for _, ref := range acknowledged {
		if answers[ref] != 1 {
			r.t.Errorf("the request %s was answered, and is %d times in the ledger", ref, answers[ref])
		}
	}
}
