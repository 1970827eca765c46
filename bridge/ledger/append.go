package ledger

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

const insertRow = `INSERT INTO rows (seq, id, at, elapsed, trusted, by, kind, slot, ref, body)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`

// Append stores rows, all or none, in one transaction that is on disk when it returns (INV-4). The first Seq must
// follow the last stored one, and the others must follow without a gap.
//
// ErrConflict, ErrDuplicateRun, ErrSlotServed and ErrAnswered leave the ledger as it was and in working order.
// After any other error it is not known what is on disk, so the ledger has failed: every further write is
// refused until it is opened anew and read from the start.
func (l *Ledger) Append(rows []machine.Row) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if err := l.checkWritable(); err != nil {
		return err
	}
	if len(rows) == 0 {
		return nil
	}
	if err := checkOrder(l.last.Seq, rows); err != nil {
		return err
	}
	if err := l.store(rows); err != nil {
		return err
	}
	l.last = rows[len(rows)-1]
	if err := l.keepMark(rows); err != nil {
		return l.fail(fmt.Errorf("the rows are stored, but the high-water file is not: %w", err))
	}
	return nil
}

func (l *Ledger) checkWritable() error {
	switch {
	case l.closed:
		return ErrClosed
	case l.write == nil:
		return ErrReadOnly
	case l.failure != nil:
		return fmt.Errorf("%w: %w", ErrFailed, l.failure)
	}
	return nil
}

func checkOrder(last int64, rows []machine.Row) error {
	for i, r := range rows {
		if want := last + 1 + int64(i); r.Seq != want {
			return fmt.Errorf("%w: row %d was offered where row %d is due", ErrConflict, r.Seq, want)
		}
	}
	return nil
}

// store commits the rows. It latches every failure that is no collision with a stored row.
func (l *Ledger) store(rows []machine.Row) error {
	err := l.prepareDisk()
	if err == nil {
		err = inTransaction(l.write, func(tx *sql.Tx) error { return l.insert(tx, rows) })
	}
	if err == nil {
		return nil
	}
	for _, known := range []error{ErrDuplicateRun, ErrSlotServed, ErrAnswered} {
		if errors.Is(err, known) {
			return err
		}
	}
	return l.fail(fmt.Errorf("storing row %d: %w", rows[0].Seq, err))
}

func (l *Ledger) prepareDisk() error {
	if err := l.files.check(); err != nil {
		return err
	}
	return checkSpace(l.path, l.minFree)
}

// inTransaction commits what do writes, or rolls it back. A rollback that fails hides what made it necessary:
// the error then is no longer one of those that leave the ledger in working order.
func inTransaction(db *sql.DB, do func(*sql.Tx) error) error {
	tx, err := db.BeginTx(context.Background(), nil)
	if err != nil {
		return err
	}
	if err := do(tx); err != nil {
		if undo := tx.Rollback(); undo != nil {
			return fmt.Errorf("undoing a refused write (%s): %w", err, undo)
		}
		return err
	}
	return tx.Commit()
}

// insert runs inside the transaction. The lock keeps other daemons out, so a last row that is not the one we
// remember means that somebody went around it: our state is void.
func (l *Ledger) insert(tx *sql.Tx, rows []machine.Row) error {
	ctx := context.Background()
	var stored int64
	if err := tx.QueryRowContext(ctx, "SELECT coalesce(max(seq), 0) FROM rows").Scan(&stored); err != nil {
		return err
	}
	if stored != l.last.Seq {
		return fmt.Errorf("another program changed the ledger: its last row is %d, was %d", stored, l.last.Seq)
	}
	statement, err := tx.PrepareContext(ctx, insertRow)
	if err != nil {
		return err
	}
	for _, r := range rows {
		if err := insertOne(ctx, statement, r); err != nil {
			return errors.Join(err, statement.Close())
		}
	}
	return statement.Close()
}

func insertOne(ctx context.Context, statement *sql.Stmt, r machine.Row) error {
	if r.Body == nil {
		return fmt.Errorf("row %d says nothing", r.Seq)
	}
	at := r.At.UTC()
	if y := at.Year(); y < 0 || y > 9999 {
		return fmt.Errorf("row %d has the year %d, must be 0 to 9999", r.Seq, y)
	}
	body, err := machine.EncodeBody(r.Body)
	if err != nil {
		return fmt.Errorf("row %d (%s): %w", r.Seq, r.Body.Kind(), err)
	}
	_, err = statement.ExecContext(ctx, r.Seq, orNull(r.ID), at.Format(time.RFC3339Nano), int64(r.Elapsed), r.Trusted,
		r.By, r.Body.Kind(), orNull(r.SlotKey()), orNull(r.Ref()), string(body))
	if known := duplicate(err); known != nil {
		return fmt.Errorf("row %d (%s): %w", r.Seq, r.Body.Kind(), known)
	}
	return err
}

// orNull keeps empty texts out of the unique columns, in which NULL may stand any number of times.
func orNull(s string) any {
	if s == "" {
		return nil
	}
	return s
}

// keepMark writes the high-water file after a commit. If Open found the ledger behind its mark, or the mark
// missing, the old state of affairs stays on disk until a row says so for good: else a restart in between
// would forget that the ledger was restored.
func (l *Ledger) keepMark(rows []machine.Row) error {
	for _, r := range rows {
		if b, ok := r.Body.(machine.Lockout); ok && b.Code == safety.LedgerRestored {
			l.mayMark = true
		}
	}
	if !l.mayMark {
		return nil
	}
	return l.marks.put(l.path, markOf(l.last))
}
