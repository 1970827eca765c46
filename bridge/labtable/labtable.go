// Package labtable reads a table of results, as laboratories and spreadsheets give them, by a map of its columns.
//
// It decides which cell is what and refuses what it cannot read, by line; it judges no value, converts none, guesses no
// unit, and touches no file.
package labtable

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"aliquot/planner/units"
)

// Map says what the columns hold. A table is long (one result a row: Quantity, Value and Unit name columns) or wide (one
// sample a row: Columns name a quantity each), or both.
type Map struct {
	Time, System, Quantity, Value, Unit, Method, Lot string            // names of columns; empty: there is none
	FixedUnit                                        string            // of every value that has no unit of its own
	Columns                                          []Column          // of a wide table
	Names                                            map[string]string // the table's names of quantities -> ours
	Dates                                            Dates
	DecimalComma                                     bool
	Zone                                             *time.Location // of times that name none
}

// Column of a wide table holds values of one quantity in one unit.
type Column struct {
	Quantity units.Quantity
	Name     string
	Unit     string
}

// Dates is the order of day, month and year where a date is not written year-month-day.
type Dates string

// Orders.
const (
	YearFirst  Dates = "ymd"
	DayFirst   Dates = "dmy"
	MonthFirst Dates = "mdy"
)

// Result is one value of a table, not yet judged.
type Result struct {
	Line                int
	At                  time.Time // when the sample was drawn; zero: the table does not say
	System, Method, Lot string
	Quantity            units.Quantity
	Value               float64
	Unit                string
}

// Skipped is a cell without a number that a laboratory writes on purpose: empty, "<0.05", "n.d.".
type Skipped struct {
	Line int
	Text string
}

// LeftOut is what Names says for a quantity that nobody wants.
const LeftOut = "-"

// maxLines bounds a table: years of daily samples.
const maxLines = 10000

// Read reads a table. A cell that cannot be read is an error, and then nothing is given: all of them are named at once.
func Read(r io.Reader, m Map) (results []Result, skipped []Skipped, err error) {
	text, err := io.ReadAll(io.LimitReader(r, 4<<20))
	if err != nil {
		return nil, nil, err
	}
	c := csv.NewReader(strings.NewReader(strings.TrimPrefix(string(text), "\ufeff")))
	c.Comma, c.FieldsPerRecord, c.TrimLeadingSpace, c.LazyQuotes = separator(string(text)), -1, true, true
	head, err := c.Read()
	if err != nil {
		return nil, nil, fmt.Errorf("the table has no line of column names: %w", err)
	}
	t := table{m: m}
	if err := t.find(head); err != nil {
		return nil, nil, err
	}
	var bad []error
	for n := 0; ; n++ {
		cells, err := c.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err == nil && n >= maxLines {
			err = fmt.Errorf("more than %d lines", maxLines)
		}
		if err != nil {
			return nil, nil, fmt.Errorf("the table cannot be read: %w", err)
		}
		line, _ := c.FieldPos(0)
		bad = append(bad, t.row(line, cells)...)
	}
	if len(bad) > 0 {
		return nil, nil, errors.Join(bad...)
	}
	return t.results, t.skipped, nil
}

// separator is the one of comma, semicolon and tab that the first line has most of.
func separator(text string) rune {
	first, _, _ := strings.Cut(text, "\n")
	best, most := ',', 0
	for _, s := range []rune{',', ';', '\t'} {
		if n := strings.Count(first, string(s)); n > most {
			best, most = s, n
		}
	}
	return best
}

type table struct {
	m       Map
	index   map[string]int
	results []Result
	skipped []Skipped
}

// find places the columns of the map, and names all that are missing.
func (t *table) find(head []string) error {
	t.index = map[string]int{}
	var names []string
	for i, name := range head {
		name = strings.TrimSpace(name)
		names = append(names, name)
		if _, twice := t.index[name]; !twice {
			t.index[name] = i
		}
	}
	if t.m.Value == "" && len(t.m.Columns) == 0 {
		return fmt.Errorf("the map names no values: map value=COLUMN with quantity=COLUMN, or a quantity itself; the columns are: %s", strings.Join(names, ", "))
	}
	if (t.m.Value == "") != (t.m.Quantity == "") {
		return errors.New("a long table needs both: map quantity=COLUMN and value=COLUMN")
	}
	wanted := []string{t.m.Time, t.m.System, t.m.Quantity, t.m.Value, t.m.Unit, t.m.Method, t.m.Lot}
	for _, c := range t.m.Columns {
		wanted = append(wanted, c.Name)
	}
	for _, w := range wanted {
		if w != "" && !slices.Contains(names, w) {
			return fmt.Errorf("there is no column %q; the columns are: %s", w, strings.Join(names, ", "))
		}
	}
	return nil
}

func (t *table) cell(cells []string, column string) string {
	if i, ok := t.index[column]; ok && column != "" && i < len(cells) {
		return strings.TrimSpace(cells[i])
	}
	return ""
}

func (t *table) row(line int, cells []string) (bad []error) {
	if strings.TrimSpace(strings.Join(cells, "")) == "" {
		return nil
	}
	r := Result{Line: line, System: t.cell(cells, t.m.System), Method: t.cell(cells, t.m.Method), Lot: t.cell(cells, t.m.Lot)}
	if t.m.Time != "" {
		var err error
		if r.At, err = parseTime(t.cell(cells, t.m.Time), t.m.Dates, t.m.Zone); err != nil {
			return []error{fmt.Errorf("line %d: %s: %w", line, t.m.Time, err)}
		}
	}
	if t.m.Value != "" {
		name := t.cell(cells, t.m.Quantity)
		q, err := t.quantity(name)
		switch {
		case t.m.Names[name] == LeftOut:
			t.skipped = append(t.skipped, Skipped{line, fmt.Sprintf("%q is left out, as the map says", name)})
		case err != nil:
			bad = append(bad, fmt.Errorf("line %d: %w", line, err))
		default:
			one := r
			one.Quantity, one.Unit = q, t.cell(cells, t.m.Unit)
			bad = append(bad, t.value(one, t.cell(cells, t.m.Value))...)
		}
	}
	for _, c := range t.m.Columns {
		one := r
		one.Quantity, one.Unit = c.Quantity, c.Unit
		bad = append(bad, t.value(one, t.cell(cells, c.Name))...)
	}
	return bad
}

// quantity finds ours for a name of the table.
func (t *table) quantity(name string) (units.Quantity, error) {
	if ours, ok := t.m.Names[name]; ok {
		name = ours
	}
	for _, q := range units.Quantities() {
		if strings.EqualFold(string(q), name) {
			return q, nil
		}
	}
	return "", fmt.Errorf("%q is no quantity; say which one it is, as in --name %s=calcium, or leave it out with --name %[2]s=-", name, shellWord(name))
}

func shellWord(s string) string {
	if s == "" || strings.ContainsAny(s, " ()'\"<>&|;") {
		return "'" + s + "'"
	}
	return s
}

func (t *table) value(r Result, text string) []error {
	if blank(text) {
		t.skipped = append(t.skipped, Skipped{r.Line, fmt.Sprintf("%s: %q is no value and was left out", r.Quantity, text)})
		return nil
	}
	if t.m.DecimalComma {
		text = strings.Replace(text, ",", ".", 1)
	}
	v, unit, err := units.ParseSplit(text)
	if err != nil {
		return []error{fmt.Errorf("line %d: %s: %w", r.Line, r.Quantity, err)}
	}
	r.Value = v
	for _, u := range []string{unit, t.m.FixedUnit} {
		if r.Unit == "" {
			r.Unit = u
		}
	}
	t.results = append(t.results, r)
	return nil
}

// blank says whether a laboratory wrote that it has no number.
func blank(text string) bool {
	switch strings.ToLower(text) {
	case "", "-", "--", "n.d.", "nd", "n/a", "bdl", "---":
		return true
	}
	return strings.HasPrefix(text, "<") || strings.HasPrefix(text, ">")
}

// noon is the hour of a sample of which only the day is known: half a day off at most.
const noon = 12

// parseTime reads RFC 3339, year-month-day, or day, month and year in the order said, each with or without hours.
func parseTime(text string, order Dates, zone *time.Location) (time.Time, error) {
	if zone == nil {
		zone = time.UTC
	}
	if t, err := time.Parse(time.RFC3339, text); err == nil {
		return t, nil
	}
	day := map[Dates][]string{"": {"2006-1-2"}, YearFirst: {"2006-1-2", "2006/1/2", "2006.1.2"}, DayFirst: {"2.1.2006", "2/1/2006", "2-1-2006", "2.1.06", "2/1/06"},
		MonthFirst: {"1/2/2006", "1-2-2006", "1/2/06"}}[order]
	for _, d := range day {
		if t, err := time.ParseInLocation(d, text, zone); err == nil {
			return t.Add(noon * time.Hour), nil
		}
		for _, hour := range []string{" 15:04", "T15:04", " 15:04:05", "T15:04:05"} {
			if t, err := time.ParseInLocation(d+hour, text, zone); err == nil {
				return t, nil
			}
		}
	}
	return time.Time{}, fmt.Errorf("%q is no time such as 2027-03-01, 2027-03-01 08:30 or 2027-03-01T08:30:00Z; for 1.3.2027 say --dates dmy, for 3/1/2027 --dates mdy", text)
}
