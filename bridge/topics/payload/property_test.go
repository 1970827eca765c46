package payload

import (
	"encoding/json"
	"fmt"
	"slices"
	"sort"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"aliquot/safety"

	"pgregory.net/rapid"
)

// tree draws a JSON value that is at most so deep.
func tree(t *rapid.T, depth int) any {
	kind := rapid.IntRange(0, 6).Draw(t, "kind")
	if depth <= 0 {
		kind %= 4
	}
	switch kind {
	case 0:
		return nil
	case 1:
		return rapid.Bool().Draw(t, "flag")
	case 2:
		return rapid.Float64Range(-1e6, 1e6).Draw(t, "number")
	case 3:
		return rapid.StringN(0, 8, 24).Draw(t, "text")
	case 4:
		list := make([]any, rapid.IntRange(0, 3).Draw(t, "length"))
		for i := range list {
			list[i] = tree(t, depth-1)
		}
		return list
	}
	return record(t, depth)
}

func record(t *rapid.T, depth int) map[string]any {
	o := map[string]any{}
	for range rapid.IntRange(0, 4).Draw(t, "fields") {
		o[rapid.StringMatching(`[a-zA-Z_]{1,6}`).Draw(t, "name")] = tree(t, depth-1)
	}
	return o
}

func depthOf(v any) int {
	deepest := 0
	switch v := v.(type) {
	case map[string]any:
		for _, inner := range v {
			deepest = max(deepest, depthOf(inner))
		}
	case []any:
		for _, inner := range v {
			deepest = max(deepest, depthOf(inner))
		}
	default:
		return 0
	}
	return deepest + 1
}

func encoded(t *rapid.T, v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Read takes every object that the standard encoder writes and that keeps the limits, and refuses every other.
func TestReadKeepsItsLimits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := record(t, rapid.IntRange(1, 11).Draw(t, "depth"))
		in := encoded(t, want)
		o, err := Read(in)
		fits := len(in) <= safety.MaxPayload && depthOf(want) <= MaxDepth
		if fits != (err == nil) {
			t.Fatalf("Read(%s) = %v; it is %d deep and has %d bytes", in, err, depthOf(want), len(in))
		}
		if err != nil {
			return
		}
		names := make([]string, 0, len(want))
		for name := range want {
			names = append(names, name)
		}
		sort.Strings(names) // so does the encoder
		if !slices.Equal(o.Names(), names) {
			t.Fatalf("names %v; want %v", o.Names(), names)
		}
	})
}

// A name that is there twice is found wherever it lies.
func TestReadFindsDuplicatesAnywhere(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := `{"x":1,"x":2}`
		for range rapid.IntRange(0, MaxDepth-1).Draw(t, "depth") {
			if rapid.Bool().Draw(t, "list") {
				in = `[1,` + in + `]`
			} else {
				in = `{"a":` + in + `,"b":null}`
			}
		}
		if err := Check([]byte(in)); err == nil || !strings.Contains(err.Text, `x" is there twice`) {
			t.Fatalf("Check(%s) = %v; want the duplicate named", in, err)
		}
	})
}

// A payload cut anywhere gives its own reference or none, never another text.
func TestSalvageOfACutPayload(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ref := rapid.StringMatching(`[a-z0-9-]{1,12}`).Draw(t, "ref")
		in := []byte(fmt.Sprintf(`{"by":"k","ref":"%s","inner":{"ref":"wrong"},"value":8.3}`, ref))
		cut := rapid.IntRange(0, len(in)).Draw(t, "cut")
		got, ok := Salvage(in[:cut], "ref")
		end := strings.Index(string(in), `,"inner"`)
		if ok && got != ref || !ok && cut >= end {
			t.Fatalf("Salvage(%s) = %q, %v; want %q", in[:cut], got, ok, ref)
		}
	})
}

// At finds what stands at a path, as the standard decoder does.
func TestAtFindsWhatIsThere(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := rapid.Int64Range(-1e9, 1e9).Draw(t, "number")
		in := fmt.Sprint(number)
		var path []string
		for range rapid.IntRange(1, MaxDepth).Draw(t, "depth") {
			if rapid.Bool().Draw(t, "list") {
				before := rapid.IntRange(0, 2).Draw(t, "before")
				in = "[" + strings.Repeat("null,", before) + in + "]"
				path = append([]string{fmt.Sprint(before)}, path...)
			} else {
				in = `{"other":"x","k":` + in + `}`
				path = append([]string{"k"}, path...)
			}
		}
		leaf, found, err := At([]byte(in), strings.Join(path, "."))
		if err != nil || !found || leaf.Kind != KindNumber || leaf.Text != fmt.Sprint(number) {
			t.Fatalf("At(%s, %v) = %+v, %v, %v; want %d", in, path, leaf, found, err, number)
		}
		if _, found, err := At([]byte(in), strings.Join(append(path, "more"), ".")); found || err != nil {
			t.Fatalf("something was found below a number: %v", err)
		}
	})
}

// Quote makes one short printable line of anything.
func TestQuoteIsSafeToPrint(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := string(rapid.SliceOfN(rapid.Byte(), 0, 400).Draw(t, "bytes"))
		got := Quote(s)
		if !utf8.ValidString(got) || len(got) > 600 || strings.ContainsFunc(got, func(r rune) bool { return unicode.IsControl(r) }) {
			t.Fatalf("Quote(%q) = %q", s, got)
		}
	})
	if got := Quote(strings.Repeat("ä", 49)); got != `"`+strings.Repeat("ä", 48)+`…"` {
		t.Errorf("Quote of 49 letters = %s", got)
	}
	if got := Quote(strings.Repeat("ä", 48)); strings.Contains(got, "…") {
		t.Errorf("Quote of 48 letters is cut: %s", got)
	}
}

// The explanation of a mistake among letters of several bytes does not cut one in two.
func TestExplainKeepsLettersWhole(t *testing.T) {
	for shift := range 8 {
		in := `{"` + strings.Repeat("x", shift) + `ääää":öööööööö}`
		_, err := Read([]byte(in))
		if err == nil || !utf8.ValidString(err.Text) || strings.Contains(err.Text, `\x`) {
			t.Errorf("Read(%s) explains %q", in, err)
		}
	}
}

func TestKindOf(t *testing.T) {
	for in, want := range map[string]Kind{"": KindNull, " null": KindNull, "true": KindBool, "false": KindBool, "-1": KindNumber, "0": KindNumber,
		` "x"`: KindText, "[]": KindList, "\n{}": KindObject} {
		if got := KindOf([]byte(in)); got != want {
			t.Errorf("KindOf(%q) = %d; want %d", in, got, want)
		}
	}
}

// An error can be returned as an error and tells its text.
func TestErrorTellsItsText(t *testing.T) {
	_, bad := Read(nil)
	var err error = bad
	if err.Error() != "the payload is empty" {
		t.Errorf("Error() = %q", err)
	}
}

// Texts, numbers and times that are accepted are accepted again when written from what was read.
func TestFieldsRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value := rapid.Float64().Draw(t, "value")
		text := rapid.StringN(1, 16, -1).Draw(t, "text")
		in, err := json.Marshal(map[string]any{"n": value, "t": text})
		if err != nil {
			return // the encoder refuses NaN and infinities, and so nobody can send them
		}
		o, bad := Read(in)
		if bad != nil {
			t.Fatalf("Read(%s): %v", in, bad)
		}
		n, bad := o.Number("n")
		if bad != nil || *n != value {
			t.Fatalf("%s: number %v, %v", in, n, bad)
		}
		if got, bad := o.Text("t", 16); (bad == nil) != Printable(text) || bad == nil && got != text {
			t.Fatalf("%s: text %q, %v; printable %v", in, got, bad, Printable(text))
		}
	})
}

func TestListsAreCounted(t *testing.T) {
	for n := range 5 {
		in := `{"l":[` + strings.TrimSuffix(strings.Repeat("{},", n), ",") + `]}`
		list, err := mustRead(t, in).Objects("l", 3)
		if ok := n >= 1 && n <= 3; ok != (err == nil) || ok && len(list) != n {
			t.Errorf("Objects(%s, 3) = %d, %v", in, len(list), err)
		}
	}
	if list, err := mustRead(t, `{}`).Objects("l", 3); list != nil || err != nil {
		t.Errorf("an absent list = %v, %v", list, err)
	}
}

// What the path function finds wrong, it finds before it looks: nothing of a bad payload is used.
func TestAtChecksTheWholePayload(t *testing.T) {
	for _, in := range []string{`{"a":1,"b":{"c":1,"c":2}}`, `{"a":1} x`, nested(9), "{\"a\":1,\"b\":\"\xff\"}", `{"a":1,"b":NaN}`} {
		if leaf, found, err := At([]byte(in), "a"); err == nil || found || leaf != (Leaf{}) {
			t.Errorf("At(%s, a) = %+v, %v, %v; want an error alone", in, leaf, found, err)
		}
	}
	long := strings.Repeat("8", safety.MaxPayload)
	if leaf, found, err := At([]byte(long), ""); err != nil || !found || leaf.Text != long {
		t.Errorf("a plain payload of %d bytes: %v, %v", len(long), found, err)
	}
	if _, _, err := At([]byte(long+"8"), ""); err == nil || err.Code != safety.TooLarge {
		t.Errorf("a plain payload of %d bytes: %v", len(long)+1, err)
	}
}

// What is read quickly is read as what it is read slowly; what is refused there is never accepted here.
func FuzzQuickly(f *testing.F) {
	for _, data := range []string{`{"a":1}`, `{"a":{"b":"x"},"c":[1,{"d":null}]}`, `{"a":-0.5e+3 , "b" : true}`, `{"a":1,"a":2}`, `{"a":"\u0031"}`, `{"a":01}`,
		`{"a":[1,2]}`, `[[[[[[[[1]]]]]]]]`, `{"a":{"a":{"a":{"a":{"a":{"a":{"a":{"a":{"a":1}}}}}}}}}`, `{"":{"":1}}`, `1.`, `{"a":1}x`, `{"a":1e}`, `{"a":tru}`, " {\"a\"\t:\r\n1 } "} {
		for _, path := range []string{"a", "a.b", "c.0", "a.a.a.a.a.a.a", ".", "b"} {
			f.Add([]byte(data), path)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte, path string) {
		if path == "" || Sized(data) != nil {
			return
		}
		leaf, found, ok := quickly(data, path)
		if !ok {
			return
		}
		want, there, err := slowly(data, path)
		if err != nil || found != there || leaf != want {
			t.Fatalf("%q at %q: quickly %+v, %v; slowly %+v, %v, %v", data, path, leaf, found, want, there, err)
		}
	})
}

// What devices send is read quickly; else nothing is gained.
func TestQuicklyKnowsWhatDevicesSend(t *testing.T) {
	for _, c := range []struct{ data, path, want string }{
		{`{"temperature":21.34,"humidity":45,"battery":null,"linkquality":87}`, "temperature", "21.34"},
		{`{"Time":"2027-03-02T09:00:10","DS18B20":{"Id":"0316","Temperature":25.1},"TempUnit":"C"}`, "DS18B20.Temperature", "25.1"},
		{`{"id":"switch:0","output":true,"temperature":{"tC":41.2,"tF":106.2}}`, "output", "true"},
		{`{"list":[1,2,{"x":[]}],"pH":"8.21"}`, "pH", "8.21"},
	} {
		if leaf, found, ok := quickly([]byte(c.data), c.path); !ok || !found || leaf.Text != c.want {
			t.Errorf("%s at %s: %+v, %v, %v; want %s", c.data, c.path, leaf, found, ok, c.want)
		}
	}
}

func BenchmarkAt(b *testing.B) {
	data := []byte(`{"id":17,"value":25.31}`)
	b.ReportAllocs()
	for b.Loop() {
		if _, found, err := At(data, "value"); !found || err != nil {
			b.Fatal(found, err)
		}
	}
}
