package node

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"unicode"

	"aliquot/bridge/machine"
	"aliquot/safety"

	"pgregory.net/rapid"
)

func TestParseTemplate(t *testing.T) {
	for _, c := range []struct{ text, want, bad string }{
		{"", "", ""},
		{"ON", "ON", ""},
		{"{{.Output}}", "3", ""},
		{"a {{ .Output }} b", "a 3 b", ""},
		{"a  {{- .Output -}}  b", "a3b", ""},
		{"{{/* why */}}x{{.Output}}", "x3", ""},
		{"}}", "}}", ""},
		{"{ {.Output} }", "{ {.Output} }", ""},
		{"{{.output}}", "", "has {{.output}}"},
		{"{{.Seconds}}", "", "has {{.Seconds}}; only {{.Output}} can be used"},
		{"{{.Output", "", "cannot be read as a template"},
		{"{{}}", "", "cannot be read as a template"},
		{"{{range .Output}}{{end}}", "", "has {{range .Output}}"},
		{"{{with .Output}}{{.}}{{end}}", "", "has {{with .Output}}"},
		{`{{template "x"}}`, "", `has {{template "x"}}`},
		{`{{block "x" .}}y{{end}}`, "", "defines other templates"},
		{"{{.Output .Output}}", "", "can be used"},
		{"{{(.Output)}}", "", "can be used"},
		{"{{eq .Output 1}}", "", "cannot be read as a template"},
		{"{{nil}}", "", "can be used"},
		{"{{break}}", "", "cannot be read as a template"},
		{"{{1}}", "", "can be used"},
	} {
		got, err := parseTemplate(c.text, topicFields)
		switch {
		case c.bad != "" && (err == nil || !strings.Contains(err.Error(), c.bad)):
			t.Errorf("parseTemplate(%q) = %v; want an error with %q", c.text, err, c.bad)
		case c.bad == "" && err != nil:
			t.Errorf("parseTemplate(%q): %v", c.text, err)
		case c.bad == "" && got.render(values{output: 3}) != c.want:
			t.Errorf("%q renders %q; want %q", c.text, got.render(values{output: 3}), c.want)
		}
	}
}

func TestTouching(t *testing.T) {
	for text, want := range map[string]bool{
		"{{.Seconds}}": false, "{{.Seconds}},": false, "5,{{.Seconds}}": false, ":{{.Millis}}}": false, "T{{.Millis}}ms": false, "-{{.Millis}}": false,
		"{{.Millis}}0": true, "0{{.Millis}}": true, ".{{.Millis}}": true, "{{.Seconds}}.": true, "{{.Seconds}}E3": true,
		"{{.Seconds}}{{.Output}}": true, "{{.Output}}{{.Seconds}}": true, "{{.Output}}{{.Serial}}": false, "1{{.Serial}}0": false,
	} {
		parsed, err := parseTemplate(text, onFields)
		if err != nil {
			t.Fatal(err)
		}
		if field, got := parsed.touching(); got != want || got == (field == "") {
			t.Errorf("%q: touching %q %v; want %v", text, field, got, want)
		}
	}
}

func TestTopicTrouble(t *testing.T) {
	for topic, bad := range map[string]bool{
		"a": false, "a/b": false, "a b/c": false, "a$b": false, "ä/ö": false, strings.Repeat("x", 512): false,
		"": true, "/a": true, "a/": true, "a//b": true, "a/ /b": true, "a/+": true, "#": true, "a#b": true, "$SYS/a": true,
		"a\nb": true, "a\x00b": true, "a\xff": true, strings.Repeat("x", 513): true,
	} {
		if why := topicTrouble(topic); (why != "") != bad {
			t.Errorf("topicTrouble(%.40q) = %q; refused should be %v", topic, why, bad)
		}
	}
}

// The echo of any of the last 32 runs of an output is known by its run and serial, whatever else was commanded.
func TestEchoesAgainstAnOracle(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		strip, err := Compile(stripSpec())
		if err != nil {
			t.Fatal(err)
		}
		sent := map[int][]machine.SendRun{}
		for serial := range rapid.Int64Range(1, 120).Draw(t, "commands") {
			output := rapid.IntRange(0, 1).Draw(t, "output")
			if rapid.Bool().Draw(t, "stop") {
				strip.Stop(machine.StopRuns{Output: output, Run: "*", Serial: serial})
				continue
			}
			r := sendRun(output, serial+1)
			r.Run = fmt.Sprintf("run-%d", serial)
			r.Duration = safety.Milliseconds(rapid.IntRange(1, 3).Draw(t, "ms"))
			strip.Run(r)
			sent[output] = append(sent[output], r)
		}
		for output, runs := range sent {
			for i, r := range runs {
				payload := strip.on.render(values{output: output, serial: r.Serial, run: r.Run, time: r.Duration})
				h, _, err := strip.Parse("shed/strip/rpc", []byte(payload), false)
				if err != nil {
					t.Fatal(err)
				}
				want := machine.CommandSeen{Node: "strip", Output: output, Run: r.Run, Serial: r.Serial}
				known := len(h.Events) == 1 && h.Events[0] == want
				if recent := i >= len(runs)-remembered; known != recent {
					t.Fatalf("run %d of %d on output %d: heard %+v; known should be %v", i+1, len(runs), output, h.Events, recent)
				}
			}
		}
	})
}

// Two codecs that were asked the same say the same.
func TestCodecsAreDeterministic(t *testing.T) {
	for _, spec := range []Spec{boardSpec(), plugSpec(), stripSpec()} {
		a, b := mustCompile(t, spec), mustCompile(t, spec)
		for serial := range int64(100) {
			for _, output := range spec.Outputs {
				topicA, payloadA := a.Run(sendRun(output, serial))
				topicB, payloadB := b.Run(sendRun(output, serial))
				if topicA != topicB || string(payloadA) != string(payloadB) {
					t.Fatalf("%s and %s, %s and %s", topicA, topicB, payloadA, payloadB)
				}
				heardA, _, _ := a.Parse(topicA, payloadA, false)
				heardB, _, _ := b.Parse(topicB, payloadB, false)
				if !reflect.DeepEqual(heardA, heardB) {
					t.Fatalf("%+v and %+v", heardA, heardB)
				}
			}
		}
		if !slices.Equal(a.Subscriptions(), b.Subscriptions()) {
			t.Errorf("%v and %v", a.Subscriptions(), b.Subscriptions())
		}
	}
}

// Every topic that a node subscribes to is handled, and every topic on which we command is subscribed to (H-04).
func TestEverySubscriptionIsHandled(t *testing.T) {
	for _, spec := range []Spec{boardSpec(), plugSpec(), stripSpec()} {
		c := mustCompile(t, spec)
		for _, topic := range c.Subscriptions() {
			if _, handled, _ := c.Parse(topic, []byte("x"), false); !handled {
				t.Errorf("%s subscribes to %s and does not handle it", spec.ID, topic)
			}
		}
		for _, output := range spec.Outputs {
			run, _ := c.Run(sendRun(output, 1))
			stop, _ := c.Stop(machine.StopRuns{Output: output, Run: "*"})
			for _, topic := range []string{run, stop} {
				if !slices.Contains(c.Subscriptions(), topic) {
					t.Errorf("%s commands on %s and does not watch it", spec.ID, topic)
				}
			}
		}
	}
}

// Whatever comes on whatever topic, an error means that nothing was heard, and what was heard names the node.
func FuzzParse(f *testing.F) {
	for i := range 12 {
		f.Add(i, []byte(`{"v":1,"id":"a","state":"started","boot":1,"seq":2}`), i%2 == 0)
		f.Add(i, []byte(`{"on":true}`), false)
		f.Add(i, []byte(""), true)
	}
	f.Fuzz(func(t *testing.T, pick int, in []byte, retained bool) {
		for _, spec := range []Spec{boardSpec(), plugSpec(), stripSpec()} {
			c, err := Compile(spec)
			if err != nil {
				t.Fatal(err)
			}
			all := c.Subscriptions()
			h, handled, err := c.Parse(all[uint(pick)%uint(len(all))], in, retained)
			if !handled || err != nil && (len(h.Events) > 0 || h.Note != "") {
				t.Fatalf("%s: handled %v, %+v, %v", spec.ID, handled, h, err)
			}
			for _, e := range h.Events {
				if node := reflect.ValueOf(e).FieldByName("Node").String(); node != spec.ID {
					t.Fatalf("%T names the node %q", e, node)
				}
				if seen, ok := e.(machine.CommandSeen); ok && (seen.Empty != (len(in) == 0) || seen.Retained != retained || seen.Serial != 0) {
					t.Fatalf("%q heard as %+v; nothing was ever sent", in, seen)
				}
			}
			if strings.ContainsFunc(h.Note, unicode.IsControl) {
				t.Fatalf("note %q", h.Note)
			}
		}
	})
}
