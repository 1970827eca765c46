package main

import (
	"fmt"
	"io"
	"os"
	"time"

	"aliquot/bridge/history"
	"aliquot/bridge/ledger"
	"aliquot/bridge/machine"
)

// rows are those of the history, or of the ledger beside a running service.
func (p planCommand) rows(std stream, l loaded) (rows []machine.Row, notes []string, err error) {
	if p.History == "" {
		rows, err = ledgerRows(l)
		return rows, nil, err
	}
	return historyRows(std, l, p.History)
}

// view plans from the history or the ledger up to a moment.
func (p planCommand) view(std stream, l loaded, at time.Time) (machine.PlanView, error) {
	if p.History == "" {
		rows, err := ledgerRows(l)
		past := newPast(l, at)
		past.add(rows)
		return past.plan(nil), err
	}
	in, err := openHistory(std, p.History)
	if err != nil {
		return machine.PlanView{}, err
	}
	defer in.Close()
	return planFrom(l, in, p.History, at)
}

// planFrom folds a history up to a moment and plans from there. Rows are folded while later lines are being read.
func planFrom(l loaded, r io.Reader, name string, at time.Time) (machine.PlanView, error) {
	site := historySite(l)
	site.WithoutIDs = true
	batches, folding := make(chan []machine.Row, 16), make(chan struct{})
	site.Early = func(rows []machine.Row) { batches <- rows }
	past, whole := newPast(l, at), true
	go func() {
		defer close(folding)
		for rows := range batches {
			whole = whole && rows != nil
			past.add(rows)
		}
	}()
	rows, said, err := site.Read(r, name)
	close(batches)
	<-folding
	if err != nil {
		return machine.PlanView{}, fail(exitFailed, "%w", err)
	}
	if !whole {
		past = newPast(l, at)
		past.add(rows)
	}
	return past.plan(noted(name, said)), nil
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

func (p *past) add(rows []machine.Row) {
	for _, row := range rows {
		if row.At.After(p.at) {
			p.later++
			continue
		}
		p.fold.Add(row)
	}
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
func ledgerRowsSince(l loaded, since time.Time) ([]machine.Row, error) {
	book, err := ledger.Open(ledger.Options{Path: l.Ledger.Path, ReadOnly: true})
	if err != nil {
		return nil, fail(exitLedger, "%w", err)
	}
	defer book.Close()
	from := int64(1)
	if !since.IsZero() {
		const longestRun = 24 * time.Hour // more than any: one may have begun before the moment
		if from, err = book.FirstSince(since.Add(-longestRun)); err != nil {
			return nil, fail(exitLedger, "%w", err)
		}
	}
	var rows []machine.Row
	if err := book.Each(from, func(r machine.Row) error { rows = append(rows, r); return nil }); err != nil {
		return nil, fail(exitLedger, "%w", err)
	}
	return rows, nil
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
