package checktable

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// recorder is a Tester that keeps what went wrong.
type recorder struct{ errors []string }

func (r *recorder) Helper()                   {}
func (r *recorder) Failed() bool              { return len(r.errors) > 0 }
func (r *recorder) Errorf(f string, a ...any) { r.errors = append(r.errors, fmt.Sprintf(f, a...)) }

func TestAddGates(t *testing.T) {
	for _, c := range []struct {
		name      string
		deviation float64
		memory    bool
		fails     bool
	}{
		{"within", 0.009, false, false}, {"at", 0.01, false, false}, {"above", 0.0101, false, true}, {"below", -0.0101, false, true},
		{"not a number", math.NaN(), false, true}, {"endless", math.Inf(1), false, true},
		{"above, from memory", 5, true, false}, {"not a number, from memory", math.NaN(), true, true},
	} {
		var r recorder
		k := Check{Name: "k", Tolerance: 0.01, Memory: c.memory}
		k.Add(&r, c.name, c.deviation)
		if r.Failed() != c.fails {
			t.Errorf("%s: %v; want a failure: %v", c.name, r.errors, c.fails)
		}
	}
}

func TestRelative(t *testing.T) {
	var r recorder
	k := Check{Name: "k", Tolerance: 0.01}
	k.Relative(&r, "near", 100.5, 100)
	k.Relative(&r, "far", 102, 100)
	if len(r.errors) != 1 || !strings.Contains(r.errors[0], "far: 102, not 100") {
		t.Errorf("%q", r.errors)
	}
}

func TestHold(t *testing.T) {
	dir := t.TempDir()
	with := func(deviation float64) []*Check {
		c := &Check{Name: "k", Source: "s", Unit: "mL", Tolerance: 0.01}
		c.Add(&recorder{}, "x", deviation)
		return []*Check{c}
	}
	hold := func(update bool, checks []*Check) []string {
		var r recorder
		Hold(&r, dir, update, checks)
		return r.errors
	}
	if got := hold(false, with(0.001)); len(got) != 1 || !strings.Contains(got[0], "stale") {
		t.Errorf("without a file: %q", got)
	}
	if got := hold(true, with(0.001)); len(got) != 0 {
		t.Errorf("updating: %q", got)
	}
	text, err := os.ReadFile(filepath.Join(dir, "checks.csv"))
	if want := "check,source,tolerance,worst,unit,count,gates\nk,s,1e-02,1.0e-03,mL,1,yes\n"; err != nil || string(text) != want {
		t.Errorf("wrote %q, %v; want %q", text, err, want)
	}
	if got := hold(false, with(0.001)); len(got) != 0 {
		t.Errorf("unchanged: %q", got)
	}
	if got := hold(false, with(0.002)); len(got) != 1 {
		t.Errorf("changed: %q", got)
	}
	if got := hold(true, []*Check{{Name: "empty"}}); len(got) != 2 || !strings.Contains(got[0], "compares nothing") {
		t.Errorf("a check of nothing: %q", got)
	}
	if again, _ := os.ReadFile(filepath.Join(dir, "checks.csv")); string(again) != string(text) {
		t.Errorf("a failed check was written: %q", again)
	}
}
