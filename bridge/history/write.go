package history

import (
	"bufio"
	"cmp"
	"fmt"
	"io"
	"iter"
	"slices"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
)

// Write writes rows of a ledger as a history with what is known without a configuration. See Site.Write.
func Write(to io.Writer, rows iter.Seq[machine.Row]) ([]Note, error) { return Site{}.Write(to, rows) }

// Write writes rows, in the order of the ledger, as a history: lines ascending in time. A run's reservation and
// its end become one line. What has no line type is left out; the package's comment lists it. A probe's means
// are left out with a note where the site does not know what it measures.
func (s Site) Write(to io.Writer, rows iter.Seq[machine.Row]) ([]Note, error) {
	w := NewWriter(s)
	for r := range rows {
		w.Add(r)
	}
	return w.Finish(to)
}

// Writer collects rows for a history, for callers that get them one by one. A run's line stands at its
// reservation and needs its end, so nothing can be written before the last row is known.
type Writer struct {
	site    Site
	rows    []machine.Row
	open    map[string]pending
	unknown map[string]int // means of probes that are left out
}

// pending is a reserved run: where its line stands, and what is needed at its end.
type pending struct {
	index    int
	reserved machine.RunReserved
}

// NewWriter starts an empty history.
func NewWriter(s Site) *Writer {
	return &Writer{site: s, open: map[string]pending{}, unknown: map[string]int{}}
}

// Add takes the next row of the ledger.
func (w *Writer) Add(r machine.Row) {
	switch b := r.Body.(type) {
	case machine.RunReserved:
		if r.ID == "" {
			r.ID = b.Run
		}
		r.Body = past(r, b)
		w.open[b.Run] = pending{len(w.rows), b}
	case machine.RunEnded:
		w.end(b)
		return
	case machine.ProbeMean:
		if s := w.site.quantity(b.Probe); s.Unit() == "" && s != units.Switch {
			w.unknown[b.Probe]++
			return
		}
	}
	if encodable(r.Body) {
		w.rows = append(w.rows, r)
	}
}

// past is a reserved run as a history has it while its end is not known.
func past(r machine.Row, b machine.RunReserved) machine.RunPast {
	p := machine.RunPast{Channel: b.Channel, Happened: r.At, Purpose: b.Purpose, Into: b.Into, Volume: b.Volume,
		Duration: b.Duration, Outcome: machine.Unknown}
	if p.Purpose == machine.Prove {
		p.Purpose = machine.TestRun
	}
	return p
}

// end gives a run its outcome. The first word counts: what comes later only raises what may have left the outlet.
func (w *Writer) end(b machine.RunEnded) {
	p, ok := w.open[b.Run]
	if !ok {
		return
	}
	delete(w.open, b.Run)
	run, _ := w.rows[p.index].Body.(machine.RunPast)
	switch b.Outcome {
	case machine.Finished, machine.Partial:
		run.Outcome = b.Outcome
		if b.Duration > 0 && p.reserved.Rate > 0 {
			run.Duration = b.Duration
			moved := p.reserved.Moved(b.Duration)
			run.Delivered = &moved
		}
		if b.Outcome == machine.Partial && run.Delivered == nil {
			run.Delivered = &b.Lo
		}
	case machine.NotSent:
		run.Outcome = machine.NotSent
	}
	w.rows[p.index].Body = run
}

// Finish writes the lines. The notes tell what was left out though it has a line type.
func (w *Writer) Finish(to io.Writer) ([]Note, error) {
	slices.SortStableFunc(w.rows, func(a, b machine.Row) int {
		return cmp.Or(happened(a).Compare(happened(b)), recorded(a).Compare(recorded(b)))
	})
	out := bufio.NewWriter(to)
	var e encoder
	for _, r := range w.rows {
		if b, ok := r.Body.(machine.ProbeMean); ok {
			e.unit = cmp.Or(w.site.quantity(b.Probe).Unit(), switchUnit)
		}
		text, err := e.lineWithID(r)
		if err != nil {
			return nil, fmt.Errorf("row %d (%s): %w", r.Seq, r.Body.Kind(), err)
		}
		if _, err := out.Write(append(text, '\n')); err != nil {
			return nil, err
		}
	}
	return w.leftOut(), out.Flush()
}

func (w *Writer) leftOut() []Note {
	var notes []Note
	for probe, n := range w.unknown {
		notes = append(notes, Note{Text: fmt.Sprintf("%d means of probe %s are left out: it is not known what it measures", n, probe)})
	}
	slices.SortFunc(notes, func(a, b Note) int { return cmp.Compare(a.Text, b.Text) })
	return notes
}
