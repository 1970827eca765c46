package planner_test

import (
	"encoding/csv"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"testing"
)

var updateChecks = flag.Bool("update-checks", false, "write the table of checks into METHODS.md")

const (
	checksBegin = "<!-- checks: written by TestTableOfChecks, do not edit -->"
	checksEnd   = "<!-- end of checks -->"
)

// TestTableOfChecks keeps the table of METHODS.md at what the packages' own tests have measured: each writes its
// checks.csv, and fails when that is stale.
func TestTableOfChecks(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("*", "testdata", "checks.csv"))
	if err != nil {
		t.Fatal(err)
	}
	sort.Strings(files)
	var b strings.Builder
	total := 0
	b.WriteString(checksBegin + "\n\n| package | check | source | values | tolerance | worst deviation |\n| --- | --- | --- | --- | --- | --- |\n")
	for _, f := range files {
		total += writeChecks(t, &b, f)
	}
	fmt.Fprintf(&b, "\n%d published or reference values in all.\n\n%s", total, checksEnd)
	if total < 300 {
		t.Errorf("%d values are checked; at least 300 are wanted", total)
	}
	compareTable(t, b.String())
}

// writeChecks adds the lines of one package and gives the number of values that gate.
func writeChecks(t *testing.T, b *strings.Builder, file string) int {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("%s: %d rows, %v", file, len(rows), err)
	}
	at := map[string]int{}
	for i, name := range rows[0] {
		at[name] = i
	}
	get := func(row []string, names ...string) string {
		for _, n := range names {
			if i, ok := at[n]; ok {
				return strings.ReplaceAll(row[i], "|", "/")
			}
		}
		return ""
	}
	sum := 0
	for _, row := range rows[1:] {
		n, err := strconv.Atoi(get(row, "count"))
		if err != nil {
			t.Fatalf("%s: count %q: %v", file, get(row, "count"), err)
		}
		note := ""
		if get(row, "gates") == "no" {
			note = " (shown, does not gate)"
		} else {
			sum += n
		}
		unit := get(row, "unit")
		fmt.Fprintf(b, "| %s | %s%s | %s | %d | %s | %s |\n", strings.Split(filepath.ToSlash(file), "/")[0], get(row, "check"), note, get(row, "source"), n,
			strings.TrimSpace(get(row, "tolerance")+" "+unit), strings.TrimSpace(get(row, "worst", "worst_deviation")+" "+unit))
	}
	return sum
}

func compareTable(t *testing.T, table string) {
	t.Helper()
	const name = "METHODS.md"
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	before, rest, ok := strings.Cut(string(text), checksBegin)
	if !ok {
		t.Fatalf("%s has no place for the table of checks", name)
	}
	_, after, ok := strings.Cut(rest, checksEnd)
	if !ok {
		t.Fatalf("the table of checks in %s has no end", name)
	}
	want := before + table + after
	if string(text) == want {
		return
	}
	if !*updateChecks {
		t.Fatalf("the table of checks in %s is stale: run go test ./planner -run TestTableOfChecks -update-checks and look at the difference", name)
	}
	if err := os.WriteFile(name, []byte(want), 0o644); err != nil {
		t.Fatal(err)
	}
}
