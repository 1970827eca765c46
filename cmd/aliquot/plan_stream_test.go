package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"testing"

	"aliquot/bridge/machine"
)

// A plan from a stream is that from all rows at once: from a file, from a pipe, which cannot be read twice, and where the
// line of an export far behind makes ids needed after all.
func TestPlanFromAStreamIsThatFromAllRows(t *testing.T) {
	plain := string(sixChannelYears(2)[:400_000])
	plain = plain[:strings.LastIndexByte(plain, '\n')+1]
	last := plain[strings.LastIndexByte(plain[:len(plain)-1], '\n')+1:]
	site := sixChannelSite(t)
	exported := exportedLine(t, site, last)
	for name, text := range map[string]string{"plain": plain, "an exported line repeats a plain one": plain + exported + exported} {
		l, err := load(site)
		if err != nil {
			t.Fatal(err)
		}
		path := writeFile(t, "h.jsonl", text)
		rows, notes, err := historyRows(stream{}, l, path)
		if err != nil {
			t.Fatal(err)
		}
		past := newPast(l, planFrom)
		for _, r := range rows {
			past.take(r)
		}
		want := past.plan(notes)
		if n := strings.Count(fmt.Sprint(notes), "left out"); n != strings.Count(text, `"id"`) {
			t.Fatalf("%s: %d lines were left out", name, n)
		}
		for from, p := range map[string]planCommand{"file": {History: path}, "pipe": {History: "-"}} {
			got, err := p.view(stream{in: io.MultiReader(strings.NewReader(text))}, l, planFrom)
			if err != nil {
				t.Fatalf("%s, %s: %v", name, from, err)
			}
			for i := range got.Notes {
				got.Notes[i] = strings.Replace(got.Notes[i], "-:", path+":", 1)
			}
			if g, w := planJSON(t, got), planJSON(t, want); !bytes.Equal(g, w) {
				t.Errorf("%s, %s: planned %s\nwant %s", name, from, g, w)
			}
		}
	}
}

func planJSON(t *testing.T, v machine.PlanView) []byte {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// exportedLine is a line as an export of it reads, with its id.
func exportedLine(t *testing.T, site, line string) string {
	t.Helper()
	l, err := load(site)
	if err != nil {
		t.Fatal(err)
	}
	rows, _, err := historySite(l).Read(strings.NewReader(line), "")
	if err != nil || len(rows) != 1 || rows[0].ID == "" {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	return strings.TrimSuffix(line, "}\n") + fmt.Sprintf(",%q:%q}\n", "id", rows[0].ID)
}
