package history

import (
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"aliquot/bridge/machine"
)

// What is handed out is the result of Read: its rows, order and numbers, however late tests were entered.
func TestStreamIsTheResult(t *testing.T) {
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
		withoutIDs := rapid.Bool().Draw(t, "without ids")
		var got []machine.Row
		calls := 0
		_, err := Site{WithoutIDs: withoutIDs}.Stream(strings.NewReader(b.String()), "", func(rows []machine.Row) { got, calls = append(got, rows...), calls+1 })
		if err != nil {
			t.Fatal(err)
		}
		rows, _, err := Site{WithoutIDs: withoutIDs}.Read(strings.NewReader(b.String()), "")
		if err != nil {
			t.Fatal(err)
		}
		if len(got) != len(rows) || (len(rows) > 0 && !reflect.DeepEqual(got, rows)) {
			t.Fatalf("%d rows in the stream, %d in the end, or others", len(got), len(rows))
		}
		if len(rows) > 2*streamRows && calls < 2 {
			t.Fatalf("%d rows in %d calls", len(rows), calls)
		}
	})
}

// Whatever ids lines give, repeat or contradict: a stream, read with ids where it asks for them, is the result of Read.
func TestStreamWithIDsIsTheResult(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var lines []string
		now := at("00:00:00")
		for n := range rapid.SampledFrom([]int{1, 5, 2 * streamRows}).Draw(t, "lines") {
			now = now.Add(time.Duration(n%3) * time.Second)
			id := ""
			if n%7 > 0 {
				id = fmt.Sprintf(`,"id":"run-%d"`, n)
			}
			lines = append(lines, fmt.Sprintf(`{"time":"%s","type":"run","channel":"c","volume_ml":%d,"outcome":"finished"%s}`, now.Format(time.RFC3339), 1+n%2, id))
		}
		for range rapid.IntRange(0, 2).Draw(t, "repeats") {
			i := rapid.IntRange(0, len(lines)-1).Draw(t, "repeated")
			to := i + 1 + rapid.IntRange(0, 1).Draw(t, "behind the next") // in another second it contradicts, or is out of order
			again := lines[i]
			if rapid.Bool().Draw(t, "contradicts") {
				again = strings.Replace(again, `"volume_ml":`, `"volume_ml":3`, 1)
			}
			lines = slices.Insert(lines, min(to, len(lines)), again)
		}
		text := strings.Join(lines, "\n")
		want, said, wantErr := Site{WithoutIDs: true}.Read(strings.NewReader(text), "")
		stream := func(s Site) (rows []machine.Row, notes []Note, err error) {
			notes, err = s.Stream(strings.NewReader(text), "", func(r []machine.Row) { rows = append(rows, r...) })
			return rows, notes, err
		}
		got, notes, err := stream(Site{WithoutIDs: true})
		again := errors.Is(err, ErrIDsNeeded)
		if again {
			got, notes, err = stream(Site{})
			for i := range want { // of those lines that gave none
				if want[i].ID == "" {
					got[i].ID = ""
				}
			}
		}
		if fmt.Sprint(err) != fmt.Sprint(wantErr) || !reflect.DeepEqual(notes, said) || (err == nil && !reflect.DeepEqual(got, want)) {
			t.Fatalf("again %v: %d rows, %v, %v; want %d, %v, %v\n%.2000s", again, len(got), notes, err, len(want), said, wantErr, text)
		}
		if !again && len(said) > 0 {
			t.Fatalf("%v without a second reading", said)
		}
	})
}

// The line of an export beside the plain ones makes ids needed. Behind rows that were handed out it is too late for them; before, the
// stream is the result, as it is with ids from the start.
func TestStreamNeedsIDs(t *testing.T) {
	plain := `{"time":"2027-03-01T07:00:00Z","type":"primed","channel":"c"}` + "\n"
	late := `{"time":"2027-03-01T07:00:00Z","entered":"2027-03-02T07:00:00Z","type":"test","system":"s","quantity":"alkalinity","value":8,"unit":"dKH"}` + "\n"
	exported := `{"time":"2027-03-01T08:00:00Z","type":"primed","channel":"c","id":"h-000102030405060708090a0b"}` + "\n"
	for _, first := range []string{plain, late} {
		for _, before := range []int{0, 1, streamRows - 1, streamRows, 2*streamRows + 1} {
			text := strings.Repeat(first, before) + exported + exported
			stream := func(s Site) (rows []machine.Row, notes []Note, err error) {
				notes, err = s.Stream(strings.NewReader(text), "", func(r []machine.Row) { rows = append(rows, r...) })
				return rows, notes, err
			}
			want, said, err := Site{WithoutIDs: true}.Read(strings.NewReader(text), "")
			if err != nil || len(said) != 1 {
				t.Fatal(said, err)
			}
			got, notes, err := stream(Site{WithoutIDs: true})
			if before >= streamRows {
				if !errors.Is(err, ErrIDsNeeded) {
					t.Errorf("after %d lines: %v; want ErrIDsNeeded", before, err)
				}
			} else if err != nil || !reflect.DeepEqual(got, want) || !reflect.DeepEqual(notes, said) {
				t.Errorf("after %d lines: %d rows with notes %v, %v; want %d with %v", before, len(got), notes, err, len(want), said)
			}
			if got, notes, err = stream(Site{}); err != nil || !reflect.DeepEqual(got, want) || !reflect.DeepEqual(notes, said) {
				t.Errorf("with ids, after %d lines: %d rows with notes %v, %v; want %d with %v", before, len(got), notes, err, len(want), said)
			}
		}
	}
}

// What is wrong with a line is said as Read says it.
func TestStreamsErrorsAreThoseOfRead(t *testing.T) {
	run := `{"time":"2027-03-01T07:00:00Z","type":"run","channel":"c","volume_ml":1,"outcome":"finished"}` + "\n"
	for _, bad := range []string{"{\n", `{"time":"2027-02-01T07:00:00Z","type":"primed","channel":"c"}`, strings.Repeat("x", longestLine+1)} {
		for _, before := range []int{0, 1, 3 * streamRows} {
			text := strings.Repeat(run, before) + bad
			_, _, want := Site{WithoutIDs: true}.Read(strings.NewReader(text), "h.jsonl")
			n := 0
			_, err := Site{WithoutIDs: true}.Stream(strings.NewReader(text), "h.jsonl", func(rows []machine.Row) { n += len(rows) })
			if fmt.Sprint(err) != fmt.Sprint(want) || (err != nil && n > before) {
				t.Errorf("after %d lines %d rows were handed out, and %v; want %v", before, n, err, want)
			}
		}
	}
}
