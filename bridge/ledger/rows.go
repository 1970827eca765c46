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

// each is Each within a lock. Rows are read and decoded ahead, in a goroutine of their own, while fn has those before them.
func (l *Ledger) each(from int64, fn func(machine.Row) error) error {
	w, err := l.startWalk(from)
	if err != nil {
		return fmt.Errorf("reading the ledger: %w", err)
	}
	defer w.end()
	for b := range w.read {
		for i := range b.rows {
			if err := fn(b.rows[i]); err != nil {
				return err
			}
		}
		if b.err != nil {
			return b.err
		}
		w.used <- b.rows
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

type scanner interface{ Scan(into ...any) error }

func scanRow(s scanner) (machine.Row, error) {
	var (
		r        machine.Row
		id       sql.NullString
		at, kind string
		elapsed  int64
		body     string
	)
	if err := s.Scan(&r.Seq, &id, &at, &elapsed, &r.Trusted, &r.By, &kind, &body); err != nil {
		return machine.Row{}, err
	}
	r.ID, r.Elapsed = id.String, safety.Elapsed(elapsed)
	return decodeRow(r, at, kind, body)
}

// decodeRow completes a row by what is kept of it as text.
func decodeRow(r machine.Row, at, kind, body string) (_ machine.Row, err error) {
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
