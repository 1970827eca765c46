package payload

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"aliquot/safety"
)

func nested(depth int) string {
	return strings.Repeat(`{"a":`, depth-1) + `{}` + strings.Repeat(`}`, depth-1)
}

func TestReadRefuses(t *testing.T) {
	long := `{"a":"` + strings.Repeat("x", safety.MaxPayload-8) + `"}`
	for _, c := range []struct {
		name, in string
		code     safety.Code
		text     string // a part of the explanation
	}{
		{"empty", "", safety.BadPayload, "is empty"},
		{"blank", " \n\t", safety.BadPayload, "is empty"},
		{"plain text", "hello", safety.BadPayload, "not valid JSON at byte 1"},
		{"a number", "8.3", safety.BadPayload, "must be one JSON object"},
		{"a list", "[1]", safety.BadPayload, "the payload is a list"},
		{"null", "null", safety.BadPayload, "the payload is null"},
		{"two objects", `{"a":1}{"b":2}`, safety.BadPayload, "not valid JSON at byte 8"},
		{"trailing text", `{"a":1} x`, safety.BadPayload, "not valid JSON"},
		{"cut off", `{"a":1`, safety.BadPayload, "ends too early"},
		{"trailing comma", `{"a":1,}`, safety.BadPayload, "a comma too many"},
		{"single quotes", `{'a':1}`, safety.BadPayload, "double quotes"},
		{"NaN H-38", `{"a":NaN}`, safety.NotANumber, "NaN is not a number"},
		{"nan", `{"a":nan}`, safety.NotANumber, "nan is not a number"},
		{"Infinity", `{"a":Infinity}`, safety.NotANumber, "Infinity is not"},
		{"minus Infinity", `{"a":-Infinity}`, safety.NotANumber, "-Infinity is not"},
		{"decimal comma", `{"value":8,3}`, safety.NotANumber, "decimal comma"},
		{"decimal comma inside", `{"value":8,35,"unit":"dKH"}`, safety.NotANumber, `"8,35"`},
		{"invalid UTF-8 H-38", "{\"a\":\"\xff\"}", safety.BadPayload, "UTF-8"},
		{"too large H-38", long + " ", safety.TooLarge, "4097 bytes; at most 4096"},
		{"too deep H-38", nested(9), safety.BadPayload, "more than 8 deep"},
		{"twice", `{"a":1,"a":1}`, safety.BadPayload, `"a" is there twice`},
		{"twice in disguise", `{"a":1,"\u0061":2}`, safety.BadPayload, `"a" is there twice`},
		{"twice inside", `{"m":[{"b":1,"b":2}]}`, safety.BadPayload, `"m.0.b" is there twice`},
	} {
		t.Run(c.name, func(t *testing.T) {
			o, err := Read([]byte(c.in))
			if err == nil {
				t.Fatalf("Read(%q) accepted; want %s", c.in, c.code)
			}
			if err.Code != c.code || !strings.Contains(err.Text, c.text) {
				t.Errorf("Read(%q) = %s %q; want %s with %q", c.in, err.Code, err.Text, c.code, c.text)
			}
			if len(o.Names()) != 0 {
				t.Errorf("Read(%q) refused and still gave fields %v", c.in, o.Names())
			}
		})
	}
	if _, err := Read([]byte(long)); err != nil {
		t.Errorf("a payload of exactly %d bytes is refused: %v", len(long), err)
	}
	if _, err := Read([]byte(nested(8))); err != nil {
		t.Errorf("depth 8 is refused: %v", err)
	}
}

func mustRead(t *testing.T, in string) Object {
	t.Helper()
	o, err := Read([]byte(in))
	if err != nil {
		t.Fatalf("Read(%s): %v", in, err)
	}
	return o
}

func TestNames(t *testing.T) {
	o := mustRead(t, ` {"z":1,"a":null,"M":true} `)
	if got := strings.Join(o.Names(), " "); got != "z a M" {
		t.Errorf("names %q; want the order of the payload", got)
	}
	if o.Has("a") || !o.Has("z") || o.Has("m") {
		t.Errorf("null must count as absent and names must keep their case: a %v, z %v, m %v", o.Has("a"), o.Has("z"), o.Has("m"))
	}
}

func TestText(t *testing.T) {
	for _, c := range []struct{ name, in, want, bad string }{
		{"plain", `{"x":"abc"}`, "abc", ""},
		{"absent", `{}`, "", ""},
		{"null", `{"x":null}`, "", ""},
		{"number", `{"x":12}`, "", "is the number 12: it must be a text in double quotes"},
		{"flag", `{"x":true}`, "", "is true: it must be a text"},
		{"list", `{"x":[]}`, "", "is a list"},
		{"object", `{"x":{}}`, "", "is an object"},
		{"empty", `{"x":""}`, "", "has 0 characters; 1 to 4"},
		{"at the limit", `{"x":"äöüß"}`, "äöüß", ""},
		{"above the limit", `{"x":"abcde"}`, "", "has 5 characters; 1 to 4"},
		{"new line", `{"x":"a\nb"}`, "", "cannot be printed"},
		{"escape", `{"x":"\u001b"}`, "", "cannot be printed"},
		{"half a character", `{"x":"\ud800"}`, "", "cannot be printed"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := mustRead(t, c.in).Text("x", 4)
			check(t, err, c.bad)
			if got != c.want {
				t.Errorf("Text = %q; want %q", got, c.want)
			}
		})
	}
}

func check(t *testing.T, err *Error, want string) {
	t.Helper()
	switch {
	case want == "" && err != nil:
		t.Errorf("unexpected %s %q", err.Code, err.Text)
	case want != "" && err == nil:
		t.Errorf("accepted; want an error with %q", want)
	case want != "" && !strings.Contains(err.Text, want):
		t.Errorf("error %q; want %q in it", err.Text, want)
	}
}

func TestNumber(t *testing.T) {
	for _, c := range []struct {
		name, in string
		want     float64
		bad      string
	}{
		{"point", `{"x":8.3}`, 8.3, ""},
		{"exponent", `{"x":1e3}`, 1000, ""},
		{"negative zero", `{"x":-0}`, 0, ""},
		{"largest", `{"x":1.7976931348623157e308}`, math.MaxFloat64, ""},
		{"too large", `{"x":1e309}`, 0, "too large to be a measure"},
		{"comma in text", `{"x":"8,3"}`, 0, `"x" is the text "8,3": use a number with a point`},
		{"quoted", `{"x":"8.3"}`, 0, "without quotes"},
		{"with unit", `{"x":"8.3 dKH"}`, 0, "a unit has its own field"},
		{"quoted NaN", `{"x":"NaN"}`, 0, "must be a finite number"},
		{"flag", `{"x":true}`, 0, "is true: it must be a number"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := mustRead(t, c.in).Number("x")
			check(t, err, c.bad)
			if c.bad != "" {
				if got != nil || err != nil && err.Code != safety.NotANumber {
					t.Errorf("Number = %v, %v; want nothing and not_a_number", got, err)
				}
			} else if got == nil || *got != c.want || math.Signbit(*got) {
				t.Errorf("Number = %v; want %v", got, c.want)
			}
		})
	}
	if got, err := mustRead(t, `{"x":null}`).Number("x"); got != nil || err != nil {
		t.Errorf("null gave %v, %v; want nothing", got, err)
	}
}

func TestCountAndFlag(t *testing.T) {
	o := mustRead(t, `{"zero":0,"top":9007199254740992,"over":9007199254740993,"neg":-1,"half":1.5,"text":"1","exp":1e3,"no":false,"yes":true,"nil":null}`)
	for name, want := range map[string]int64{"zero": 0, "top": 1 << 53} {
		if got, err := o.Count(name); err != nil || got != want {
			t.Errorf("Count(%s) = %d, %v; want %d", name, got, err, want)
		}
	}
	for _, name := range []string{"over", "neg", "half", "text", "exp", "nil", "absent"} {
		if got, err := o.Count(name); err == nil || got != 0 {
			t.Errorf("Count(%s) = %d, %v; want an error", name, got, err)
		}
	}
	for name, want := range map[string]bool{"no": false, "yes": true, "absent": false, "nil": false} {
		if got, err := o.Flag(name); err != nil || got != want {
			t.Errorf("Flag(%s) = %v, %v; want %v", name, got, err, want)
		}
	}
	if _, err := o.Flag("text"); err == nil {
		t.Error("Flag took a text")
	}
}

func TestTime(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"2027-03-02T09:00:10Z", "2027-03-02T09:00:10Z"},
		{"2027-03-02t09:00:10z", "2027-03-02T09:00:10Z"},
		{"2027-03-02T10:00:10+01:00", "2027-03-02T09:00:10Z"},
		{"2027-03-02T09:00:10.25Z", "2027-03-02T09:00:10.25Z"},
		{"2016-12-31T23:59:60Z", "2016-12-31T23:59:59Z"},
		{"1970-01-01T00:00:00Z", "1970-01-01T00:00:00Z"},
		{"1969-12-31T23:59:59Z", ""},
		{"2199-12-31T23:59:59Z", "2199-12-31T23:59:59Z"},
		{"2199-12-31T23:59:59-01:00", ""},
		{"2027-03-02T09:00:10", ""},
		{"2027-03-02", ""},
		{"2.3.2027", ""},
		{"2027-02-29T09:00:10Z", ""},
	} {
		got, err := mustRead(t, `{"x":"`+c.in+`"}`).Time("x")
		switch {
		case c.want == "" && (err == nil || got != nil):
			t.Errorf("Time(%s) = %v; want an error", c.in, got)
		case c.want != "" && (err != nil || got.Format(time.RFC3339Nano) != c.want):
			t.Errorf("Time(%s) = %v, %v; want %s", c.in, got, err, c.want)
		}
	}
}

func TestObjects(t *testing.T) {
	o := mustRead(t, `{"l":[{"a":1},{"a":2}],"mixed":[{"a":1},2],"none":[],"m":{"k":{"v":1}},"t":"x","nil":null}`)
	if got, err := o.Objects("l", 2); err != nil || len(got) != 2 {
		t.Errorf("Objects(l) = %v, %v; want two", got, err)
	}
	for name, want := range map[string]string{"mixed": "entry 2 is the number 2", "none": "has 0 entries", "m": "is an object", "t": `is the text "x"`} {
		_, err := o.Objects(name, 2)
		check(t, err, want)
	}
	_, err := o.Objects("l", 1)
	check(t, err, "has 2 entries; 1 to 1")
	if m, ok, err := o.Object("m"); err != nil || !ok || len(m.Names()) != 1 {
		t.Errorf("Object(m) = %v %v %v", m, ok, err)
	}
	if _, ok, err := o.Object("nil"); ok || err != nil {
		t.Errorf("Object(null) = %v, %v; want absent", ok, err)
	}
	_, _, err = o.Object("l")
	check(t, err, "must be an object")
}

func TestSalvage(t *testing.T) {
	for _, c := range []struct {
		name, in, want string
		ok             bool
	}{
		{"whole", `{"ref":"a1","x":1}`, "a1", true},
		{"broken behind", `{"ref":"a1","x":NaN}`, "a1", true},
		{"broken before", `{"x":NaN,"ref":"a1"}`, "", false},
		{"only inside", `{"x":{"ref":"a1"}}`, "", false},
		{"a number", `{"ref":1}`, "", false},
		{"twice", `{"ref":"a","ref":"b"}`, "", false},
		{"no object", `["ref","a"]`, "", false},
		{"too large", `{"ref":"a1","x":"` + strings.Repeat("x", safety.MaxPayload) + `"}`, "", false},
	} {
		if got, ok := Salvage([]byte(c.in), "ref"); ok != c.ok || ok && got != c.want {
			t.Errorf("%s: Salvage = %q, %v; want %q, %v", c.name, got, ok, c.want, c.ok)
		}
	}
}

func TestAt(t *testing.T) {
	const doc = `{"a":{"b":[{"v":8.30},"x",null,true]},"switch:0":{"output":false},"A":1}`
	for _, c := range []struct {
		in, path, want string
		kind           Kind
		found          bool
		bad            string
	}{
		{" 8.3\n", "", " 8.3\n", KindText, true, ""},
		{doc, "a.b.0.v", "8.30", KindNumber, true, ""},
		{doc, "a.b.1", "x", KindText, true, ""},
		{doc, "a.b.2", "null", KindNull, true, ""},
		{doc, "a.b.3", "true", KindBool, true, ""},
		{doc, "switch:0.output", "false", KindBool, true, ""},
		{doc, "A", "1", KindNumber, true, ""},
		{doc, "a.b.4", "", 0, false, ""},
		{doc, "a.b.-1", "", 0, false, ""},
		{doc, "a.x", "", 0, false, ""},
		{doc, "A.x", "", 0, false, ""},
		{doc, "a.b", "", 0, false, "a list at"},
		{doc, "a", "", 0, false, "an object at"},
		{"{", "a", "", 0, false, "not valid JSON"},
		{`{"a":1,"a":2}`, "a", "", 0, false, "twice"},
	} {
		leaf, found, err := At([]byte(c.in), c.path)
		check(t, err, c.bad)
		if found != c.found || leaf.Text != c.want || leaf.Kind != c.kind {
			t.Errorf("At(%s, %q) = %+v, %v; want %q, %v", c.in, c.path, leaf, found, c.want, c.found)
		}
	}
}

// What is accepted is one JSON object whose fields give back the same bytes' meaning; what is refused gives
// nothing but a reason that is safe to print.
func FuzzRead(f *testing.F) {
	for _, seed := range []string{`{"ref":"a1","value":8.3}`, `{"a":[{"b":1}]}`, `{"value":8,3}`, `{"a":NaN}`, "{\"a\":\"\xff\"}", nested(9), `{"a":1,"a":2}`} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, in []byte) {
		o, err := Read(in)
		if err != nil {
			if len(o.Names()) != 0 || err.Text == "" || !utf8.ValidString(err.Text) || strings.ContainsAny(err.Text, "\n\r\x1b") {
				t.Fatalf("Read(%q) = %v, %q", in, o.Names(), err.Text)
			}
			return
		}
		var m map[string]json.RawMessage
		if json.Unmarshal(in, &m) != nil || len(m) != len(o.Names()) || len(in) > safety.MaxPayload {
			t.Fatalf("Read(%q) gave %v; the standard decoder sees %v", in, o.Names(), m)
		}
		for _, name := range o.Names() {
			if v, err := o.Number(name); v != nil && (err != nil || math.IsNaN(*v) || math.IsInf(*v, 0)) {
				t.Fatalf("Number(%q) of %q = %v", name, in, *v)
			}
			if s, _ := o.Text(name, 64); s != "" && (!Printable(s) || utf8.RuneCountInString(s) > 64) {
				t.Fatalf("Text(%q) of %q = %q", name, in, s)
			}
		}
	})
}
