package topics

import (
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

var update = flag.Bool("update", false, "rewrite the golden files and the generated part of TOPICS.md")

func line(m Message) string {
	flags := fmt.Sprintf("qos=%d", m.QoS)
	if m.Retained {
		flags += " retained"
	}
	return fmt.Sprintf("%s [%s]\n  %s\n", m.Topic, flags, m.Payload)
}

func golden(t *testing.T, file, got string) {
	t.Helper()
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs; got\n%s\nwant\n%s", file, got, want)
	}
}

// Every payload that the service publishes, byte for byte.
func TestPayloadsGolden(t *testing.T) {
	v := sampleView()
	messages, err := shed.Render(v)
	if err != nil {
		t.Fatal(err)
	}
	event, err := shed.RenderEvent(machine.Happened{Kind: "run_ended", At: at(9, 0).In(time.FixedZone("", 3600)), Data: map[string]any{"channel": "alk", "volume_ml": 2.02}})
	if err != nil {
		t.Fatal(err)
	}
	bare, err := shed.RenderEvent(machine.Happened{Kind: "odd/kind", At: at(9, 0)})
	if err != nil {
		t.Fatal(err)
	}
	messages = append(messages, shed.Birth(), shed.Will(), shed.RenderAbout(v), shed.RenderAbout(machine.SiteView{}),
		shed.RenderBeat(machine.BeatView{At: at(9, 0), UptimeSeconds: 3600.5, LastPlan: ptr(at(8, 7))}),
		shed.RenderOwner(machine.WriteOwner{Instance: "i-7f3a", Epoch: 12, At: at(9, 0).In(time.FixedZone("", -3600))}),
		shed.RenderAnswer(machine.Answered{Ref: "t-1", Verb: "test", OK: true, Code: safety.OK, Text: "taken", Result: `{"level":8.3}`}),
		shed.RenderAnswer(machine.Answered{Ref: "t-2", Verb: "stop", OK: true, Code: safety.OK, Text: "stopped"}),
		shed.RenderAnswer(machine.Answered{Ref: "t-3", Verb: "note", Code: safety.InternalError, Result: `{broken`}),
		shed.RenderProblem(machine.Problem{Topic: "aliquot/harbour-shed/ask/test", Code: safety.BadPayload, Text: "the payload is empty"}),
		shed.RenderProblem(machine.Problem{Topic: strings.Repeat("x", 300), Code: safety.NotANumber, Text: "no number", Ref: "t-4"}),
		event, bare)
	var b strings.Builder
	for _, m := range messages {
		b.WriteString(line(m))
	}
	golden(t, "testdata/payloads.golden", b.String())
}

func TestEveryPayloadIsJSONOrAWord(t *testing.T) {
	messages, err := shed.Render(sampleView())
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, m := range messages {
		if seen[m.Topic] {
			t.Errorf("%s is published twice in one rendering", m.Topic)
		}
		seen[m.Topic] = true
		if !m.Retained || m.QoS != 1 || !strings.HasPrefix(m.Topic, "aliquot/harbour-shed/") {
			t.Errorf("%+v: state is retained, QoS 1 and below the site", m)
		}
		var o map[string]any
		if err := json.Unmarshal(m.Payload, &o); err != nil && len(m.Payload) > 0 {
			t.Errorf("%s: %v", m.Topic, err)
		}
	}
}

func TestRenderLeavesOutWhatIsNotFinite(t *testing.T) {
	v := sampleView()
	v.Quantities[0].Level = ptr(math.NaN())
	v.Containers[0].RemainingMaxML = math.Inf(1)
	all, _ := shed.Render(sampleView())
	got, err := shed.Render(v)
	if err == nil || !strings.Contains(err.Error(), "state/quantity/nursery/alkalinity") || !strings.Contains(err.Error(), "state/container/carbonate-jug") {
		t.Errorf("the error %v does not name both topics", err)
	}
	if len(got) != len(all)-2 {
		t.Errorf("%d messages; want all %d but two", len(got), len(all))
	}
	if _, err := shed.RenderEvent(machine.Happened{Kind: "x", Data: math.NaN()}); err == nil {
		t.Error("an event with NaN was rendered")
	}
	if m := shed.RenderBeat(machine.BeatView{UptimeSeconds: math.NaN()}); !json.Valid(m.Payload) {
		t.Errorf("beat %s", m.Payload)
	}
}

func TestRenderDoesNotTouchTheView(t *testing.T) {
	v := sampleView()
	if _, err := shed.Render(v); err != nil {
		t.Fatal(err)
	}
	if v.Systems[0].Withheld != nil {
		t.Error("rendering changed the snapshot, which others read")
	}
}

func TestAlertIsRemovedWhenCleared(t *testing.T) {
	m := shed.RenderAlert(machine.AlertView{Name: "clock", Raised: false})
	if m.Topic != "aliquot/harbour-shed/alert/clock" || len(m.Payload) != 0 || !m.Retained {
		t.Errorf("a cleared alert is %+v; want an empty retained payload", m)
	}
}

func TestLayout(t *testing.T) {
	for got, want := range map[string]string{
		shed.Root():                        "aliquot/harbour-shed",
		shed.Availability():                "aliquot/harbour-shed/availability",
		shed.About():                       "aliquot/harbour-shed/about",
		shed.Beat():                        "aliquot/harbour-shed/beat",
		shed.Owner():                       "aliquot/harbour-shed/owner",
		shed.Answer():                      "aliquot/harbour-shed/answer",
		shed.Problem():                     "aliquot/harbour-shed/problem",
		shed.Ping():                        "aliquot/harbour-shed/ping",
		shed.Ask(machine.VerbTest):         "aliquot/harbour-shed/ask/test",
		shed.Event("run_ended"):            "aliquot/harbour-shed/event/run_ended",
		shed.Alert("a/+b#"):                "aliquot/harbour-shed/alert/a__b_",
		shed.Alert(""):                     "aliquot/harbour-shed/alert/_",
		shed.State("quantity", "s", "pH"):  "aliquot/harbour-shed/state/quantity/s/pH",
		fmt.Sprint(shed.Filters()):         "[{aliquot/harbour-shed/ask/+ 1} {aliquot/harbour-shed/owner 1}]",
		shed.State("channel", "alk\x00\n"): "aliquot/harbour-shed/state/channel/alk__",
	} {
		if got != want {
			t.Errorf("got %s; want %s", got, want)
		}
	}
	for topic, want := range map[string]string{
		"aliquot/harbour-shed/ask/test": "test", "aliquot/harbour-shed/ask/odd": "odd", "aliquot/harbour-shed/ask/": "",
		"aliquot/harbour-shed/ask/a/b": "", "aliquot/harbour-shed/answer": "", "aliquot/other/ask/test": "",
	} {
		if got, ok := shed.Verb(topic); got != want || ok != (want != "") {
			t.Errorf("Verb(%s) = %q, %v; want %q", topic, got, ok, want)
		}
	}
}

// No level is called bridge: other programs own that name.
func TestNoLevelIsCalledBridge(t *testing.T) {
	messages, _ := shed.Render(sampleView())
	for _, m := range append(messages, shed.Birth(), shed.RenderAbout(sampleView())) {
		for l := range strings.SplitSeq(m.Topic, "/") {
			if l == "bridge" {
				t.Errorf("%s has a level called bridge", m.Topic)
			}
		}
	}
}
