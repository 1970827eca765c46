package history

import (
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"aliquot/bridge/machine"
)

// What is handed out early is the result itself: its rows, order and numbers, however late tests were entered.
func TestEarlyRowsAreTheResult(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var b strings.Builder
		now := at("00:00:00")
		for range rapid.IntRange(0, 4).Draw(t, "hundreds") * 700 / 2 {
			now = now.Add(time.Duration(rapid.IntRange(0, 2).Draw(t, "later")) * time.Minute)
			if rapid.IntRange(0, 9).Draw(t, "test") > 0 {
				fmt.Fprintf(&b, `{"time":"%s","type":"run","channel":"c","volume_ml":1,"outcome":"finished"}`+"\n", now.Format(time.RFC3339))
				continue
			}
			entered := now.Add(time.Duration(rapid.IntRange(0, 3000).Draw(t, "entered")) * time.Minute)
			fmt.Fprintf(&b, `{"time":"%s","entered":"%s","type":"test","system":"s","quantity":"alkalinity","value":8,"unit":"dKH"}`+"\n",
				now.Format(time.RFC3339), entered.Format(time.RFC3339))
		}
		var got []machine.Row
		calls := 0
		rows, _, err := Site{WithoutIDs: true, Early: func(rows []machine.Row) { got, calls = append(got, rows...), calls+1 }}.Read(strings.NewReader(b.String()), "")
		if err != nil {
			t.Fatal(err)
		}
		if len(got) != len(rows) || (len(rows) > 0 && !reflect.DeepEqual(got, rows)) {
			t.Fatalf("%d rows early, %d in the end, or others", len(got), len(rows))
		}
		if len(rows) > 2*earlyRows && calls < 2 {
			t.Fatalf("%d rows in %d calls", len(rows), calls)
		}
	})
}

// The line of an export beside the plain ones makes ids needed: the last word to who was handed rows is nil.
func TestEarlyRowsAreTakenBack(t *testing.T) {
	plain := `{"time":"2027-03-01T07:00:00Z","type":"primed","channel":"c"}` + "\n"
	exported := `{"time":"2027-03-01T08:00:00Z","type":"primed","channel":"c","id":"h-000102030405060708090a0b"}` + "\n"
	for _, before := range []int{0, 1, earlyRows, 2*earlyRows + 1} {
		var calls [][]machine.Row
		_, _, err := Site{WithoutIDs: true, Early: func(rows []machine.Row) { calls = append(calls, rows) }}.
			Read(strings.NewReader(strings.Repeat(plain, before)+exported+exported), "")
		if err != nil {
			t.Fatal(err)
		}
		if want := before/earlyRows + 1; len(calls) != want || calls[want-1] != nil {
			t.Errorf("after %d plain lines: %d calls, want %d and the last with nil", before, len(calls), want)
		}
	}
}
