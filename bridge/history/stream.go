package history

import (
	"encoding/binary"
	"errors"
	"io"
	"slices"
	"time"

	"aliquot/bridge/machine"
)

// streamRows are handed out at once: few enough that who takes them starts soon.
const streamRows = 512

// ErrIDsNeeded says that a reading WithoutIDs came upon an id that may have stood before, or upon a line of an export behind plain
// ones, beside which it may stand, when rows had been handed out already. They are worth nothing: the history must be read again,
// with ids.
var ErrIDsNeeded = errors.New("ids are needed to tell whether lines of this history repeat earlier ones: read it with ids")

// Stream is Read for a history of any length: the rows that Read would give are handed out while it goes on, in their order and
// with their numbers, each once. Before an error it may have handed out some. WithoutIDs nothing is kept of a line but eight bytes
// of its id, if it gives one.
func (s Site) Stream(from io.Reader, name string, take func([]machine.Row)) ([]Note, error) {
	r := newReader(s)
	r.stream = &stream{take: take}
	if err := r.readAll(from, name); err != nil {
		return nil, err
	}
	r.stream.handOut(r, time.Time{})
	return r.notes, nil
}

// stream is how far rows were handed out.
type stream struct {
	take  func([]machine.Row)
	begun bool
	seq   int64         // of the last one
	held  []machine.Row // entered late: later lines may come before them
	marks map[uint64]struct{}
}

// mark remembers an id without what was said under it. One that stood before, or looks as if it had, is not decided here.
func (s *stream) mark(id string) error {
	digest := keyOf(id).digest
	m := binary.BigEndian.Uint64(digest[:])
	if _, stood := s.marks[m]; stood {
		return ErrIDsNeeded
	}
	if s.marks == nil {
		s.marks = map[uint64]struct{}{}
	}
	s.marks[m] = struct{}{}
	return nil
}

// handOut takes the rows that no later line can come before from a reader: those that became known up to the time of the present
// line, since lines ascend in time and no row became known before its line's time. The zero time takes all.
func (s *stream) handOut(r *reader, until time.Time) {
	s.begun = true
	ready := append(s.held, r.rows...)
	clear(r.rows)
	r.rows, r.lines, s.held = r.rows[:0], r.lines[:0], nil
	slices.SortStableFunc(ready, func(a, b machine.Row) int { return a.At.Compare(b.At) })
	if !until.IsZero() {
		n, _ := slices.BinarySearchFunc(ready, until, func(row machine.Row, t time.Time) int {
			if row.At.After(t) {
				return 1
			}
			return -1
		})
		s.held = slices.Clone(ready[n:])
		ready = ready[:n:n]
	}
	for i := range ready {
		s.seq++
		ready[i].Seq = s.seq
	}
	if len(ready) > 0 {
		s.take(ready)
	}
}
