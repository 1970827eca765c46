package faultsim

import (
	"encoding/binary"
	"fmt"
	"hash"
	"hash/fnv"
	"time"

	"aliquot/bridge/machine"
)

// Result is how a trace went.
type Result struct {
	Violation *Violation // nil: everything held
	Hash      uint64     // of the whole trace
	Simulated time.Duration
	Runs      int // commands on the wire
	Faults    int // that struck
	Steps     int // of the machine
	Processes int
	Rows      int
	Delivered float64  // mL into the tank
	Lives     bool     // liveness was asserted
	Lines     []string // the end of the trace, if it was kept
}

// Violation is a rule that did not hold.
type Violation struct {
	At   time.Duration
	Rule string // INV- and H-numbers
	Text string
}

func (v Violation) String() string { return fmt.Sprintf("%s at %s: %s", v.Rule, v.At, v.Text) }

func (w *world) result() Result {
	r := w.stats
	r.Violation, r.Simulated, r.Hash, r.Lines = w.check.broken, w.now, w.diary.sum.Sum64(), w.diary.lines
	r.Processes, r.Rows = w.births, len(w.hosts[0].ledger.rows)
	for _, ul := range w.check.total {
		r.Delivered += ul / 1000
	}
	return r
}

// diary adds the trace up, and keeps the last lines of it for people.
type diary struct {
	keep  int
	lines []string
	sum   hash.Hash64
}

func newDiary(keep int) diary { return diary{keep: keep, sum: fnv.New64a()} }

func (d *diary) note(at time.Duration, format string, args ...any) {
	if d.keep == 0 {
		return
	}
	if len(d.lines) >= 2*d.keep {
		d.lines = append(d.lines[:0], d.lines[d.keep:]...)
	}
	d.lines = append(d.lines, fmt.Sprintf("%-14s ", at.Round(time.Millisecond))+fmt.Sprintf(format, args...))
}

func (d *diary) add(words ...uint64) {
	var b [8]byte
	for _, w := range words {
		binary.LittleEndian.PutUint64(b[:], w)
		d.sum.Write(b[:])
	}
}

// stepped adds what a step did.
func (d *diary) stepped(at time.Duration, e machine.Event, effects []machine.Effect) {
	d.add(uint64(at), uint64(len(effects)))
	fmt.Fprintf(d.sum, "%T", e)
	for _, e := range effects {
		switch e := e.(type) {
		case machine.SendRun:
			fmt.Fprintf(d.sum, "%s %d", e.Run, e.Duration)
		case machine.Append:
			for _, r := range e.Rows {
				d.add(uint64(r.Seq), uint64(r.Elapsed))
				d.sum.Write([]byte(r.Body.Kind()))
			}
		}
	}
}
