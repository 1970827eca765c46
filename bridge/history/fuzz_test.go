package history

import (
	"bytes"
	"encoding/json"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"aliquot/bridge/machine"
)

// FuzzRead: what is accepted is finite, and comes back the same when it is written and read again. What is not
// accepted gives nothing but an error.
func FuzzRead(f *testing.F) {
	for _, name := range []string{"contract.jsonl", "every-type.jsonl"} {
		f.Add(testdata(f, name))
		for line := range strings.Lines(testdata(f, name)) {
			f.Add(line + line)
		}
	}
	f.Add(`{"time":"2027-03-01t07:00:00.5+01:30","type":"hold","node":"board","reason":"\ud800 x","until":"2027-03-02T07:00:00Z"}`)
	f.Add(`{"time":"2027-03-01T07:00:00Z","type":"probe","probe":"temp","value":-1e-320,"unit":"degF","id":"é"}`)
	f.Fuzz(func(t *testing.T, text string) {
		rows, notes, err := site.Read(strings.NewReader(text), "fuzz")
		if err != nil {
			if rows != nil || notes != nil {
				t.Fatalf("rows and an error: %v", err)
			}
			return
		}
		checkFinite(t, rows)
		var first, second bytes.Buffer
		if _, err := site.Write(&first, slices.Values(rows)); err != nil {
			t.Fatalf("accepted but not writable: %v\n%s", err, text)
		}
		again, _, err := site.Read(strings.NewReader(first.String()), "again")
		if err != nil {
			t.Fatalf("written but not readable: %v\n%s\n%s", err, text, first.String())
		}
		if _, err := site.Write(&second, slices.Values(again)); err != nil || second.String() != first.String() {
			t.Fatalf("%v\nwritten a second time it is\n%swas\n%s", err, second.String(), first.String())
		}
		rows = slices.DeleteFunc(rows, func(r machine.Row) bool {
			b, ok := r.Body.(machine.ProbeMean)
			return ok && site.Quantity(b.Probe) == "" // left out, as the site does not know it
		})
		for i := range rows {
			if i >= len(again) || rows[i].ID != again[i].ID || rows[i].Body.Kind() != again[i].Body.Kind() {
				t.Fatalf("row %d changed from %+v", i+1, rows[i])
			}
		}
		for line := range strings.Lines(text) {
			if line = strings.TrimPrefix(line, "\ufeff"); strings.TrimSpace(line) != "" && !json.Valid([]byte(line)) {
				t.Fatalf("accepted what is no JSON: %q", line)
			}
		}
	})
}

// checkFinite walks over every number of every body.
func checkFinite(t *testing.T, rows []machine.Row) {
	var walk func(v reflect.Value)
	walk = func(v reflect.Value) {
		switch v.Kind() {
		case reflect.Float64:
			if math.IsNaN(v.Float()) || math.IsInf(v.Float(), 0) {
				t.Fatalf("a number is %v", v.Float())
			}
		case reflect.Struct:
			for i := range v.NumField() {
				if v.Type().Field(i).IsExported() {
					walk(v.Field(i))
				}
			}
		case reflect.Slice:
			for i := range v.Len() {
				walk(v.Index(i))
			}
		case reflect.Pointer, reflect.Interface:
			if !v.IsNil() {
				walk(v.Elem())
			}
		}
	}
	for _, r := range rows {
		walk(reflect.ValueOf(r.Body))
	}
}
