package topics

import (
	"encoding/json"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

func TestExamplesAreRead(t *testing.T) {
	for _, d := range Verbs() {
		q, refusal := ParseRequest(string(d.Verb), []byte(d.Example))
		if refusal != nil {
			t.Errorf("%s: %s", d.Verb, refusal.Text)
		}
		if q.Verb != d.Verb || q.Ref == "" {
			t.Errorf("%s: read as %+v", d.Verb, q)
		}
	}
}

func TestVerbsAreThoseOfTheMachine(t *testing.T) {
	var got []machine.Verb
	for _, d := range Verbs() {
		got = append(got, d.Verb)
		seen := map[string]bool{}
		for _, f := range d.fields() {
			if seen[f.Name] {
				t.Errorf("%s lists %s twice", d.Verb, f.Name)
			}
			seen[f.Name] = true
		}
	}
	want := machine.Verbs()
	for _, v := range want {
		if _, ok := findVerb(string(v)); !ok {
			t.Errorf("the verb %s is not documented", v)
		}
	}
	if len(got) != len(want) {
		t.Errorf("%d verbs documented; the machine has %d", len(got), len(want))
	}
}

// Every field of a request has a verb that takes it, and every documented field a place: nothing is dropped.
func TestEveryFieldOfARequestIsDocumented(t *testing.T) {
	documented := map[string]bool{}
	for _, d := range Verbs() {
		for _, f := range d.fields() {
			documented[f.Name] = true
		}
	}
	typ := reflect.TypeFor[machine.Request]()
	for i := range typ.NumField() {
		name, _, _ := strings.Cut(typ.Field(i).Tag.Get("json"), ",")
		if name != "-" && !documented[name] {
			t.Errorf("no verb takes %s", name)
		}
		delete(documented, name)
	}
	for name := range documented {
		t.Errorf("%s is documented and has no place in a request", name)
	}
}

// full is a request in which every field of a verb is set.
func full(d VerbDoc) map[string]any {
	m := map[string]any{}
	for _, f := range d.fields() {
		switch f.read {
		case kindName, kindText:
			m[f.Name] = "x-" + f.Name
		case kindNumber:
			m[f.Name] = 1.5
		case kindFlag:
			m[f.Name] = true
		case kindTime:
			m[f.Name] = "2027-03-02T10:00:10+01:00"
		case kindMix:
			m[f.Name] = map[string]any{"alkalinity": map[string]any{"value": 8, "unit": "dKH"}}
		case kindTrials:
			m[f.Name] = []any{map[string]any{"seconds": 60, "measured_ml": 9.8}, map[string]any{"seconds": 60, "measured_g": 10.2}}
		case kindMeasure:
			m[f.Name] = map[string]any{"value": 24.5, "unit": "degC"}
		}
	}
	return m
}

func encode(t *testing.T, v any) []byte {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Every documented field reaches the field of the same name in the request, and nothing else is set.
func TestEveryFieldReachesItsPlace(t *testing.T) {
	for _, d := range Verbs() {
		in := full(d)
		q, refusal := ParseRequest(string(d.Verb), encode(t, in))
		if refusal != nil {
			t.Errorf("%s: %s", d.Verb, refusal.Text)
			continue
		}
		var back map[string]any
		if err := json.Unmarshal(encode(t, q), &back); err != nil {
			t.Fatal(err)
		}
		for name := range in {
			if name == "at" || name == "until" {
				in[name] = "2027-03-02T09:00:10Z"
			}
		}
		if want := string(encode(t, in)); string(encode(t, back)) != want {
			t.Errorf("%s: %s came back as %s", d.Verb, want, encode(t, back))
		}
	}
}

func TestRequiredFields(t *testing.T) {
	for _, d := range Verbs() {
		for _, f := range d.fields() {
			in := full(d)
			delete(in, f.Name)
			_, refusal := ParseRequest(string(d.Verb), encode(t, in))
			if f.Required != (refusal != nil) {
				t.Errorf("%s without %s: %v; required %v", d.Verb, f.Name, refusal, f.Required)
			}
			if refusal != nil && !strings.Contains(refusal.Text, `the field "`+f.Name+`" is missing`) {
				t.Errorf("%s without %s: %s", d.Verb, f.Name, refusal.Text)
			}
			in[f.Name] = nil
			if _, refusal := ParseRequest(string(d.Verb), encode(t, in)); f.Required != (refusal != nil) {
				t.Errorf("%s with %s null: %v; null stands for absent", d.Verb, f.Name, refusal)
			}
		}
	}
}

func TestWrongKinds(t *testing.T) {
	wrong := map[kind]any{kindName: 5, kindText: true, kindNumber: "8,3", kindFlag: "true", kindTime: 17, kindMix: []any{}, kindTrials: map[string]any{}, kindMeasure: 25}
	for _, d := range Verbs() {
		for _, f := range d.fields() {
			in := full(d)
			in[f.Name] = wrong[f.read]
			q, refusal := ParseRequest(string(d.Verb), encode(t, in))
			if refusal == nil || !strings.Contains(refusal.Text, `"`+f.Name+`" is `) || !reflect.DeepEqual(q, machine.Request{}) {
				t.Errorf("%s with %s %v: %+v, %v", d.Verb, f.Name, wrong[f.read], q, refusal)
			}
			if f.Name != "ref" && refusal != nil && refusal.Ref != "x-ref" {
				t.Errorf("%s with %s wrong: the refusal has ref %q", d.Verb, f.Name, refusal.Ref)
			}
		}
	}
}

func TestRefusals(t *testing.T) {
	big := `{"ref":"a","text":"` + strings.Repeat("x", safety.MaxPayload) + `"}`
	for _, c := range []struct {
		name, verb, in string
		code           safety.Code
		ref, text      string
	}{
		{"unknown verb", "dose", `{"ref":"a"}`, safety.UnknownVerb, "a", `there is no request "dose"`},
		{"misspelt verb", "primd", `{"ref":"a"}`, safety.UnknownVerb, "a", `did you mean "prime"?`},
		{"verb in another case", "Test", `{"ref":"a"}`, safety.UnknownVerb, "a", `did you mean "test"?`},
		{"empty H-38", "stop", ``, safety.BadPayload, "", "stop: the payload is empty"},
		{"too large H-38", "note", big, safety.TooLarge, "", "at most 4096"},
		{"two objects", "stop", `{"ref":"a"} {}`, safety.BadPayload, "a", "not valid JSON"},
		{"no object", "stop", `["ref"]`, safety.BadPayload, "", "must be one JSON object"},
		{"no ref", "stop", `{}`, safety.BadPayload, "", `the field "ref" is missing`},
		{"empty ref", "stop", `{"ref":""}`, safety.BadPayload, "", "1 to 64"},
		{"ref of 65", "stop", `{"ref":"` + strings.Repeat("r", 65) + `"}`, safety.BadPayload, "", "65 characters"},
		{"ref unprintable", "stop", `{"ref":"a\nb"}`, safety.BadPayload, "", "cannot be printed"},
		{"ref a number", "stop", `{"ref":7}`, safety.BadPayload, "", `"ref" is the number 7: it must be a text in double quotes`},
		{"ref twice", "stop", `{"ref":"a","ref":"b"}`, safety.BadPayload, "", `"ref" is there twice`},
		{"comma in a number", "test", `{"ref":"a","quantity":"alkalinity","value":8,3,"unit":"dKH"}`, safety.NotANumber, "a", "decimal comma"},
		{"comma in text", "test", `{"ref":"a","quantity":"alkalinity","value":"8,3","unit":"dKH"}`, safety.NotANumber, "a", `"value" is the text "8,3": use a number with a point`},
		{"NaN", "test", `{"ref":"a","quantity":"alkalinity","value":NaN}`, safety.NotANumber, "a", "NaN is not a number"},
		{"Infinity", "refill", `{"ref":"a","container":"c","volume_ml":-Infinity}`, safety.NotANumber, "a", "-Infinity is not a number"},
		{"huge", "refill", `{"ref":"a","container":"c","volume_ml":1e400}`, safety.NotANumber, "a", "too large"},
		{"field of another verb", "prime", `{"ref":"a","channel":"alk","container":"c"}`, safety.BadPayload, "a", `prime: there is no field "container"`},
		{"unit forgotten in a name", "refill", `{"ref":"a","container":"c","volume":5}`, safety.BadPayload, "a", `did you mean "volume_ml"?`},
		{"misspelt field", "hold", `{"ref":"a","all":true,"minuts":5}`, safety.BadPayload, "a", `did you mean "minutes"?; hold takes ref, by, at, confirm, channel, system, all, minutes, until, reason`},
		{"field in another case", "hold", `{"ref":"a","ALL":true}`, safety.BadPayload, "a", `did you mean "all"?`},
		{"name too long", "prime", `{"ref":"a","channel":"` + strings.Repeat("c", 65) + `"}`, safety.BadPayload, "a", "65 characters"},
		{"text too long", "note", `{"ref":"a","kind":"other","text":"` + strings.Repeat("c", 501) + `"}`, safety.BadPayload, "a", "501 characters"},
		{"time without offset", "test", `{"ref":"a","quantity":"x","value":1,"at":"2027-03-02T09:00:00"}`, safety.BadPayload, "a", "date, time and offset"},
		{"trial field", "calibrate", `{"ref":"a","channel":"c","trials":[{"seconds":60,"ml":9}]}`, safety.BadPayload, "a", `"trials.0" has a field "ml"`},
		{"trial half", "calibrate", `{"ref":"a","channel":"c","trials":[{"seconds":60}]}`, safety.BadPayload, "a", `"trials.0" needs "seconds"`},
		{"trial without time", "calibrate", `{"ref":"a","channel":"c","trials":[{"measured_g":60}]}`, safety.BadPayload, "a", `"trials.0" needs "seconds"`},
		{"trial read twice", "calibrate", `{"ref":"a","channel":"c","trials":[{"seconds":60,"measured_ml":9.8},{"seconds":60,"measured_ml":9.8,"measured_g":9.8}]}`, safety.BadPayload, "a", `"trials.1" needs "seconds", and either`},
		{"trial of nothing", "calibrate", `{"ref":"a","channel":"c","trials":[{"seconds":60,"measured_g":0}]}`, safety.OutOfRange, "a", `"trials.0": "measured_g" is 0`},
		{"trial in kilograms", "calibrate", `{"ref":"a","channel":"c","trials":[{"seconds":60,"measured_kg":1}]}`, safety.BadPayload, "a", `did you mean "measured_g"?`},
		{"density in another unit", "calibrate", `{"ref":"a","channel":"c","density":1050,"trials":[{"seconds":60,"measured_g":9}]}`, safety.BadPayload, "a", `did you mean "density_kg_per_l"?`},
		{"temperature a number H-28", "test", `{"ref":"a","quantity":"salinity","value":53,"unit":"mS/cm","temperature":25}`, safety.BadPayload, "a", `"temperature"`},
		{"temperature without unit H-28", "test", `{"ref":"a","quantity":"salinity","value":53,"unit":"mS/cm","temperature":{"value":25}}`, safety.MissingUnit, "a", `"temperature" has no "unit"`},
		{"temperature without value", "test", `{"ref":"a","quantity":"salinity","value":53,"unit":"mS/cm","temperature":{"unit":"degC"}}`, safety.BadPayload, "a", `"temperature" has no "value"`},
		{"trial text", "calibrate", `{"ref":"a","channel":"c","trials":[{"seconds":60,"measured_ml":"9,8"}]}`, safety.NotANumber, "a", `"trials.0": "measured_ml" is the text`},
		{"no trials", "calibrate", `{"ref":"a","channel":"c","trials":[]}`, safety.BadPayload, "a", "0 entries"},
		{"mix empty", "water-change", `{"ref":"a","volume_l":3,"mix":{}}`, safety.BadPayload, "a", "0 quantities"},
		{"mix a number", "water-change", `{"ref":"a","volume_l":3,"mix":{"alkalinity":8}}`, safety.BadPayload, "a", "must be an object"},
		{"mix null", "water-change", `{"ref":"a","volume_l":3,"mix":{"alkalinity":null}}`, safety.BadPayload, "a", `"mix.alkalinity" is empty`},
		{"mix without unit H-28", "water-change", `{"ref":"a","volume_l":3,"mix":{"alkalinity":{"value":8}}}`, safety.MissingUnit, "a", `"mix.alkalinity" has no "unit"`},
		{"mix without value", "water-change", `{"ref":"a","volume_l":3,"mix":{"alkalinity":{"unit":"dKH"}}}`, safety.BadPayload, "a", `has no "value"`},
		{"mix field", "water-change", `{"ref":"a","volume_l":3,"mix":{"alkalinity":{"value":8,"units":"dKH"}}}`, safety.BadPayload, "a", `did you mean "unit"?`},
		{"mix name", "water-change", `{"ref":"a","volume_l":3,"mix":{"":{"value":8,"unit":"dKH"}}}`, safety.BadPayload, "a", "is no name"},
	} {
		t.Run(c.name, func(t *testing.T) {
			q, refusal := ParseRequest(c.verb, []byte(c.in))
			if refusal == nil {
				t.Fatalf("accepted as %+v", q)
			}
			if refusal.Code != c.code || refusal.Ref != c.ref || !strings.Contains(refusal.Error(), c.text) {
				t.Errorf("got %s, ref %q, %q\nwant %s, ref %q, with %q", refusal.Code, refusal.Ref, refusal.Text, c.code, c.ref, c.text)
			}
			if !reflect.DeepEqual(q, machine.Request{}) {
				t.Errorf("refused and still %+v", q)
			}
		})
	}
}

func TestLimitsOfTextsAreInclusive(t *testing.T) {
	in := `{"ref":"` + strings.Repeat("ä", 64) + `","kind":"` + strings.Repeat("k", 64) + `","text":"` + strings.Repeat("t", 500) + `"}`
	if _, refusal := ParseRequest("note", []byte(in)); refusal != nil {
		t.Errorf("texts at their limits: %s", refusal.Text)
	}
}

// Accepted values are finite and within their limits, and the request says the same when written again.
func FuzzRequest(f *testing.F) {
	for _, d := range Verbs() {
		f.Add(string(d.Verb), []byte(d.Example))
		if b, err := json.Marshal(full(d)); err == nil {
			f.Add(string(d.Verb), b)
		}
	}
	f.Add("test", []byte(`{"ref":"a","value":8,3}`))
	f.Add("dose", []byte(`{"ref":"a"}`))
	f.Fuzz(func(t *testing.T, verb string, in []byte) {
		q, refusal := ParseRequest(verb, in)
		if refusal != nil {
			if !reflect.DeepEqual(q, machine.Request{}) || refusal.Code == "" || !utf8.ValidString(refusal.Text) || strings.ContainsAny(refusal.Text, "\n\r\x1b") {
				t.Fatalf("%q: %+v with %+v", in, refusal, q)
			}
			if refusal.Ref != "" && !validRef(refusal.Ref) {
				t.Fatalf("%q: ref %q", in, refusal.Ref)
			}
			return
		}
		for _, v := range []*float64{q.Value, q.VolumeML, q.RemainingML, q.VolumeL, q.Seconds, q.Minutes} {
			if v != nil && (math.IsNaN(*v) || math.IsInf(*v, 0)) {
				t.Fatalf("%q: a number that is not finite: %v", in, *v)
			}
		}
		again := encode(t, q)
		q2, refusal := ParseRequest(verb, again)
		if refusal != nil && len(again) <= safety.MaxPayload {
			t.Fatalf("%q reads; written again as %s it does not: %s", in, again, refusal.Text)
		}
		if refusal == nil && !sameRequest(q, q2) {
			t.Fatalf("%q reads %+v, again %+v", in, q, q2)
		}
	})
}

func sameRequest(a, b machine.Request) bool {
	for _, p := range []**time.Time{&a.At, &a.Until, &b.At, &b.Until} {
		if *p != nil {
			*p = ptr((*p).Round(0).UTC())
		}
	}
	return reflect.DeepEqual(a, b)
}
