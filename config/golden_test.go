package config

import (
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "rewrite golden files and REFERENCE.md")

// compareGolden compares text with a file, or rewrites it under -update.
func compareGolden(t *testing.T, path, got string) {
	t.Helper()
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatalf("%v; run the test with -update", err)
	}
	if got != string(want) {
		t.Errorf("%s is stale; run the test with -update and explain each changed line\n got:\n%s\nwant:\n%s", path, got, want)
	}
}

// files lists what a pattern matches and fails if that is fewer than least.
func files(t *testing.T, least int, patterns ...string) []string {
	t.Helper()
	var list []string
	for _, p := range patterns {
		found, err := filepath.Glob(p)
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, found...)
	}
	if len(list) < least {
		t.Fatalf("%v match %d files, want at least %d", patterns, len(list), least)
	}
	return list
}

// parseFile parses a file under its bare name, so that messages do not depend on where it lies.
func parseFile(t *testing.T, path string) (*Site, Problems, Problems) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return Parse(filepath.Base(path), data)
}

var declaredProblems = regexp.MustCompile(`\(problems: (\d+)\)`)

// Each file below bad holds one mistake; the text beside it is what the keeper reads.
func TestBadFiles(t *testing.T) {
	for _, path := range files(t, 100, "../testdata/config/bad/*.yaml") {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".yaml"), func(t *testing.T) {
			site, problems, _ := parseFile(t, path)
			if site != nil {
				t.Errorf("Parse gave a site although the file is wrong")
			}
			data, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			want := 1
			head, _, _ := strings.Cut(string(data), "\n")
			if m := declaredProblems.FindStringSubmatch(head); m != nil {
				if want, err = strconv.Atoi(m[1]); err != nil {
					t.Fatal(err)
				}
			}
			if len(problems) != want {
				t.Errorf("Parse found %d problems, want %d:\n%s", len(problems), want, problems)
			}
			compareGolden(t, strings.TrimSuffix(path, ".yaml")+".txt", problems.String()+"\n")
		})
	}
}

// The example sites and the files below good load without a problem. The warnings of the latter are pinned,
// because they are what `check` tells a keeper.
func TestGoodFiles(t *testing.T) {
	for _, path := range goodFiles(t) {
		t.Run(filepath.Base(path), func(t *testing.T) {
			site, problems, warnings := parseFile(t, path)
			if len(problems) > 0 || site == nil {
				t.Fatalf("problems:\n%s", problems)
			}
			checkInvariants(t, site)
			if strings.Contains(path, "testdata") {
				name := strings.TrimSuffix(filepath.Base(path), ".yaml") + ".warnings"
				compareGolden(t, filepath.Join("../testdata/config/warnings", name), warnings.String()+"\n")
			}
		})
	}
}

func goodFiles(t *testing.T) []string {
	return files(t, 5, "../testdata/config/good/*.yaml", "../deploy/sites/*.yaml")
}

func TestReference(t *testing.T) {
	compareGolden(t, "REFERENCE.md", Reference())
}

func TestProblemsAreSortedAndSaidOnce(t *testing.T) {
	a := Problem{File: "f", At: Pos{2, 1}, Path: "b", Found: "x"}
	b := Problem{File: "f", At: Pos{1, 9}, Path: "z", Found: "x", Allowed: "y", Do: "z"}
	c := Problem{File: "f", At: Pos{2, 1}, Path: "a", Found: "x"}
	got := Problems{a, b, c, a}.sorted().String()
	want := "f:1:9: z: x, y; z\nf:2:1: a: x\nf:2:1: b: x"
	if got != want {
		t.Errorf("sorted problems = %q, want %q", got, want)
	}
	if Problems(nil).Err() != nil {
		t.Errorf("Err of no problems is an error")
	}
	if err := (Problems{b}).Err(); err == nil || err.Error() != "f:1:9: z: x, y; z" {
		t.Errorf("Err = %v", err)
	}
}

func TestLoadMissingFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "none.yaml")
	site, problems, _ := Load(path)
	if site != nil || len(problems) != 1 || !strings.HasPrefix(problems.String(), path+": the file cannot be read: ") {
		t.Errorf("Load of a missing file = %v, %v", site, problems)
	}
}

func TestLoadReadsNothingElse(t *testing.T) {
	// None of the files that every-key.yaml names exists.
	if site, problems, _ := Load("../testdata/config/good/every-key.yaml"); site == nil {
		t.Errorf("Load = %v", problems)
	}
}
