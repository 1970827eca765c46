package topics

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"

	"pgregory.net/rapid"
)

// A name, whatever it is made of, stays one level below its kind and never becomes a filter.
func TestLevelsStayApart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.String().Draw(t, "name")
		for _, topic := range []string{shed.Alert(name), shed.Event(name), shed.State("channel", name)} {
			want := strings.Count(strings.TrimPrefix(topic, shed.Root()+"/"), "/")
			if strings.HasPrefix(topic, shed.Root()+"/state/") {
				want--
			}
			if want != 1 || strings.ContainsAny(topic, "+#\x00") || strings.HasSuffix(topic, "/") {
				t.Fatalf("the name %q makes the topic %q", name, topic)
			}
		}
	})
}

// Names of a configuration come through unchanged.
func TestOrdinaryNamesAreKept(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.StringMatching(`[A-Za-z0-9][A-Za-z0-9_-]{0,47}`).Draw(t, "name")
		if got := shed.State("container", name); got != shed.Root()+"/state/container/"+name {
			t.Fatalf("%q became %s", name, got)
		}
	})
}

func TestVerbOfAskIsTheVerb(t *testing.T) {
	for _, v := range machine.Verbs() {
		if got, ok := shed.Verb(shed.Ask(v)); !ok || got != string(v) {
			t.Errorf("Verb(Ask(%s)) = %q, %v", v, got, ok)
		}
	}
}

// The same view gives the same bytes, and every state payload reads back as the view it came from.
func TestRenderingIsStableAndComplete(t *testing.T) {
	first, err := shed.Render(sampleView())
	if err != nil {
		t.Fatal(err)
	}
	for range 20 {
		again, err := shed.Render(sampleView())
		if err != nil || !reflect.DeepEqual(first, again) {
			t.Fatalf("a second rendering differs: %v", err)
		}
	}
	payloads := map[string][]byte{}
	for _, m := range first {
		payloads[m.Topic] = m.Payload
	}
	v := sampleView()
	readBack(t, payloads[shed.State("quantity", "nursery", "alkalinity")], v.Quantities[0])
	readBack(t, payloads[shed.State("channel", "mg")], v.Channels[1])
	readBack(t, payloads[shed.State("container", "carbonate-jug")], v.Containers[0])
	readBack(t, payloads[shed.State("probe", "ph")], v.Probes[0])
	readBack(t, payloads[shed.State("node", "plug")], v.Nodes[1])
	readBack(t, payloads[shed.State("interlock", "floor-wet")], v.Interlocks[0])
	readBack(t, payloads[shed.Alert("interlock-floor-wet")], v.Alerts[0])
}

func readBack[T any](t *testing.T, payload []byte, want T) {
	t.Helper()
	var got T
	if err := json.Unmarshal(payload, &got); err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%s reads %+v, %v; want %+v", payload, got, err, want)
	}
}

// An answer carries whatever the machine recorded, byte for byte.
func TestAnswersReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := machine.Answered{Ref: rapid.String().Draw(t, "ref"), Verb: "test", OK: rapid.Bool().Draw(t, "ok"), Code: safety.OK, Text: rapid.String().Draw(t, "text")}
		if rapid.Bool().Draw(t, "result") {
			b, err := json.Marshal(map[string]string{"x": rapid.String().Draw(t, "x")})
			if err != nil {
				t.Fatal(err)
			}
			a.Result = string(b)
		}
		var got answerPayload
		if err := json.Unmarshal(shed.RenderAnswer(a).Payload, &got); err != nil {
			t.Fatal(err)
		}
		result := string(got.Result)
		if a.Result == "" && result != "null" || a.Result != "" && result != a.Result || got.OK != a.OK || got.Text != a.Text || got.Ref != a.Ref {
			t.Fatalf("%+v came out as %+v", a, got)
		}
	})
}

// A stranger's topic cannot make a problem large.
func TestProblemsStaySmall(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		long := func(name string) string {
			return strings.Repeat(rapid.StringN(1, 8, -1).Draw(t, name), rapid.IntRange(1, 3000).Draw(t, name+" times"))
		}
		m := shed.RenderProblem(machine.Problem{Topic: long("topic"), Code: safety.BadPayload, Text: long("text"), Ref: long("ref")})
		if !json.Valid(m.Payload) || len(m.Payload) > 12*(256+1024+64)+200 {
			t.Fatalf("a problem of %d bytes: %.80s", len(m.Payload), m.Payload)
		}
	})
}

// One wrong letter in any field's name is refused, names the field, and changes nothing.
func TestAnyMisspeltFieldIsRefused(t *testing.T) {
	for _, d := range Verbs() {
		for _, f := range d.fields() {
			in := full(d)
			wrong := f.Name + "x"
			in[wrong] = in[f.Name]
			if !f.Required {
				delete(in, f.Name)
			}
			q, refusal := ParseRequest(string(d.Verb), encode(t, in))
			if refusal == nil || refusal.Code != safety.BadPayload || !strings.Contains(refusal.Text, `there is no field "`+wrong+`"`) {
				t.Errorf("%s with %s: %+v, %v", d.Verb, wrong, q, refusal)
			}
		}
	}
}

// Every owner record that can be written is read back the same.
func TestOwnerRecordsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := machine.OwnerSeen{Instance: rapid.StringMatching(`[a-z0-9-]{1,64}`).Draw(t, "instance"), Epoch: rapid.Int64Range(0, 1<<53).Draw(t, "epoch"),
			At: time.Unix(rapid.Int64Range(0, 7e9).Draw(t, "at"), rapid.Int64Range(0, 999_999_999).Draw(t, "ns")).UTC()}
		m := shed.RenderOwner(machine.WriteOwner{Instance: want.Instance, Epoch: want.Epoch, At: want.At})
		if got, err := ParseOwner(m.Payload); err != nil || got != want {
			t.Fatalf("%s reads %+v, %v", m.Payload, got, err)
		}
	})
}

// An owner record that is accepted is complete; one that is refused says nothing.
func FuzzOwner(f *testing.F) {
	for _, seed := range []string{`{"instance":"i-7f3a","epoch":12,"at":"2027-03-02T09:00:00Z"}`, "", "{}", `{"instance":"a","epoch":1e3,"at":null}`} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, in []byte) {
		got, err := ParseOwner(in)
		switch {
		case err != nil && got != (machine.OwnerSeen{}):
			t.Fatalf("%q: %v with %+v", in, err, got)
		case err == nil && !got.Gone && (got.Instance == "" || got.Epoch < 0 || got.At.IsZero()):
			t.Fatalf("%q reads %+v", in, got)
		case got.Gone != (len(in) == 0):
			t.Fatalf("%q counts as gone", in)
		}
	})
}
