package history

import (
	"encoding/json"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"
)

// generic reads any JSON object whose values are texts, numbers, and arrays and objects of them.
func generic(s string) (map[string]any, error) {
	p := &scan{s: s}
	var value func() (any, error)
	object := func() (any, error) {
		m := map[string]any{}
		err := p.object(func(name string) (err error) {
			if _, twice := m[name]; twice {
				return fmt.Errorf("%s stands twice", name)
			}
			m[name], err = value()
			return err
		})
		return m, err
	}
	value = func() (any, error) {
		switch c := p.peek(); c {
		case '"':
			return p.takeText()
		case '{':
			return object()
		case '[':
			list := []any{}
			err := p.array(func() error {
				v, err := value()
				list = append(list, v)
				return err
			})
			return list, err
		}
		return p.takeNumber()
	}
	m, err := object()
	if err == nil && (p.peek() != 0 || p.i != len(p.s)) {
		err = p.fault("the end")
	}
	if err != nil {
		return nil, err
	}
	return m.(map[string]any), nil
}

// standard is the same by encoding/json, which takes the last of two equal names.
func standard(s string) (map[string]any, error) {
	var m map[string]any
	err := json.Unmarshal([]byte(s), &m)
	if err == nil && m == nil {
		err = fmt.Errorf("null")
	}
	return m, err
}

func drawValue(t *rapid.T, depth int) any {
	most := 2
	if depth > 0 {
		most = 4
	}
	switch rapid.IntRange(1, most).Draw(t, "kind") {
	case 1:
		return rapid.String().Draw(t, "text")
	case 2:
		return rapid.Float64Range(-1e300, 1e300).Draw(t, "number")
	case 3:
		list := []any{}
		for range rapid.IntRange(0, 3).Draw(t, "items") {
			list = append(list, drawValue(t, depth-1))
		}
		return list
	}
	m := map[string]any{}
	for range rapid.IntRange(0, 4).Draw(t, "members") {
		m[rapid.String().Draw(t, "name")] = drawValue(t, depth-1)
	}
	return m
}

func drawObject(t *rapid.T) string {
	m := map[string]any{}
	for range rapid.IntRange(0, 5).Draw(t, "members") {
		m[rapid.String().Draw(t, "name")] = drawValue(t, 2)
	}
	var b strings.Builder
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(rapid.Bool().Draw(t, "escape"))
	e.SetIndent("", rapid.SampledFrom([]string{"", " ", "\t"}).Draw(t, "indent"))
	if err := e.Encode(m); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestScanReadsWhatTheStandardLibraryWrites(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := drawObject(t)
		got, err := generic(text)
		want, stdErr := standard(text)
		if err != nil || stdErr != nil || !reflect.DeepEqual(got, want) {
			t.Fatalf("%s\nreads %v, %v\nwant  %v, %v", text, got, err, want, stdErr)
		}
	})
}

// What the scanner takes, the standard library takes as well, with the same result.
func TestScanIsNeverLooserThanTheStandardLibrary(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := drawObject(t)
		for range rapid.IntRange(1, 4).Draw(t, "changes") {
			i := rapid.IntRange(0, len(text)).Draw(t, "place")
			piece := rapid.SampledFrom([]string{"", "", ",", ":", "{", "}", "[", "]", `"`, `\`, "0", "-", ".", "e", "1", " ", "\n", "\\u00", "null", "\x00"}).Draw(t, "piece")
			text = text[:i] + piece + text[min(len(text), i+rapid.IntRange(0, 2).Draw(t, "cut")):]
		}
		if !utf8.ValidString(text) {
			return // refused before it is scanned
		}
		got, err := generic(text)
		if err != nil {
			return
		}
		if want, err := standard(text); err != nil || !reflect.DeepEqual(got, want) {
			t.Fatalf("%q\nreads %v\nwant  %v, %v", text, got, want, err)
		}
	})
}

func TestNumbers(t *testing.T) {
	for text, ok := range map[string]bool{
		"0": true, "-0": true, "12": true, "1.5": true, "-1.5e-3": true, "1E+9": true, "0.0": true, "1e-999": true,
		"": false, "-": false, "01": false, "-01": false, "1.": false, ".5": false, "+1": false, "1e": false, "1e+": false,
		"0x1": false, "1_000": false, "Infinity": false, "NaN": false, "1e999": false, "-1e999": false, "1,5": false,
	} {
		p := &scan{s: text}
		v, err := p.takeNumber()
		if got := err == nil && p.i == len(text); got != ok {
			t.Errorf("%q reads %v, %v up to %d; want a number: %v", text, v, err, p.i, ok)
		}
		if 1/v < 0 && v == 0 {
			t.Errorf("%q reads as negative zero", text)
		}
	}
}
