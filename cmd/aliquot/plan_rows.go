package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"aliquot/bridge/history"
	"aliquot/bridge/ledger"
	"aliquot/bridge/machine"
)

// taker is given rows, one after the other.
type taker interface{ take(machine.Row) }

// gather gives the rows of the history, or of the ledger beside a running service, to what begin makes, one by one: a plan holds
// no more of a long history than of a short one.
func gather[T taker](p planCommand, std stream, l loaded, begin func() T) (got T, notes []string, err error) {
	if p.History == "" {
		got = begin()
		return got, nil, eachLedgerRow(l, time.Time{}, got.take)
	}
	in, err := openHistory(std, p.History)
	if err != nil {
		return got, nil, err
	}
	defer in.Close()
	again, err := repeatable(in)
	if err != nil {
		return got, nil, fail(exitFailed, "reading %s: %w", p.History, err)
	}
	return gatherHistory(l, again, p.History, begin)
}

// repeatable is what can be read from where it stands now, and once more; of a pipe, a copy of all that comes.
func repeatable(in io.Reader) (io.ReadSeeker, error) {
	if s, ok := in.(io.ReadSeeker); ok {
		if _, err := s.Seek(0, io.SeekCurrent); err == nil {
			return s, nil
		}
	}
	text, err := io.ReadAll(in)
	return bytes.NewReader(text), err
}

// gatherHistory is gather for a history. Its ids are looked at only if they are needed, in a second reading then.
func gatherHistory[T taker](l loaded, in io.ReadSeeker, name string, begin func() T) (got T, notes []string, err error) {
	site := historySite(l)
	site.WithoutIDs = true
	start, err := in.Seek(0, io.SeekCurrent)
	if err != nil {
		return got, nil, fail(exitFailed, "reading %s: %w", name, err)
	}
	got = begin()
	said, err := readBeside(site, in, name, got)
	if errors.Is(err, history.ErrIDsNeeded) {
		if _, err := in.Seek(start, io.SeekStart); err != nil {
			return got, nil, fail(exitFailed, "reading %s: %w", name, err)
		}
		site.WithoutIDs = false
		got = begin()
		said, err = readBeside(site, in, name, got)
	}
	if err != nil {
		return got, nil, fail(exitFailed, "%w", err)
	}
	return got, noted(name, said), nil
}

// readBeside reads a history. Rows are taken while later lines are being read.
func readBeside(site history.Site, in io.Reader, name string, t taker) ([]history.Note, error) {
	const batchesAhead = 8
	batches, taken := make(chan []machine.Row, batchesAhead), make(chan struct{})
	go func() {
		defer close(taken)
		for rows := range batches {
			for _, row := range rows {
				t.take(row)
			}
		}
	}()
	said, err := site.Stream(in, name, func(rows []machine.Row) { batches <- rows })
	close(batches)
	<-taken
	return said, err
}

// view plans from the history or the ledger up to a moment.
func (p planCommand) view(std stream, l loaded, at time.Time) (machine.PlanView, error) {
	past, notes, err := gather(p, std, l, func() *past { return newPast(l, at) })
	if err != nil {
		return machine.PlanView{}, err
	}
	return past.plan(notes), nil
}

// past is a history folded up to a moment.
type past struct {
	fold  *machine.Fold
	at    time.Time
	later int // rows after it
}

func newPast(l loaded, at time.Time) *past {
	return &past{fold: machine.NewFold(machineSite(l.Site)), at: at}
}

func (p *past) take(row machine.Row) {
	if row.At.After(p.at) {
		p.later++
		return
	}
	p.fold.Add(row)
}

func (p *past) plan(notes []string) machine.PlanView {
	state := p.fold.State()
	view := machine.Preview(&state, p.at)
	view.Notes = append(view.Notes, notes...)
	if p.later > 0 {
		view.Notes = append(view.Notes, fmt.Sprintf("%s after %s left out", count(p.later, "line"), p.at.UTC().Format(time.RFC3339)))
	}
	return view
}

// ledgerRows reads the whole ledger beside a running service.
func ledgerRows(l loaded) ([]machine.Row, error) { return ledgerRowsSince(l, time.Time{}) }

// ledgerRowsSince reads those of a moment and later, and what came shortly before; all of them where it is zero.
func ledgerRowsSince(l loaded, since time.Time) (rows []machine.Row, err error) {
	err = eachLedgerRow(l, since, func(r machine.Row) { rows = append(rows, r) })
	if err != nil {
		return nil, err
	}
	return rows, nil
}

// eachLedgerRow hands out the rows of ledgerRowsSince one by one.
func eachLedgerRow(l loaded, since time.Time, take func(machine.Row)) error {
	book, err := ledger.Open(ledger.Options{Path: l.Ledger.Path, ReadOnly: true})
	if err != nil {
		return fail(exitLedger, "%w", err)
	}
	defer book.Close()
	from := int64(1)
	if !since.IsZero() {
		const longestRun = 24 * time.Hour // more than any: one may have begun before the moment
		if from, err = book.FirstSince(since.Add(-longestRun)); err != nil {
			return fail(exitLedger, "%w", err)
		}
	}
	if err := book.Each(from, func(r machine.Row) error { take(r); return nil }); err != nil {
		return fail(exitLedger, "%w", err)
	}
	return nil
}

// historyRows reads a history file, with what is to be noted of its lines.
func historyRows(std stream, l loaded, path string) (rows []machine.Row, notes []string, err error) {
	in, err := openHistory(std, path)
	if err != nil {
		return nil, nil, err
	}
	defer in.Close()
	site := historySite(l)
	site.WithoutIDs = true
	rows, said, err := site.Read(in, path)
	if err != nil {
		return nil, nil, fail(exitFailed, "%w", err)
	}
	return rows, noted(path, said), nil
}

func noted(path string, said []history.Note) (notes []string) {
	for _, n := range said {
		notes = append(notes, fmt.Sprintf("%s:%d: %s", path, n.Line, n.Text))
	}
	return notes
}

// openHistory opens a file, or standard input for -.
func openHistory(std stream, path string) (io.ReadCloser, error) {
	if path == "-" {
		return io.NopCloser(std.in), nil
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fail(exitUsage, "reading the history: %w", err)
	}
	return f, nil
}
