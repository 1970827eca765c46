package seawater

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// table is a file of check values with the names of its columns.
type table struct {
	t       *testing.T
	file    string
	columns map[string]int
	rows    [][]string
}

func readTable(t *testing.T, file string) table {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "refs", file))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(all) < 2 {
		t.Fatalf("%s has no rows", file)
	}
	columns := map[string]int{}
	for i, name := range all[0] {
		columns[name] = i
	}
	return table{t: t, file: file, columns: columns, rows: all[1:]}
}

func (x table) text(row int, column string) string {
	x.t.Helper()
	i, ok := x.columns[column]
	if !ok {
		x.t.Fatalf("%s has no column %q", x.file, column)
	}
	return x.rows[row][i]
}

func (x table) number(row int, column string) float64 {
	x.t.Helper()
	v, err := strconv.ParseFloat(x.text(row, column), 64)
	if err != nil {
		x.t.Fatalf("%s, row %d, %s: %v", x.file, row+2, column, err)
	}
	return v
}

func (x table) has(row int, column string) bool { return x.text(row, column) != "" }

// check compares what is computed here with one source.
type check struct {
	name, source, unit string
	tolerance          float64
	memory             bool // the source's numbers are from memory: shown, never a reason to pass or fail alone
	worst              float64
	count              int
}

func (c *check) add(got, want float64) { c.deviate(math.Abs(got - want)) }

func (c *check) percent(got, want float64) { c.deviate(100 * math.Abs(got/want-1)) }

func (c *check) deviate(d float64) {
	c.count++
	if math.IsNaN(d) {
		d = math.Inf(1)
	}
	c.worst = max(c.worst, d)
}

func (c *check) row() []string {
	gate := "yes"
	if c.memory {
		gate = "no, from memory"
	}
	return []string{c.name, c.source, fmt.Sprintf("%.0e", c.tolerance), fmt.Sprintf("%.1e", c.worst), c.unit, strconv.Itoa(c.count), gate}
}

func must[T any](t *testing.T) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s = %.9g; want %.9g within %.1g", what, got, want, within)
	}
}
