package config

import (
	"strings"
	"testing"
)

var scenarioKeys = []string{"miss_tests", "holiday", "outage"}

func TestScenarioIsRead(t *testing.T) {
	got, problems := ParseScenario("s.yaml", []byte("# invented\nmiss_tests: 0.2\noutage:\n  - pumps@day5+6h\n  - broker@day6+30m\n"), scenarioKeys)
	want := []Asked{{"miss_tests", "0.2", Pos{2, 13}}, {"outage", "pumps@day5+6h", Pos{4, 5}}, {"outage", "broker@day6+30m", Pos{5, 5}}}
	if len(problems) > 0 || len(got) != len(want) {
		t.Fatalf("found %+v with %v; want %+v", got, problems, want)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("entry %d is %+v, want %+v", i, got[i], want[i])
		}
	}
}

func TestScenarioSaysWhereItIsWrong(t *testing.T) {
	for _, c := range []struct {
		name, text string
		want       []string
	}{
		{"nothing in it", "", []string{"s.yaml", "the file is empty"}},
		{"a list", "- holiday\n", []string{"s.yaml:1:1", "must be a mapping of keys"}},
		{"unknown key", "miss_tests: 0.2\nholidays: 3d@day2\n", []string{"s.yaml:2:1", "unknown key", "did you mean holiday?"}},
		{"twice", "holiday: 1d@day2\nholiday: 1d@day4\n", []string{"s.yaml:2:1", "there twice", "the first is in line 1"}},
		{"no value", "holiday:\n", []string{"s.yaml:1:", "must be a text"}},
		{"an empty list", "holiday: []\n", []string{"s.yaml:1:10", "found 0 entries"}},
		{"a mapping", "holiday: {from: 3}\n", []string{"s.yaml:1:10", "must be a text"}},
		{"an alias", "holiday: &a 1d@day2\noutage: *a\n", []string{"s.yaml:2:9", "alias"}},
		{"no YAML", "holiday: [\n", []string{"this is no YAML"}},
		{"two at once", "x: 1\ny: 2\n", []string{"s.yaml:1:1", "s.yaml:2:1"}},
	} {
		_, problems := ParseScenario("s.yaml", []byte(c.text), scenarioKeys)
		for _, want := range c.want {
			if !strings.Contains(problems.String(), want) {
				t.Errorf("%s: want %q in %s", c.name, want, problems)
			}
		}
	}
	if _, problems := LoadScenario("no/such/file.yaml", scenarioKeys); !strings.Contains(problems.String(), "cannot be read") {
		t.Errorf("a file that is not there: %s", problems)
	}
}
