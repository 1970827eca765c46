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

const selectRows = "SELECT seq, id, at, elapsed, trusted, by, kind, body FROM rows "

// Each calls fn with every row whose Seq is from or more, in order, and stops at fn's first error, which it
// returns. It sees the ledger as it was at the call; fn may append. A row that is missing or cannot be decoded
// is an error that names it: what stands behind it is not handed out.
func (l *Ledger) Each(from int64, fn func(machine.Row) error) error {
	l.mu.Lock()
	closed := l.closed
	l.mu.Unlock()
	if closed {
		return ErrClosed
	}
	return l.each(from, fn)
}

// each is Each within a lock.
func (l *Ledger) each(from int64, fn func(machine.Row) error) error {
	// What was pruned is asked for in the same statement: a daemon may prune between two.
	list, err := l.read.QueryContext(context.Background(), selectAll+"WHERE seq >= ? ORDER BY seq", from)
	if err != nil {
		return fmt.Errorf("reading the ledger: %w", err)
	}
	defer func() { _ = list.Close() }() // list.Err below has every reading error
	next, short := max(from, 1), int64(0)
	for list.Next() {
		var pruned, fewer int64
		r, err := scanRow(beside{list, []any{&pruned, &fewer}})
		if err != nil {
			return err
		}
		// Numbers without a row stand in what was pruned, and there are as many as it left.
		known := max(0, min(r.Seq, pruned+1)-next)
		if short += known; r.Seq > next+known {
			return fmt.Errorf("reading the ledger: row %d is missing: %w", next+known, ErrDamaged)
		}
		if r.Seq > pruned && from <= 1 && short != fewer {
			return fmt.Errorf("reading the ledger: %d of the first %d rows are not there, %d were pruned: %w", short, pruned, fewer, ErrDamaged)
		}
		if err := fn(r); err != nil {
			return err
		}
		next = r.Seq + 1
	}
	if err := list.Err(); err != nil {
		return fmt.Errorf("reading the ledger at row %d: %w", next, err)
	}
	return nil
}

// FirstSince gives the lowest Seq of a row of a moment or a later one, the next free one if there is none. Where the clock was
// set back, rows behind it may be of earlier moments.
func (l *Ledger) FirstSince(at time.Time) (int64, error) {
	l.mu.Lock()
	closed := l.closed
	l.mu.Unlock()
	if closed {
		return 0, ErrClosed
	}
	var first int64
	// Texts of one second differ in length by their fraction, and would not compare: a whole second earlier they do.
	query := "SELECT coalesce(min(seq), (SELECT coalesce(max(seq), 0) + 1 FROM rows)) FROM rows WHERE at >= ?"
	if err := l.read.QueryRowContext(context.Background(), query, at.UTC().Truncate(time.Second).Add(-time.Second).Format(time.RFC3339)).Scan(&first); err != nil {
		return 0, fmt.Errorf("reading the ledger: %w", err)
	}
	return first, nil
}

// selectAll is selectRows with how far the ledger was pruned, and by how many rows it is fewer.
const selectAll = "SELECT seq, id, at, elapsed, trusted, by, kind, body, (SELECT coalesce(max(last), 0) FROM pruned), (SELECT coalesce(sum(gone - sums), 0) FROM pruned) FROM rows "

type scanner interface{ Scan(into ...any) error }

// beside scans further columns behind those of a row.
type beside struct {
	scanner
	more []any
}

func (b beside) Scan(into ...any) error { return b.scanner.Scan(append(into, b.more...)...) }

func scanRow(s scanner) (machine.Row, error) {
	var (
		r        machine.Row
		id       sql.NullString
		at, kind string
		elapsed  int64
		body     []byte
	)
	if err := s.Scan(&r.Seq, &id, &at, &elapsed, &r.Trusted, &r.By, &kind, &body); err != nil {
		return machine.Row{}, err
	}
	r.ID, r.Elapsed = id.String, safety.Elapsed(elapsed)
	var err error
	if r.At, err = time.Parse(time.RFC3339Nano, at); err != nil {
		return machine.Row{}, fmt.Errorf("row %d (%s): %w", r.Seq, kind, err)
	}
	if r.Body, err = machine.DecodeBody(kind, body); err != nil {
		return machine.Row{}, fmt.Errorf("row %d: %w", r.Seq, err)
	}
	return r, nil
}

// readLast gives the row with the highest Seq, a zero row if there is none.
func readLast(db *sql.DB) (machine.Row, error) {
	r, err := scanRow(db.QueryRowContext(context.Background(), selectRows+"ORDER BY seq DESC LIMIT 1"))
	if errors.Is(err, sql.ErrNoRows) {
		return machine.Row{}, nil
	}
	if err != nil {
		return machine.Row{}, fmt.Errorf("reading the last row: %w", err)
	}
	return r, nil
}

func readOne(db *sql.DB, seq int64) (machine.Row, error) {
	r, err := scanRow(db.QueryRowContext(context.Background(), selectRows+"WHERE seq = ?", seq))
	if errors.Is(err, sql.ErrNoRows) {
		return machine.Row{}, fmt.Errorf("row %d is missing: %w", seq, ErrDamaged)
	}
	if err != nil {
		return machine.Row{}, fmt.Errorf("reading row %d: %w", seq, err)
	}
	return r, nil
}
