package logbook

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
)

var update = flag.Bool("update", false, "rewrite the golden files")

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs; got\n%s\nwant\n%s", path, got, want)
	}
}

// Every kind of row in words.
func TestEntriesGolden(t *testing.T) {
	var b strings.Builder
	for _, e := range Entries(care(), lisbon) {
		value := ""
		if e.Value != nil {
			value = fmt.Sprintf(" value=%g", *e.Value)
		}
		if e.VolumeML != nil {
			value += fmt.Sprintf(" volume=%g", *e.VolumeML)
		}
		fmt.Fprintf(&b, "%s %s [%s] %q%s %s | %s\n", e.At.In(lisbon).Format("15:04"), e.Kind, e.Class, e.Of(), value, e.Outcome, e.Text)
	}
	golden(t, "entries.txt", b.String())
}

// Every kind that a ledger can hold has words of its own, and a name in Kinds.
func TestEveryRowHasWords(t *testing.T) {
	seen := map[string]bool{}
	for _, e := range append(Entries(care(), lisbon), Entries(march(), lisbon)...) {
		seen[e.Kind] = true
		if e.Text == "" || e.Class == "" || !slices.Contains(Kinds(), e.Kind) {
			t.Errorf("%s: text %q, class %q", e.Kind, e.Text, e.Class)
		}
	}
	for _, k := range Kinds() {
		if !seen[k] {
			t.Errorf("no row of kind %s is tried", k)
		}
	}
}

// The two rows of a run are one entry, whose outcome and volume are those of its end.
func TestRunsAreOneEntry(t *testing.T) {
	finished, unknown := 0, 0
	for _, e := range Entries(march(), lisbon) {
		if e.Kind != "run" {
			continue
		}
		switch e.Outcome {
		case "finished":
			finished++
			if *e.VolumeML != 24 || e.Class != Dosing || e.Odd() {
				t.Errorf("%+v", e)
			}
		case "unknown":
			unknown++
			if *e.VolumeML != 48 || e.Class != Trouble || !e.Odd() || !strings.Contains(e.Text, "between 0 and 48 mL") {
				t.Errorf("%+v", e)
			}
		}
	}
	if finished != 42*4-1 || unknown != 1 {
		t.Errorf("%d finished, %d unknown", finished, unknown)
	}
	open := Entries(march()[4:5], lisbon)
	if len(open) != 1 || open[0].Outcome != "open" || open[0].Odd() {
		t.Errorf("a run without an end: %+v", open)
	}
}

func TestPick(t *testing.T) {
	rows := append(march(), care()...)
	all := Entries(rows, lisbon)
	from := time.Date(2027, 3, 10, 9, 0, 0, 0, lisbon)
	for _, c := range []struct {
		name  string
		pick  Pick
		least int
		holds func(Entry) bool
	}{
		{"everything but what is dull", Pick{}, 100, func(e Entry) bool { return !slices.Contains(dull, e.Kind) }},
		{"a period", Pick{Since: from, Until: from.Add(time.Minute)}, 1, func(e Entry) bool { return e.At.Equal(from) }},
		{"a kind", Pick{Kinds: []string{"refill", "swap"}}, 3, func(e Entry) bool { return e.Kind == "refill" || e.Kind == "swap" }},
		{"a dull kind that is asked for", Pick{Kinds: []string{"answer"}}, 1, func(e Entry) bool { return e.Kind == "answer" }},
		{"a channel", Pick{Channels: []string{"alk"}}, 100, func(e Entry) bool { return e.Channel == "alk" }},
		{"a person", Pick{By: "nele", Kinds: []string{"test"}}, 10, func(e Entry) bool { return e.By == "nele" && e.Kind == "test" }},
		{"nobody of that name", Pick{By: "jo"}, 0, func(Entry) bool { return false }},
	} {
		got := c.pick.Entries(all)
		if len(got) < c.least {
			t.Errorf("%s: %d entries", c.name, len(got))
		}
		for _, e := range got {
			if !c.holds(e) {
				t.Errorf("%s: %+v", c.name, e)
			}
		}
	}
	if n := len((Pick{All: true}).Entries(all)); n != len(all) {
		t.Errorf("%d of %d entries", n, len(all))
	}
	if (Pick{Kinds: []string{"run", "dose"}}).Unknown() != "dose" || (Pick{Kinds: Kinds()}).Unknown() != "" {
		t.Error("what a kind is is not known")
	}
}

// Rows of a pick keep both rows of a run, and only those.
func TestPickRows(t *testing.T) {
	rows := append(march(), care()...)
	if got := (Pick{All: true}).Rows(rows); len(got) != len(rows) {
		t.Errorf("%d of %d rows", len(got), len(rows))
	}
	begun, ended := 0, 0
	for _, r := range (Pick{Kinds: []string{"run"}, Channels: []string{"alk"}, All: true}).Rows(rows) {
		switch r.Body.(type) {
		case machine.RunReserved:
			begun++
		case machine.RunEnded:
			ended++
		case machine.RunPast:
		default:
			t.Errorf("a row of kind %s", r.Body.Kind())
		}
	}
	if begun != 42*4 || ended != begun {
		t.Errorf("%d runs begun, %d ended", begun, ended)
	}
	if got := (Pick{Kinds: []string{"test"}}).Rows(march()); len(got) != 14 {
		t.Errorf("%d tests", len(got))
	}
}
