package node

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"
	"unicode/utf8"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

func seconds(s float64) *float64 { return &s }

// hear parses a message that must be handled without an error.
func hear(t *testing.T, c *Codec, topic, payload string, retained bool) Heard {
	t.Helper()
	h, handled, err := c.Parse(topic, []byte(payload), retained)
	if err != nil || !handled {
		t.Fatalf("Parse(%s, %s) = %v, handled %v", topic, payload, err, handled)
	}
	return h
}

func wantEvents(t *testing.T, h Heard, want ...machine.Event) {
	t.Helper()
	if !reflect.DeepEqual(h.Events, want) {
		t.Errorf("heard %+v; want %+v", h.Events, want)
	}
}

func TestReports(t *testing.T) {
	board := mustCompile(t, boardSpec())
	for _, c := range []struct {
		in   string
		want machine.Reported
	}{
		{`{"v":1,"id":"a","state":"started","boot":17,"seq":4211}`,
			machine.Reported{Node: "board", Run: "a", State: machine.ReportStarted, Boot: 17, Seq: 4211}},
		{`{"v":1,"id":"a","state":"finished","seconds":19.581,"boot":17,"seq":4212}`,
			machine.Reported{Node: "board", Run: "a", State: machine.ReportFinished, Seconds: seconds(19.581), Boot: 17, Seq: 4212}},
		{`{"v":1,"id":"a","state":"stopped","seconds":0,"boot":0,"seq":0}`,
			machine.Reported{Node: "board", Run: "a", State: machine.ReportStopped, Seconds: seconds(0)}},
		{`{"v":1,"id":"a","state":"refused","reason":"too_long","boot":1,"seq":2}`,
			machine.Reported{Node: "board", Run: "a", State: machine.ReportRefused, Reason: "too_long", Boot: 1, Seq: 2}},
		{`{"v":1,"id":"` + strings.Repeat("x", 64) + `","state":"finished","seconds":3600,"boot":1,"seq":2}`,
			machine.Reported{Node: "board", Run: strings.Repeat("x", 64), State: machine.ReportFinished, Seconds: seconds(3600), Boot: 1, Seq: 2}},
	} {
		h := hear(t, board, "shed/pumps/2/report", c.in, false)
		wantEvents(t, h, c.want)
		if len(h.Unknown) != 0 || h.Note != "" {
			t.Errorf("%s: unknown %v, note %q", c.in, h.Unknown, h.Note)
		}
	}
}

func TestReportUnknownFieldsAreNoError(t *testing.T) {
	h := hear(t, mustCompile(t, boardSpec()), "shed/pumps/1/report", `{"v":1,"id":"a","rssi":-60,"state":"started","Seq":9,"boot":1,"seq":2}`, false)
	wantEvents(t, h, machine.Reported{Node: "board", Run: "a", State: machine.ReportStarted, Boot: 1, Seq: 2})
	if got := fmt.Sprint(h.Unknown); got != `["Seq" "rssi"]` {
		t.Errorf("unknown fields %s; want both, sorted", got)
	}
}

func TestReportRefused(t *testing.T) {
	board := mustCompile(t, boardSpec())
	report := func(id, state, seconds string) string {
		return fmt.Sprintf(`{"v":1,"id":%s,"state":%s,"seconds":%s,"boot":1,"seq":2}`, id, state, seconds)
	}
	for _, c := range []struct {
		name, in string
		retained bool
		code     safety.Code
		text     string
	}{
		{"retained", report(`"a"`, `"started"`, "1"), true, safety.Retained, "it is retained"},
		{"not JSON", "finished", false, safety.BadPayload, "not valid JSON"},
		{"empty", "", false, safety.BadPayload, "is empty"},
		{"no version", `{"id":"a","state":"started","boot":1,"seq":2}`, false, safety.BadPayload, `"v" must be 1`},
		{"version 2", `{"v":2,"id":"a","state":"started","boot":1,"seq":2}`, false, safety.BadPayload, `"v" must be 1`},
		{"version as text", `{"v":"1","id":"a","state":"started","boot":1,"seq":2}`, false, safety.BadPayload, `"v" must be 1`},
		{"no id", `{"v":1,"state":"started","boot":1,"seq":2}`, false, safety.BadPayload, `"id" is missing`},
		{"null id", report("null", `"started"`, "1"), false, safety.BadPayload, `"id" is missing`},
		{"empty id", report(`""`, `"started"`, "1"), false, safety.BadPayload, "0 characters"},
		{"id of 65", report(`"`+strings.Repeat("x", 65)+`"`, `"started"`, "1"), false, safety.BadPayload, "65 characters; 1 to 64"},
		{"id unprintable", report(`"a\u0000"`, `"started"`, "1"), false, safety.BadPayload, "cannot be printed"},
		{"unknown state", report(`"a"`, `"done"`, "1"), false, safety.BadPayload, `"state" is "done"`},
		{"no state", `{"v":1,"id":"a","boot":1,"seq":2}`, false, safety.BadPayload, `"state" is ""`},
		{"seconds below 0", report(`"a"`, `"finished"`, "-0.001"), false, safety.OutOfRange, "0 to 3600 s"},
		{"seconds above 3600", report(`"a"`, `"finished"`, "3600.001"), false, safety.OutOfRange, "0 to 3600 s"},
		{"seconds huge", report(`"a"`, `"finished"`, "1e999"), false, safety.NotANumber, "too large"},
		{"seconds NaN", report(`"a"`, `"finished"`, "NaN"), false, safety.NotANumber, "NaN is not a number"},
		{"seconds as text", report(`"a"`, `"finished"`, `"19,6"`), false, safety.NotANumber, "use a number with a point"},
		{"no boot", `{"v":1,"id":"a","state":"started","seq":2}`, false, safety.BadPayload, `"boot" is missing`},
		{"no seq", `{"v":1,"id":"a","state":"started","boot":2}`, false, safety.BadPayload, `"seq" is missing`},
		{"negative seq", `{"v":1,"id":"a","state":"started","boot":2,"seq":-1}`, false, safety.BadPayload, "whole number from 0"},
		{"seconds twice", `{"v":1,"id":"a","state":"finished","seconds":1,"seconds":2,"boot":2,"seq":1}`, false, safety.BadPayload, "there twice"},
		{"too large H-38", `{"v":1,"x":"` + strings.Repeat("x", 5000) + `"}`, false, safety.TooLarge, "at most 4096"},
	} {
		t.Run(c.name, func(t *testing.T) {
			h, handled, err := board.Parse("shed/pumps/1/report", []byte(c.in), c.retained)
			var e *Error
			if !handled || !errors.As(err, &e) || e.Code != c.code || !strings.Contains(e.Text, c.text) {
				t.Fatalf("Parse = %v, handled %v; want %s with %q", err, handled, c.code, c.text)
			}
			wantText(t, e.Text, "report of node board: ")
			if h.Events != nil {
				t.Errorf("an error and still %v", h.Events)
			}
		})
	}
}

func TestOnline(t *testing.T) {
	board := mustCompile(t, boardSpec())
	for payload, up := range map[string]bool{"1": true, "0": false, "": false, "online": false, "1 ": false, strings.Repeat("1", 9000): false} {
		for _, retained := range []bool{false, true} {
			h := hear(t, board, "shed/pumps/online", payload, retained)
			wantEvents(t, h, machine.NodeOnline{Node: "board", Up: up})
			if known := payload == "1" || payload == "0"; known != (h.Note == "") {
				t.Errorf("%.20q: note %q", payload, h.Note)
			}
		}
	}
}

func TestState(t *testing.T) {
	plug, strip := mustCompile(t, plugSpec()), mustCompile(t, stripSpec())
	bare := plugSpec()
	bare.State = State{Topic: "shed/plug/state", On: "ON", Off: "OFF"}
	plain := mustCompile(t, bare)

	wantEvents(t, hear(t, plug, "shed/plug/state", `{"on":true}`, false), machine.Switched{Node: "plug", Output: 1, On: true})
	wantEvents(t, hear(t, plug, "shed/plug/state", `{"on":"false","w":3}`, true), machine.Switched{Node: "plug", Output: 1, Retained: true})
	wantEvents(t, hear(t, plain, "shed/plug/state", "ON", false), machine.Switched{Node: "plug", Output: 1, On: true})
	wantEvents(t, hear(t, plain, "shed/plug/state", "OFF", false), machine.Switched{Node: "plug", Output: 1})

	wantEvents(t, hear(t, strip, "shed/strip/state", `{"relay0":{"output":false},"relay1":{"output":true}}`, false),
		machine.Switched{Node: "strip", Output: 0}, machine.Switched{Node: "strip", Output: 1, On: true})
	h := hear(t, strip, "shed/strip/state", `{"relay1":{"output":true}}`, false)
	wantEvents(t, h, machine.Switched{Node: "strip", Output: 1, On: true})
	wantText(t, h.Note, `nothing at "relay0.output"`)

	for _, c := range []struct {
		codec    *Codec
		in, text string
	}{
		{plain, "on", `is "on": "ON" or "OFF" was expected`},
		{plain, "", `is "": "ON" or "OFF" was expected`},
		{plug, `{"on":1}`, `is "1"`},
		{plug, `{"on":null}`, `is "null"`},
		{plug, `{"on":{}}`, "plain value is needed"},
		{plug, "true", ""},
		{plug, "{", "not valid JSON"},
	} {
		h, handled, err := c.codec.Parse("shed/plug/state", []byte(c.in), false)
		if c.text == "" {
			if err != nil || len(h.Events) != 0 || h.Note == "" {
				t.Errorf("%s: %+v, %v; want a note only", c.in, h, err)
			}
			continue
		}
		if err == nil || !handled || h.Events != nil {
			t.Errorf("state %q gave %+v, %v; want an error", c.in, h.Events, err)
			continue
		}
		wantText(t, err.Error(), c.text)
	}
}

func TestOtherTopicsAreNotOurs(t *testing.T) {
	board := mustCompile(t, boardSpec())
	for _, topic := range []string{"", "shed/pumps/4/report", "shed/pumps", "shed/plug/state"} {
		if h, handled, err := board.Parse(topic, []byte("x"), false); handled || err != nil || h.Events != nil {
			t.Errorf("Parse(%q) = %+v, %v, %v; want it left alone", topic, h, handled, err)
		}
	}
}

func TestEchoOfABoard(t *testing.T) {
	board := mustCompile(t, boardSpec())
	topic, payload := board.Run(sendRun(2, 7))
	wantEvents(t, hear(t, board, topic, string(payload), false), machine.CommandSeen{Node: "board", Output: 2, Run: sendRun(2, 7).Run})
	topic, payload = board.Stop(machine.StopRuns{Output: 2, Run: "*"})
	wantEvents(t, hear(t, board, topic, string(payload), false), machine.CommandSeen{Node: "board", Output: 2, Run: "*", Stop: true})

	wantEvents(t, hear(t, board, "shed/pumps/1/run", `{"v":1,"id":"stranger","seconds":60}`, false), machine.CommandSeen{Node: "board", Output: 1, Run: "stranger"})
	wantEvents(t, hear(t, board, "shed/pumps/1/run", "ON", true), machine.CommandSeen{Node: "board", Output: 1, Retained: true})
	wantEvents(t, hear(t, board, "shed/pumps/1/stop", "", false), machine.CommandSeen{Node: "board", Output: 1, Stop: true, Empty: true})
	wantEvents(t, hear(t, board, "shed/pumps/1/run", strings.Repeat("x", 70000), false), machine.CommandSeen{Node: "board", Output: 1})
}

func TestEchoOfASharedStopTopic(t *testing.T) {
	s := boardSpec()
	s.Outputs, s.Stop = []int{1, 2}, "shed/stop"
	board := mustCompile(t, s)
	topic, payload := board.Stop(machine.StopRuns{Output: 2, Run: "*"})
	wantEvents(t, hear(t, board, topic, string(payload), false),
		machine.CommandSeen{Node: "board", Output: 1, Run: "*", Stop: true}, machine.CommandSeen{Node: "board", Output: 2, Run: "*", Stop: true})
}

func TestEchoOfASwitch(t *testing.T) {
	plug, strip := mustCompile(t, plugSpec()), mustCompile(t, stripSpec())
	topic, on := plug.Run(sendRun(1, 7))
	_, off := plug.Stop(machine.StopRuns{Output: 1, Run: "*", Serial: 7})
	id := sendRun(1, 7).Run
	wantEvents(t, hear(t, plug, topic, string(on), false), machine.CommandSeen{Node: "plug", Output: 1, Run: id, Serial: 7})
	wantEvents(t, hear(t, plug, topic, string(off), false), machine.CommandSeen{Node: "plug", Output: 1, Run: "*", Serial: 7, Stop: true})

	// H-37: the same words with another number, and any other words, are not ours.
	for _, foreign := range []string{strings.Replace(string(on), `"n":7`, `"n":8`, 1), "ON", `{"on":true}`} {
		wantEvents(t, hear(t, plug, topic, foreign, false), machine.CommandSeen{Node: "plug", Output: 1})
	}
	// H-04: our own words, but retained, are a planted command.
	wantEvents(t, hear(t, plug, topic, string(on), true), machine.CommandSeen{Node: "plug", Output: 1, Retained: true})
	wantEvents(t, hear(t, plug, topic, string(off), true), machine.CommandSeen{Node: "plug", Output: 1, Retained: true})
	wantEvents(t, hear(t, plug, topic, "", false), machine.CommandSeen{Node: "plug", Output: 1, Empty: true})

	// On a shared topic ours names its output; anybody else's may mean each of them.
	topic, on = strip.Run(sendRun(1, 8))
	wantEvents(t, hear(t, strip, topic, string(on), false), machine.CommandSeen{Node: "strip", Output: 1, Run: id, Serial: 8})
	wantEvents(t, hear(t, strip, topic, "{}", false), machine.CommandSeen{Node: "strip"}, machine.CommandSeen{Node: "strip", Output: 1})
}

func TestMemoryKeepsRunsThroughRepeatedStops(t *testing.T) {
	s := plugSpec()
	s.On, s.Off = "{{.Millis}} {{.Serial}}", "OFF {{.Serial}}"
	plug := mustCompile(t, s)
	_, first := plug.Run(sendRun(1, 1))
	for i := range int64(100) {
		plug.Stop(machine.StopRuns{Output: 1, Run: "*", Serial: i})
	}
	serial := func(payload []byte) int64 {
		return hear(t, plug, "shed/plug/set", string(payload), false).Events[0].(machine.CommandSeen).Serial
	}
	if got := serial(first); got != 1 {
		t.Errorf("after 100 stops the run's echo has serial %d; want 1", got)
	}
	for i := int64(2); i <= remembered; i++ {
		plug.Run(sendRun(1, i))
	}
	if got := serial(first); got != 1 {
		t.Errorf("the echo of the oldest of %d runs has serial %d; want 1", remembered, got)
	}
	plug.Run(sendRun(1, remembered+1))
	if got := serial(first); got != 0 {
		t.Errorf("after %d further runs the echo has serial %d; want it forgotten", remembered, got)
	}
}

func TestMemoryGivesTheLatestOfEqualPayloads(t *testing.T) {
	s := plugSpec()
	s.On, s.Off, s.AutoOff = "ON", "OFF", 60000
	relay := mustCompile(t, s)
	relay.Run(sendRun(1, 1))
	relay.Run(sendRun(1, 2))
	got := hear(t, relay, "shed/plug/set", "ON", false).Events[0].(machine.CommandSeen)
	if got.Serial != 2 {
		t.Errorf("the echo of ON has serial %d; want the latest, 2", got.Serial)
	}
}

// An accepted report is finite, within its limits, and says the same when written again; a refused one says why.
func FuzzReport(f *testing.F) {
	for _, seed := range []string{
		`{"v":1,"id":"a","state":"started","boot":17,"seq":4211}`, `{"v":1,"id":"a","state":"finished","seconds":19.581,"boot":17,"seq":4212}`,
		`{"v":1,"id":"a","state":"refused","reason":"busy","boot":1,"seq":1,"x":[]}`, `{"v":1,"id":"a","state":"finished","seconds":1e999,"boot":1,"seq":2}`, "{}", "NaN",
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, in []byte) {
		board, err := Compile(boardSpec())
		if err != nil {
			t.Fatal(err)
		}
		h, handled, err := board.Parse("shed/pumps/1/report", in, false)
		if !handled {
			t.Fatal("a report topic that is not handled")
		}
		if err != nil {
			if h.Events != nil || !utf8.ValidString(err.Error()) || strings.ContainsAny(err.Error(), "\n\x1b") {
				t.Fatalf("%q: %v with %v", in, err, h)
			}
			return
		}
		r := h.Events[0].(machine.Reported)
		if r.Seconds != nil && !(*r.Seconds >= 0 && *r.Seconds <= 3600) || r.Seconds != nil && math.Signbit(*r.Seconds) {
			t.Fatalf("%q: seconds %v", in, *r.Seconds)
		}
		again, err := json.Marshal(map[string]any{"v": 1, "id": r.Run, "state": r.State, "seconds": r.Seconds, "boot": r.Boot, "seq": r.Seq, "reason": orNull(r.Reason)})
		if err != nil {
			t.Fatal(err)
		}
		h2, _, err := board.Parse("shed/pumps/1/report", again, false)
		if err != nil || !reflect.DeepEqual(h2.Events, h.Events) {
			t.Fatalf("%q reads %+v; written again as %s it reads %+v, %v", in, h.Events, again, h2.Events, err)
		}
	})
}

func orNull(s string) any {
	if s == "" {
		return nil
	}
	return s
}
