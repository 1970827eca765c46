package ledger

import (
	"errors"
	"fmt"
	"strings"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// Errors of Append that leave the ledger as it was and in working order. Nothing of the batch was stored.
var (
	// ErrConflict: the rows do not continue the last stored one. The decision behind them rests on an older state.
	ErrConflict = errors.New("the rows do not continue the ledger")
	// ErrDuplicateRun: a row with this id is stored already.
	ErrDuplicateRun = errors.New("a row with this id is in the ledger already")
	// ErrSlotServed: a row that serves this slot is stored already.
	ErrSlotServed = errors.New("this slot was served already")
	// ErrAnswered: an answer to this reference is stored already.
	ErrAnswered = errors.New("this reference was answered already")
)

// Errors after which a ledger has failed: nothing more is stored until it is opened anew.
var (
	// ErrFailed: an earlier write failed, and this one was not tried.
	ErrFailed = errors.New("the ledger has failed and must be opened anew")
	// ErrDiskFull: too little room is left for a write to be safe.
	ErrDiskFull = errors.New("too little free disk space")
	// ErrMoved: the file at the path is no longer the one that was opened.
	ErrMoved = errors.New("the ledger's file was removed or replaced while in use")
)

// Errors of Open. The file is left untouched.
var (
	// ErrInUse: another process holds the ledger.
	ErrInUse = errors.New("the ledger is in use")
	// ErrNewer: a newer program wrote the ledger.
	ErrNewer = errors.New("the ledger was written by a newer version")
	// ErrOlder: the ledger must be brought to this version's layout, which a read-only use cannot do.
	ErrOlder = errors.New("the ledger was written by an older version")
	// ErrForeign: the file is no ledger.
	ErrForeign = errors.New("the file is not a ledger")
	// ErrDamaged: the file is a ledger that can no longer be relied on.
	ErrDamaged = errors.New("the ledger is damaged")
)

// Errors of use.
var (
	// ErrReadOnly: a ledger opened for reading was asked to store.
	ErrReadOnly = errors.New("the ledger was opened for reading only")
	// ErrClosed: the ledger was closed before.
	ErrClosed = errors.New("the ledger is closed")
)

// resultCode gives SQLite's primary and extended result code, 0 and 0 for other errors.
func resultCode(err error) (primary, extended int) {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return 0, 0
	}
	return e.Code() & 0xff, e.Code()
}

// duplicate names the column on which a batch collided with a stored row, nil if err is something else.
func duplicate(err error) error {
	_, extended := resultCode(err)
	if extended != sqlite3.SQLITE_CONSTRAINT_UNIQUE {
		return nil
	}
	for _, c := range []struct {
		column string
		err    error
	}{{"rows.id", ErrDuplicateRun}, {"rows.slot", ErrSlotServed}, {"rows.ref", ErrAnswered}} {
		if strings.Contains(err.Error(), c.column) {
			return c.err
		}
	}
	return nil
}

// unreadable turns SQLite's words for a file that it cannot make sense of into ours.
func unreadable(path string, err error) error {
	if halfBegun(err) {
		return fmt.Errorf("%s: the power went while this file was begun or changed: start the daemon once, which puts a ledger right: %w", path, err)
	}
	switch primary, _ := resultCode(err); primary {
	case sqlite3.SQLITE_NOTADB:
		return fmt.Errorf("%s: %w, or its beginning is destroyed: move it away to begin a new one, or restore a copy", path, ErrForeign)
	case sqlite3.SQLITE_CORRUPT:
		return damaged(path, err.Error())
	}
	return fmt.Errorf("%s: %w", path, err)
}

func damaged(path, found string) error {
	return fmt.Errorf("%s: %w (%s): keep the file, restore the last good copy", path, ErrDamaged, found)
}
