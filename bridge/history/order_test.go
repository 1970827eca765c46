package history

import (
	"fmt"
	"strings"
	"testing"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

const (
	tubeAt7 = `{"time":"2027-03-01T07:00:00Z","type":"tube","channel":"alk"}` + "\n"
	tubeAt8 = `{"time":"2027-03-01T08:00:00Z","type":"tube","channel":"alk"}` + "\n"
)

func readError(t *testing.T, text, want string) {
	t.Helper()
	if _, _, err := site.Read(strings.NewReader(text), "h.jsonl"); err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("Read = %v; want an error with %q\n%s", err, want, text)
	}
}

func TestLinesMustAscend(t *testing.T) {
	mustRead(t, tubeAt7+tubeAt7+tubeAt8)
	readError(t, tubeAt7+tubeAt8+tubeAt7, "h.jsonl:3: time 2027-03-01T07:00:00Z lies before that of line 2")
	// Text order is not time order: the second line is the earlier one.
	readError(t, tubeAt7+`{"time":"2027-03-01T08:00:00+02:00","type":"tube","channel":"alk"}`, "h.jsonl:2: time 2027-03-01T06:00:00Z lies before")
}

func TestLineEndings(t *testing.T) {
	for name, text := range map[string]string{
		"none at the end":     strings.TrimSuffix(tubeAt7+tubeAt8, "\n"),
		"carriage returns":    strings.ReplaceAll(tubeAt7+tubeAt8, "\n", "\r\n"),
		"blank lines":         "\n" + tubeAt7 + " \t\n\n" + tubeAt8 + "\n",
		"byte order mark":     "\ufeff" + tubeAt7 + tubeAt8,
		"spaces in the lines": " " + strings.ReplaceAll(tubeAt7, `,"`, ` , "`) + tubeAt8,
	} {
		if rows, notes := mustRead(t, text); len(rows) != 2 || len(notes) != 0 {
			t.Errorf("%s: %d rows, notes %v; want 2 and none", name, len(rows), notes)
		}
	}
	if rows, _ := mustRead(t, ""); len(rows) != 0 {
		t.Errorf("an empty history gave %v", rows)
	}
	readError(t, tubeAt7+"\ufeff"+tubeAt8, "h.jsonl:2: ")
}

func TestLongLines(t *testing.T) {
	note := func(n int) string {
		return tubeAt7 + `{"time":"2027-03-01T07:00:00Z","type":"note","system":"s","kind":"other","text":"` + strings.Repeat("x", n) + `"}`
	}
	mustRead(t, note(longestLine-200))
	readError(t, note(longestLine), "h.jsonl:2: the line is longer than 1048576 bytes")
}

// What was entered later stands where it became known, so that a fold is never surprised by an earlier row.
func TestLateTestStandsWhereItWasEntered(t *testing.T) {
	rows, _ := mustRead(t, `{"time":"2027-03-01T07:00:00Z","type":"test","entered":"2027-03-01T08:00:00Z","system":"s","quantity":"pH","value":8.2,"unit":"pH"}
{"time":"2027-03-01T07:30:00Z","type":"tube","channel":"alk"}
{"time":"2027-03-01T08:00:00Z","type":"primed","channel":"alk"}
{"time":"2027-03-01T09:00:00Z","type":"tube","channel":"ca"}
`)
	var order []string
	for i, r := range rows {
		order = append(order, r.Body.Kind())
		if r.Seq != int64(i)+1 || r.Elapsed != safety.Elapsed(r.At.UnixMilli()) {
			t.Errorf("row %d has the frame %+v", i+1, r)
		}
	}
	if got := strings.Join(order, " "); got != "tube test primed tube" {
		t.Fatalf("the rows are %s; want tube test primed tube", got)
	}
	if b, ok := rows[1].Body.(machine.Test); !ok || !b.Taken.Equal(at("07:00:00")) || !rows[1].At.Equal(at("08:00:00")) {
		t.Fatalf("the late test is %+v", rows[1])
	}
}

func ids(t *testing.T, text string) []string {
	t.Helper()
	rows, _ := mustRead(t, text)
	var list []string
	for _, r := range rows {
		list = append(list, r.ID)
	}
	return list
}

func TestDerivedIDs(t *testing.T) {
	first := ids(t, tubeAt7)[0]
	for name, text := range map[string]string{
		"other order of fields": `{"channel":"alk","type":"tube","time":"2027-03-01T07:00:00Z"}`,
		"spaces":                ` { "time" : "2027-03-01T07:00:00Z", "type":"tube", "channel":"alk" } `,
		"escapes":               `{"time":"2027-03-01T07:00:00Z","type":"tube","channel":"\u0061lk"}`,
		"another offset":        `{"time":"2027-03-01T09:00:00+02:00","type":"tube","channel":"alk"}`,
		"fraction of zero":      `{"time":"2027-03-01T07:00:00.000Z","type":"tube","channel":"alk"}`,
		"other lines before":    `{"time":"2027-03-01T06:00:00Z","type":"tube","channel":"alk"}` + "\n" + tubeAt7,
	} {
		if list := ids(t, text); list[len(list)-1] != first {
			t.Errorf("%s: the id is %s, want %s as of the plain line", name, list[len(list)-1], first)
		}
	}
	for name, text := range map[string]string{
		"time":    `{"time":"2027-03-01T07:00:00.001Z","type":"tube","channel":"alk"}`,
		"type":    `{"time":"2027-03-01T07:00:00Z","type":"primed","channel":"alk"}`,
		"channel": `{"time":"2027-03-01T07:00:00Z","type":"tube","channel":"ca"}`,
		"by":      `{"time":"2027-03-01T07:00:00Z","type":"tube","channel":"alk","by":"Ines"}`,
	} {
		if list := ids(t, text); list[0] == first {
			t.Errorf("another %s gave the same id", name)
		}
	}
	run := func(v string) string {
		return `{"time":"2027-03-01T07:00:00Z","type":"run","channel":"alk","volume_ml":` + v + `,"outcome":"finished"}`
	}
	if a, b := ids(t, run("2.5"))[0], ids(t, run("25e-1"))[0]; a != b {
		t.Errorf("2.5 and 25e-1 gave the ids %s and %s", a, b)
	}
}

func TestEqualLinesAreCounted(t *testing.T) {
	one := ids(t, tubeAt7)[0]
	if got := fmt.Sprint(ids(t, tubeAt7+tubeAt7+tubeAt7)); got != fmt.Sprintf("[%s %s-2 %s-3]", one, one, one) {
		t.Fatalf("three equal lines have the ids %s", got)
	}
}

func TestGivenIDs(t *testing.T) {
	named := func(id, channel string) string {
		return `{"time":"2027-03-01T07:00:00Z","type":"tube","id":"` + id + `","channel":"` + channel + `"}` + "\n"
	}
	derived := ids(t, tubeAt7)[0]
	for _, c := range []struct{ name, text, want string }{
		{"different", named("a", "alk") + named("b", "alk"), "[a b]"},
		{"the same line twice", named("a", "alk") + named("a", "alk"), "[a]"},
		{"the derived id given", named(derived, "alk"), "[" + derived + "]"},
		{"exported and plain", named(derived, "alk") + tubeAt7, "[" + derived + "]"},
		{"plain and exported", tubeAt7 + named(derived, "alk"), "[" + derived + "]"},
		{"export of two equal lines", named(derived, "alk") + named(derived+"-2", "alk"), "[" + derived + " " + derived + "-2]"},
	} {
		if got := fmt.Sprint(ids(t, c.text)); got != c.want {
			t.Errorf("%s: the ids are %s, want %s", c.name, got, c.want)
		}
	}
	readError(t, named("a", "alk")+named("a", "ca"), `h.jsonl:2: id "a" is that of line 1, which says something else`)
	readError(t, named(derived, "ca")+tubeAt7, `which says something else`)
	readError(t, named("", "alk"), `id: is empty`)
	if _, notes := mustRead(t, named("a", "alk")+named("a", "alk")); len(notes) != 1 || notes[0].Line != 2 {
		t.Errorf("a repeated line gave the notes %v; want one about line 2", notes)
	}
}

func TestDecodeOneLine(t *testing.T) {
	rows, err := Decode([]byte(tubeAt7), 41)
	if err != nil || len(rows) != 1 || rows[0].ID != ids(t, tubeAt7)[0] {
		t.Fatalf("Decode = %+v, %v; want the row that Read gives", rows, err)
	}
	if _, err := Decode([]byte(`{}`), 41); err == nil || err.Error() != "line 41: time is missing" {
		t.Fatalf("Decode of an empty object = %v", err)
	}
	if _, err := Decode([]byte(`{"time":"2027-03-01T07:00:00Z","type":"release","node":"board"}`), 1); err == nil || !strings.Contains(err.Error(), "name the channels") {
		t.Fatalf("Decode of a line about a node = %v; want that the channels are to be named", err)
	}
}
