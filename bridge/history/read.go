package history

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
	"aliquot/safety"
)

// Site is what lines do not say about themselves. Both functions may be nil.
type Site struct {
	// Channels gives the channels that a node drives, for lines about a node. Without it such lines are errors.
	Channels func(node string) []string
	// Quantity gives what a probe measures, "" if that is not known. Without it the unit must tell on reading, and
	// means of probes cannot be written.
	Quantity func(probe string) units.Quantity
	// WithoutIDs leaves lines that give no id without one, for who only folds the rows: deriving ids takes a third of
	// the time of reading.
	WithoutIDs bool
}

func (s Site) quantity(probe string) units.Quantity {
	if s.Quantity == nil {
		return ""
	}
	return s.Quantity(probe)
}

// Note is a remark about a line that is no error.
type Note struct {
	Line int // counts from 1; 0 when writing
	Text string
}

// Error says which line cannot be read, and why.
type Error struct {
	Name string // of the file, may be empty
	Line int    // counts from 1
	Err  error
}

func (e *Error) Error() string {
	if e.Name == "" {
		return fmt.Sprintf("line %d: %v", e.Line, e.Err)
	}
	return fmt.Sprintf("%s:%d: %v", e.Name, e.Line, e.Err)
}

func (e *Error) Unwrap() error { return e.Err }

// longestLine bounds what is held in memory of a hostile file, bytes.
const longestLine = 1 << 20

// Decode reads one line by itself, the n-th of its file. It gives one row, or one for each channel if the line is
// about a node. An id that the line does not give is derived from its content, as in the first of equal lines.
func Decode(text []byte, n int) ([]machine.Row, error) {
	r := newReader(Site{})
	r.n = n
	if err := r.take(string(text)); err != nil {
		return nil, &Error{Line: n, Err: err}
	}
	return r.rows, nil
}

// Read reads a history with what is known without a configuration. See Site.Read.
func Read(from io.Reader, name string) ([]machine.Row, []Note, error) { return Site{}.Read(from, name) }

// Read reads a whole history. name is that of the file, for errors, which are of type *Error where a line is at
// fault. Lines must ascend in time; rows come in the order in which they became known, so that a test entered
// late stands where it was entered. They are numbered from 1, which an import into a ledger replaces.
//
// An id stands for one event: a line that repeats an earlier one with its id is left out with a note, and one
// that says something else under a known id is an error. Blank lines are skipped.
func (s Site) Read(from io.Reader, name string) ([]machine.Row, []Note, error) {
	r := newReader(s)
	if sized, ok := from.(interface{ Len() int }); ok {
		r.expect(sized.Len() / ordinaryLine)
	}
	if err := r.readAll(from, name); err != nil {
		return nil, nil, err
	}
	return r.inOrder(), r.notes, nil
}

// readAll takes all lines.
func (r *reader) readAll(from io.Reader, name string) error {
	lines := bufio.NewScanner(from)
	lines.Buffer(nil, longestLine)
	for lines.Scan() {
		r.n++
		if !r.takePlain(lines.Bytes()) {
			if err := r.takeLine(lines.Text()); errors.Is(err, ErrIDsNeeded) {
				return err
			} else if err != nil {
				return &Error{name, r.n, err}
			}
		}
		if r.stream != nil && len(r.rows) >= streamRows {
			r.stream.handOut(r, r.before)
		}
	}
	if err := lines.Err(); errors.Is(err, bufio.ErrTooLong) {
		return &Error{name, r.n + 1, fmt.Errorf("the line is longer than %d bytes", longestLine)}
	} else if err != nil {
		return fmt.Errorf("reading %s: %w", name, err)
	}
	return nil
}

// reader collects the rows of one history.
type reader struct {
	*parser
	site    Site
	n       int // number of the present line
	before  time.Time
	beforeN int
	rows    []machine.Row
	notes   []Note
	seen    map[idKey]seen
	lines   []int32           // of the rows, kept while these have no ids
	known   map[string]string // one copy of each name, so that rows do not hold whole lines in memory
	encoder encoder
	stream  *stream // nil: rows stay here until the end
}

func newReader(s Site) *reader {
	return &reader{parser: newParser(), site: s, seen: map[idKey]seen{}, known: map[string]string{}}
}

// ordinaryLine is about the length of a run's line, bytes.
const ordinaryLine = 100

// expect makes room for so many lines at once.
func (r *reader) expect(lines int) {
	r.rows = make([]machine.Row, 0, lines)
	if !r.site.WithoutIDs {
		r.seen = make(map[idKey]seen, lines)
	}
}

func (r *reader) remark(text string) { r.notes = append(r.notes, Note{Line: r.n, Text: text}) }

func (r *reader) name(s string) string {
	if s == "" {
		return ""
	}
	if k, ok := r.known[s]; ok {
		return k
	}
	k := strings.Clone(s)
	r.known[k] = k
	return k
}

// nameOf is name for bytes, which are copied only once.
func (r *reader) nameOf(b []byte) string {
	if k, ok := r.known[string(b)]; ok {
		return k
	}
	return r.name(string(b))
}

// takePlain adds the row of a plain run, where that needs no id and no message.
func (r *reader) takePlain(text []byte) bool {
	if !r.site.WithoutIDs {
		return false
	}
	row, ok := r.plainRun(text)
	if !ok || row.At.Before(r.before) {
		return false
	}
	r.before, r.beforeN = row.At, r.n
	r.rows, r.lines = append(r.rows, row), append(r.lines, int32(r.n))
	return true
}

// takeLine takes any line of a file, a blank one too.
func (r *reader) takeLine(text string) error {
	if r.n == 1 {
		text = strings.TrimPrefix(text, "\ufeff")
	}
	if strings.TrimSpace(text) == "" {
		return nil
	}
	return r.take(text)
}

// take reads one line and adds its rows.
func (r *reader) take(text string) error {
	if err := r.parse(text); err != nil {
		return err
	}
	if r.time.Before(r.before) {
		return fmt.Errorf("time %s lies before that of line %d: sort the lines by time", r.time.Format(time.RFC3339Nano), r.beforeN)
	}
	r.before, r.beforeN = r.time, r.n
	k, err := kindOf(&r.line)
	if err != nil {
		return err
	}
	if k.spreads && r.has.has(fNode) {
		return r.spread(k)
	}
	return r.add(k)
}

// spread turns a line about a node into one about each of its channels.
func (r *reader) spread(k kind) error {
	if err := checkScope(&r.line); err != nil {
		return err
	}
	node := r.text(fNode)
	if r.site.Channels == nil {
		return errors.New("node: which channels a node drives is not known here: name the channels")
	}
	channels := r.site.Channels(node)
	if len(channels) == 0 {
		return fmt.Errorf("node: there is no node %.40q", node)
	}
	given := r.text(fID)
	r.has = r.has&^setOf(fNode) | setOf(fChannel)
	for _, c := range channels {
		r.texts[fChannel-firstText] = c
		if given != "" {
			r.texts[fID-firstText] = given + "/" + c
		}
		if err := r.add(k); err != nil {
			return err
		}
	}
	return nil
}

// add gives the present line its meaning and its id.
func (r *reader) add(k kind) error {
	if k.spreads {
		if err := checkScope(&r.line); err != nil {
			return err
		}
	}
	body, err := k.body(r, &r.line)
	if err != nil {
		return fmt.Errorf("%s: %w", r.text(fType), err)
	}
	row := machine.Row{At: r.time, Trusted: true, By: r.name(r.text(fBy)), Body: body}
	if r.has.has(fEntered) {
		row.At = r.entered
	}
	row.Elapsed = safety.Elapsed(row.At.UnixMilli())
	fresh, err := r.identify(&row)
	if err != nil || !fresh {
		return err
	}
	r.rows = append(r.rows, row)
	if r.site.WithoutIDs {
		r.lines = append(r.lines, int32(r.n))
	}
	return nil
}

// inOrder gives the rows in the order in which they became known, numbered.
func (r *reader) inOrder() []machine.Row {
	byTime := func(a, b machine.Row) int { return a.At.Compare(b.At) }
	if !slices.IsSortedFunc(r.rows, byTime) {
		slices.SortStableFunc(r.rows, byTime)
	}
	for i := range r.rows {
		r.rows[i].Seq = int64(i) + 1
	}
	return r.rows
}
