package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

const (
	lastHazard    = 46
	lastInvariant = 14
)

// uncovered lists the numbers that no test's name carries. It is empty, and stays so.
var uncovered = map[string]bool{}

// TestEveryHazardHasARowAndATest keeps safety/HAZARDS.md true: a number without a row, a row without its number in a
// test's name, and a test that does not exist are errors.
func TestEveryHazardHasARowAndATest(t *testing.T) {
	root := filepath.Join("..", "..")
	tests := testNames(t, root)
	page, err := os.ReadFile(filepath.Join(root, "safety", "HAZARDS.md"))
	if err != nil {
		t.Fatal(err)
	}
	for _, problem := range hazardProblems(string(page), tests, uncovered) {
		t.Error(problem)
	}
}

// hazardNumbers lists all numbers in order.
func hazardNumbers() []string {
	var out []string
	for i := 1; i <= lastInvariant; i++ {
		out = append(out, fmt.Sprintf("INV-%d", i))
	}
	for i := 1; i <= lastHazard; i++ {
		out = append(out, fmt.Sprintf("H-%02d", i))
	}
	return out
}

var (
	hazardRow  = regexp.MustCompile(`(?m)^\| ((?:H|INV)-\d+) \|.*$`)
	hazardTest = regexp.MustCompile("`((?:Test|Fuzz)[^`]+)`")
)

func hazardProblems(page string, tests map[string]bool, open map[string]bool) []string {
	var out []string
	rows := map[string]int{}
	for _, m := range hazardRow.FindAllStringSubmatch(page, -1) {
		rows[m[1]]++
	}
	covered := map[string]bool{}
	for name := range tests {
		for _, n := range numbersOf(name) {
			covered[n] = true
		}
	}
	known := map[string]bool{}
	for _, n := range hazardNumbers() {
		known[n] = true
		if rows[n] != 1 {
			out = append(out, fmt.Sprintf("%s has %d rows in HAZARDS.md; want 1", n, rows[n]))
		}
		if covered[n] == open[n] {
			out = append(out, fmt.Sprintf("%s: in a test's name %v, listed as uncovered %v", n, covered[n], open[n]))
		}
	}
	for n := range rows {
		if !known[n] {
			out = append(out, n+" has a row and is no number")
		}
	}
	for _, m := range hazardTest.FindAllStringSubmatch(page, -1) {
		if m[1] != "TestStories/…" && !tests[m[1]] {
			out = append(out, fmt.Sprintf("HAZARDS.md names %s, which is no test", m[1]))
		}
	}
	return out
}

// numbersOf reads the numbers in a test's name: TestH11H12INV1…, TestH02_…, TestStories/H-07-INV-6-….
func numbersOf(name string) []string {
	var out []string
	for rest := strings.TrimPrefix(strings.TrimPrefix(name, "Test"), "Stories/"); ; {
		m := numberAtStart.FindStringSubmatch(rest)
		if m == nil {
			return out
		}
		n := strings.TrimLeft(m[2], "0")
		if m[1] == "H" && len(n) == 1 {
			n = "0" + n
		}
		out, rest = append(out, m[1]+"-"+n), rest[len(m[0]):]
		if i := nextNumber.FindStringIndex(rest); i != nil && i[0] > 0 {
			rest = rest[i[0]:]
		}
	}
}

var (
	numberAtStart = regexp.MustCompile(`^[-_]?(H|INV)[-_]?(\d+)`)
	nextNumber    = regexp.MustCompile(`(?:H|INV)[-_]?\d+`)
)

// testNames lists the tests of the tree, and the stories of the machine as the subtests that they are.
func testNames(t *testing.T, root string) map[string]bool {
	t.Helper()
	names := map[string]bool{}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			return err
		}
		for _, decl := range file.Decls {
			if f, ok := decl.(*ast.FuncDecl); ok && f.Recv == nil && (strings.HasPrefix(f.Name.Name, "Test") || strings.HasPrefix(f.Name.Name, "Fuzz")) {
				names[f.Name.Name] = true
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	stories, err := filepath.Glob(filepath.Join(root, "bridge", "machine", "testdata", "*.txt"))
	if err != nil || len(stories) == 0 {
		t.Fatalf("no stories: %v", err)
	}
	for _, s := range stories {
		names["TestStories/"+strings.TrimSuffix(filepath.Base(s), ".txt")] = true
	}
	return names
}

// Nothing in a program replaces these: they have to stand where a reader begins.
func TestH46TheReaderIsWarnedOfMains(t *testing.T) {
	page, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	before, _, found := strings.Cut(string(page), "## Ten minutes to a real pump")
	if !found {
		t.Fatal("the README has no chapter about a real pump any more")
	}
	for _, word := range []string{"Mains electricity beside salt water", "residual-current device", "30 mA", "drip loops", "low-voltage pumps", "licensed electrician"} {
		if !strings.Contains(before, word) {
			t.Errorf("before it connects a pump the README says nothing of %q", word)
		}
	}
}

// The check itself must bite.
func TestHazardCheckFindsWhatIsWrong(t *testing.T) {
	var page strings.Builder
	tests := map[string]bool{"TestAll": true}
	for _, n := range hazardNumbers() {
		fmt.Fprintf(&page, "| %s | a `TestAll` |\n", n)
		tests["TestStories/"+n+"-x"] = true
	}
	good := page.String()
	for name, c := range map[string]struct {
		page  string
		tests func(map[string]bool)
		open  map[string]bool
		want  string
	}{
		"nothing":     {page: good},
		"no row":      {page: strings.Replace(good, "| H-07 |", "| x |", 1), want: "H-07 has 0 rows"},
		"two rows":    {page: good + "| H-07 | again |\n", want: "H-07 has 2 rows"},
		"stranger":    {page: good + "| H-99 | |\n", want: "H-99 has a row"},
		"no test":     {page: good, tests: func(m map[string]bool) { delete(m, "TestStories/INV-1-x") }, want: "INV-1:"},
		"no such":     {page: good + "`TestGone`", want: "TestGone"},
		"now covered": {page: good, open: map[string]bool{"H-03": true}, want: "H-03:"},
	} {
		t.Run(name, func(t *testing.T) {
			now := map[string]bool{}
			for k := range tests {
				now[k] = true
			}
			if c.tests != nil {
				c.tests(now)
			}
			got := hazardProblems(c.page, now, c.open)
			if c.want == "" && len(got) > 0 || c.want != "" && (len(got) != 1 || !strings.Contains(got[0], c.want)) {
				t.Errorf("found %q; want %q", got, c.want)
			}
		})
	}
	for name, want := range map[string]string{"TestH11H12INV1Elapsed": "[H-11 H-12 INV-1]", "TestStories/H-07-INV-6-second-owner": "[H-07 INV-6]",
		"TestINV1_H25_Preview": "[INV-1 H-25]", "TestINV1RollingCapH05H09": "[INV-1 H-05 H-09]", "TestPlan": "[]"} {
		if got := fmt.Sprint(numbersOf(name)); got != want {
			t.Errorf("numbersOf(%s) = %s; want %s", name, got, want)
		}
	}
}
