package history

import (
	"strings"
	"testing"
)

// Who only folds needs no ids; what is read is the same but for them, whatever lines give.
func TestReadingWithoutIDs(t *testing.T) {
	run := `{"time":"2027-03-01T08:00:00Z","type":"run","channel":"alk","volume_ml":2.02,"outcome":"finished"}` + "\n"
	rows, _, err := Read(strings.NewReader(run+run), "h")
	if err != nil || len(rows) != 2 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	exported := strings.Replace(run, `"outcome"`, `"id":"`+rows[1].ID+`","outcome"`, 1)
	named := strings.Replace(run, `"outcome"`, `"id":"mine","outcome"`, 1)
	other := strings.Replace(named, "2.02", "2.03", 1)
	for _, c := range []struct {
		name, text string
		rows       int
		bad        bool
		ids        bool
	}{
		{"plain lines, twice the same", run + run, 2, false, false},
		{"an id of its own beside them", run + named + run, 3, false, false},
		{"the same id twice", named + run + named, 2, false, false},
		{"the same id for something else", named + other, 0, true, false},
		{"an exported line after the plain ones that it came from", run + run + exported, 2, false, true},
		{"and before them", exported + run + run, 2, false, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			full, _, fullErr := Site{}.Read(strings.NewReader(c.text), "h")
			got, _, err := Site{WithoutIDs: true}.Read(strings.NewReader(c.text), "h")
			if (err != nil) != c.bad || (fullErr != nil) != c.bad || len(got) != c.rows || len(full) != c.rows {
				t.Fatalf("%d rows, %v; with ids %d rows, %v; want %d", len(got), err, len(full), fullErr, c.rows)
			}
			for i, r := range got {
				if c.ids && r.ID != full[i].ID || r.Body != full[i].Body || !r.At.Equal(full[i].At) {
					t.Errorf("row %d: %+v, with ids %+v", i, r, full[i])
				}
			}
		})
	}
}
