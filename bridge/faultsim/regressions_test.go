package faultsim

import (
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
)

// Scenarios that failed once are kept, as small as they could be made, and must not fail again.
func TestRegressions(t *testing.T) {
	files, err := filepath.Glob("testdata/regressions/*.txt")
	if err != nil || len(files) == 0 {
		t.Fatalf("no regressions: %v", err)
	}
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txt"), func(t *testing.T) {
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			s, err := Read(string(text), time.LoadLocation)
			if err != nil {
				t.Fatal(err)
			}
			if r := Run(s, Options{Keep: 30}); r.Violation != nil {
				t.Errorf("%s\n%s", r.Violation, strings.Join(r.Lines, "\n"))
			}
		})
	}
}

func TestScenarioIsReadAsItIsWritten(t *testing.T) {
	zones := zonesOf(t)
	for seed := range uint64(50) {
		s := FromSeed(seed, 12, zones)
		back, err := Read(s.String(), time.LoadLocation)
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		if back.String() != s.String() || !reflect.DeepEqual(back.Faults, s.Faults) {
			t.Fatalf("seed %d was written\n%sand read\n%s", seed, s, back)
		}
	}
}

func TestScenarioThatCannotBeRead(t *testing.T) {
	const whole = "seed 1\ndays 2\nstart 2027-01-10T12:00:00Z\nzone UTC\n"
	for _, c := range []struct{ name, text, want string }{
		{"no zone", "seed 1\ndays 2\nstart 2027-01-10T12:00:00Z\n", "needs a start and a zone"},
		{"an unknown name", whole + "weather fine\n", "nothing of a scenario is called so"},
		{"an unknown fault", whole + "fault 3h flood\n", `no fault is called "flood"`},
		{"a fault without a time", whole + "fault crash\n", "needs a time and a kind"},
		{"an unknown key", whole + "fault 3h crash x=2\n", `has no "x"`},
		{"a time that is none", whole + "fault soon crash\n", "invalid duration"},
		{"a name without a value", "seed\n", "a name and one value"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if _, err := Read(c.text, time.LoadLocation); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("the error is %v; want %q in it", err, c.want)
			}
		})
	}
}

// Every kind of fault strikes in some seed: a kind that never comes tests nothing.
func TestEveryDishOfTheMenuIsServed(t *testing.T) {
	zones, served := zonesOf(t), map[Kind]int{}
	for seed := range uint64(200) {
		for _, f := range FromSeed(seed, 30, zones).Faults {
			served[f.Kind]++
		}
	}
	for _, d := range menu {
		if served[d.kind] < 5 {
			t.Errorf("%s comes %d times in 200 seeds of 30 days; want at least 5", d.kind, served[d.kind])
		}
	}
}

// A failing scenario is made smaller, and still fails by the same rule.
func TestShrink(t *testing.T) {
	s := FromSeed(5, 4, zonesOf(t))
	s.Faults = append([]Fault{{At: 4 * hour, For: 30 * hour, Kind: LoseReports, N: 100}}, s.Faults...)
	whole := Run(s, Options{Tamper: &retryOnTimeout{runs: map[string]machine.SendRun{}}})
	if whole.Violation == nil {
		t.Fatal("the scenario does not fail; the test wants it to")
	}
	small := Shrink(s, Options{Tamper: &retryOnTimeout{runs: map[string]machine.SendRun{}}}, 60)
	r := Run(small, Options{Tamper: &retryOnTimeout{runs: map[string]machine.SendRun{}}, Keep: 10})
	if r.Violation == nil || r.Violation.Rule != whole.Violation.Rule {
		t.Fatalf("the smaller scenario gives %v; want %s", r.Violation, whole.Violation.Rule)
	}
	if len(small.Faults) > 2 || small.Days > 1 {
		t.Errorf("%d of %d faults and %d days are left; want at most 2 and 1", len(small.Faults), len(s.Faults), small.Days)
	}
	if !strings.Contains(strings.Join(r.Lines, "\n"), "VIOLATION of "+whole.Violation.Rule) {
		t.Errorf("the trace ends with %q; want the violation in it", r.Lines)
	}
	if good := FromSeed(2, 1, zonesOf(t)); Shrink(good, Options{}, 5).String() != good.String() {
		t.Error("a scenario that does not fail was changed")
	}
}

// The window finds the largest sum of any closed 24 h, wherever it begins.
func TestWindow(t *testing.T) {
	minute := time.Minute
	for _, c := range []struct {
		name  string
		pours []pour
		want  float64
	}{
		{"one", []pour{{0, minute, 10}}, 10},
		{"two within", []pour{{0, minute, 10}, {20 * hour, 20*hour + minute, 5}}, 15},
		{"two a day apart", []pour{{0, minute, 10}, {25 * hour, 25*hour + minute, 5}}, 10},
		{"half of each", []pour{{0, minute, 10}, {24*hour - minute/2, 24*hour + minute/2, 10}}, 15},
		{"ends as the day does", []pour{{0, minute, 10}, {24*hour - minute, 24 * hour, 10}}, 20},
		{"a piece that goes on", []pour{{0, minute, 10}, {minute, 2 * minute, 10}}, 20},
		{"a thin one begins, a thick one goes on", []pour{{0, minute, 1}, {24*hour + minute/2, 24*hour + 3*minute/2, 100}}, 100},
	} {
		t.Run(c.name, func(t *testing.T) {
			var w window
			most := 0.0
			for _, p := range c.pours {
				most = max(most, w.add(p))
			}
			if d := most - c.want; !(d > -1e-9 && d < 1e-9) {
				t.Errorf("the largest sum is %g; want %g", most, c.want)
			}
		})
	}
}
