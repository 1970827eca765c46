package history

import (
	"os"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
)

// The site of these tests is invented.

var site = Site{
	Channels: func(node string) []string { return map[string][]string{"board": {"alk", "ca"}}[node] },
	Quantity: func(probe string) units.Quantity {
		return map[string]units.Quantity{"ph": units.PH, "leak": units.Switch, "temp": units.Temperature, "kh": units.Alkalinity}[probe]
	},
}

// at is a moment of the first of March 2027, UTC.
func at(clock string) time.Time {
	t, err := time.Parse(time.RFC3339, "2027-03-01T"+clock+"Z")
	if err != nil {
		panic(err)
	}
	return t
}

func testdata(t testing.TB, name string) string {
	t.Helper()
	data, err := os.ReadFile("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

func mustRead(t testing.TB, text string) ([]machine.Row, []Note) {
	t.Helper()
	rows, notes, err := site.Read(strings.NewReader(text), "h.jsonl")
	if err != nil {
		t.Fatalf("Read: %v\n%s", err, text)
	}
	return rows, notes
}

func mustWrite(t testing.TB, rows []machine.Row) string {
	t.Helper()
	var b strings.Builder
	w := NewWriter(site)
	for _, r := range rows {
		w.Add(r)
	}
	if _, err := w.Finish(&b); err != nil {
		t.Fatalf("Write: %v", err)
	}
	return b.String()
}

// one reads a single line and gives its only row.
func one(t *testing.T, text string) machine.Row {
	t.Helper()
	rows, _ := mustRead(t, text)
	if len(rows) != 1 {
		t.Fatalf("%s gave %d rows, want 1", text, len(rows))
	}
	return rows[0]
}
