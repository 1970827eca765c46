package ledger

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// selectAll is selectRows with how far the ledger was pruned, and by how many rows it is fewer: a daemon may prune between two
// statements.
const selectAll = "SELECT seq, id, at, elapsed, trusted, by, kind, body, (SELECT coalesce(max(last), 0) FROM pruned), (SELECT coalesce(sum(gone - sums), 0) FROM pruned) FROM rows WHERE seq >= ? ORDER BY seq"

// walk reads rows one after the other, in a goroutine of its own. What it holds is bounded: so many batches of so many rows.
// A start reads every row there is, so that columns are taken as the driver gives them: database/sql takes half as long
// again over each.
type walk struct {
	conn *sql.Conn
	list driver.Rows
	from int64 // the first Seq that was asked for

	columns [10]driver.Value // of the present row

	next          int64 // the next Seq
	short         int64 // how many numbers up to it have no row
	pruned, fewer int64 // up to where the ledger was pruned, and by how many rows it is fewer

	read  chan batch         // closed behind the last one
	used  chan []machine.Row // memory of batches, to be filled again
	ended chan struct{}      // nobody takes any more
}

// batch is rows that follow each other, and the error that stands behind them.
type batch struct {
	rows []machine.Row
	err  error
}

const (
	batchRows    = 128
	batchesAhead = 4
)

// startWalk asks for rows: what it will read is the ledger of this moment.
func (l *Ledger) startWalk(from int64) (*walk, error) {
	w := &walk{from: from, next: max(from, 1), read: make(chan batch, batchesAhead), used: make(chan []machine.Row, batchesAhead+2), ended: make(chan struct{})}
	ctx := context.Background()
	var err error
	if w.conn, err = l.read.Conn(ctx); err != nil {
		return nil, err
	}
	err = w.conn.Raw(func(c any) (err error) {
		asked, ok := c.(driver.QueryerContext)
		if !ok {
			return fmt.Errorf("the store's driver %T takes no queries", c)
		}
		w.list, err = asked.QueryContext(ctx, selectAll, []driver.NamedValue{{Ordinal: 1, Value: from}})
		return err
	})
	if err != nil {
		return nil, errors.Join(err, w.conn.Close())
	}
	for range cap(w.used) {
		w.used <- nil
	}
	go w.run()
	return w, nil
}

// end waits until nothing is read any more, and lets go of the list.
func (w *walk) end() {
	close(w.ended)
	for range w.read { // what was read ahead
	}
}

func (w *walk) run() {
	defer close(w.read)
	defer func() { _ = w.conn.Close() }() // it goes back to the others
	_ = w.conn.Raw(func(any) error {
		defer func() { _ = w.list.Close() }() // Next had every reading error
		for more := true; more; {
			var b batch
			select {
			case b.rows = <-w.used:
			case <-w.ended:
				return nil
			}
			b, more = w.fill(b.rows[:0])
			select {
			case w.read <- b:
			case <-w.ended:
				return nil
			}
		}
		return nil
	})
}

// fill reads a batch, and says whether there may be more behind it.
func (w *walk) fill(rows []machine.Row) (batch, bool) {
	for len(rows) < batchRows {
		switch err := w.list.Next(w.columns[:]); {
		case errors.Is(err, io.EOF):
			return batch{rows, nil}, false
		case err != nil:
			return batch{rows, fmt.Errorf("reading the ledger at row %d: %w", w.next, err)}, false
		}
		r, err := w.row()
		if err != nil {
			return batch{rows, err}, false
		}
		rows = append(rows, r)
	}
	return batch{rows, nil}, true
}

// row is the present one. One that is missing or cannot be decoded is an error that names it.
func (w *walk) row() (machine.Row, error) {
	r, err := w.decode()
	if err != nil {
		return r, err
	}
	// Numbers without a row stand in what was pruned, and there are as many as it left.
	known := max(0, min(r.Seq, w.pruned+1)-w.next)
	if w.short += known; r.Seq > w.next+known {
		return r, fmt.Errorf("reading the ledger: row %d is missing: %w", w.next+known, ErrDamaged)
	}
	if r.Seq > w.pruned && w.from <= 1 && w.short != w.fewer {
		return r, fmt.Errorf("reading the ledger: %d of the first %d rows are not there, %d were pruned: %w", w.short, w.pruned, w.fewer, ErrDamaged)
	}
	w.next = r.Seq + 1
	return r, nil
}

// decode makes a row of its columns. One that is not of the type of the table's is damage.
func (w *walk) decode() (machine.Row, error) {
	c := columns{rest: w.columns[:]}
	r := machine.Row{Seq: take[int64](&c)}
	if c.rest[0] != nil {
		r.ID = take[string](&c)
	} else {
		c.rest = c.rest[1:]
	}
	at := take[string](&c)
	r.Elapsed = safety.Elapsed(take[int64](&c))
	r.Trusted = take[int64](&c) != 0
	r.By = take[string](&c)
	kind, body := take[string](&c), take[string](&c)
	w.pruned, w.fewer = take[int64](&c), take[int64](&c)
	if c.odd {
		return r, fmt.Errorf("reading the ledger: row %d has columns of other types than its table: %w", w.next, ErrDamaged)
	}
	return decodeRow(r, at, kind, body)
}

// columns are taken one by one.
type columns struct {
	rest []driver.Value
	odd  bool // one was of another type
}

func take[T int64 | string](c *columns) T {
	v, ok := c.rest[0].(T)
	c.rest, c.odd = c.rest[1:], c.odd || !ok
	return v
}
