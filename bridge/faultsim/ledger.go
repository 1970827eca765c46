package faultsim

import (
	"errors"
	"fmt"
	"time"

	"aliquot/bridge/machine"
)

// ledger is a host's ledger on its disk: only what is synced is in it. An append is one synced transaction, so that a
// write that is torn by a power cut leaves nothing of it.
type ledger struct {
	rows     []machine.Row
	keys     map[string]bool // ids, slots and references: none may come twice
	slow     time.Duration   // what an append takes
	failNext int             // 1: the next append fails; 2: it fails, but is on disk
	failed   bool            // refuses everything until it is opened anew
	folded   *machine.Fold   // of the first foldedTo rows; nil: of none
	foldedTo int
	foldedOf *machine.Blank
}

var errDisk = errors.New("input/output error")

// append stores rows, all or none, as they will be read back.
func (l *ledger) append(w *world, rows []machine.Row) error {
	switch {
	case l.failed:
		return errDisk
	case l.failNext == 1:
		l.failed = true
		return errDisk
	}
	for _, row := range rows {
		body, err := machine.EncodeBody(row.Body)
		if err == nil {
			row.Body, err = machine.DecodeBody(row.Body.Kind(), string(body))
		}
		if err != nil {
			w.check.fail("INV-12", "row %d (%s) does not come back as it was written: %v", row.Seq, row.Body.Kind(), err)
			return err
		}
		l.store(w, row)
	}
	if l.failNext == 2 {
		l.failed = true
		return errDisk
	}
	return nil
}

func (l *ledger) store(w *world, row machine.Row) {
	if want := int64(len(l.rows)) + 1; row.Seq != want {
		w.check.fail("INV-12", "row %d was offered where row %d is due", row.Seq, want)
		return
	}
	if l.keys == nil {
		l.keys = map[string]bool{}
	}
	for _, key := range keysOf(row) {
		if l.keys[key] {
			w.check.fail("INV-12, H-12, H-43", "row %d (%s) has %s, which an earlier row has", row.Seq, row.Body.Kind(), key)
			return
		}
		l.keys[key] = true
	}
	l.rows = append(l.rows, row)
	w.check.row(w, l, row)
}

func keysOf(r machine.Row) []string {
	var out []string
	for _, k := range []struct{ kind, key string }{{"the id", r.ID}, {"the slot", r.SlotKey()}, {"the reference", r.Ref()}} {
		if k.key != "" {
			out = append(out, fmt.Sprintf("%s %s", k.kind, k.key))
		}
	}
	return out
}

// without gives a ledger that lacks the newest n rows.
func (l *ledger) without(n int) ledger {
	out := ledger{keys: map[string]bool{}, rows: append([]machine.Row(nil), l.rows[:max(0, len(l.rows)-n)]...)}
	for _, row := range out.rows {
		for _, key := range keysOf(row) {
			out.keys[key] = true
		}
	}
	return out
}
