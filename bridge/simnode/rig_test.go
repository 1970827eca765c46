package simnode

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"
)

var epoch = time.Date(2027, 3, 2, 9, 0, 0, 0, time.UTC)

func after(seconds float64) time.Time {
	return epoch.Add(time.Duration(math.Round(seconds * float64(time.Second))))
}

// goodBoard has two outputs of 10 and 6 mL/min, knows ids and has a clock.
func goodBoard(t testing.TB, change func(*BoardOptions)) *Board {
	t.Helper()
	o := BoardOptions{RatesMLPerMin: []float64{10, 6}, MaxRun: time.Minute, Boot: 17, IDAware: true, HasClock: true}
	if change != nil {
		change(&o)
	}
	b, err := NewBoard(o)
	if err != nil {
		t.Fatal(err)
	}
	b.Advance(epoch)
	return b
}

// onOff reads "on", "on 12.5" and "off".
func onOff(payload []byte) (on bool, seconds float64, ok bool) {
	text := string(payload)
	if text == "off" {
		return false, 0, true
	}
	if text == "on" {
		return true, 0, true
	}
	_, err := fmt.Sscanf(text, "on %g", &seconds)
	return true, seconds, err == nil
}

func goodRelay(t testing.TB, change func(*RelayOptions)) *Relay {
	t.Helper()
	o := RelayOptions{RatesMLPerMin: []float64{10, 6}, OnOff: onOff}
	if change != nil {
		change(&o)
	}
	r, err := NewRelay(o)
	if err != nil {
		t.Fatal(err)
	}
	r.Advance(epoch)
	return r
}

func runPayload(id string, seconds float64, expires time.Time) []byte {
	return fmt.Appendf(nil, `{"v":1,"id":%q,"seconds":%g,"volume_ml":3.20,"expires":%q}`, id, seconds, expires.Format(time.RFC3339Nano))
}

// runAt asks a node for a run at a number of seconds after epoch, expiring 10 s later.
func runAt(n Node, at float64, output int, id string, seconds float64) []Out {
	return n.Receive(after(at), Command{Kind: Run, Output: output, Payload: runPayload(id, seconds, after(at+10))})
}

func stopAt(n Node, at float64, output int, id string) []Out {
	return n.Receive(after(at), Command{Kind: Stop, Output: output, Payload: fmt.Appendf(nil, `{"v":1,"id":%q}`, id)})
}

func switchAt(n Node, at float64, output int, payload string) []Out {
	return n.Receive(after(at), Command{Output: output, Payload: []byte(payload)})
}

// told shortens what a node said: "1:started a 17/1", "1:finished a 10.000s 17/2", "1:refused a busy 17/3",
// "online=1", "2=ON". It fails if a message is not as the contract wants it.
func told(t testing.TB, outs []Out) string {
	t.Helper()
	var words []string
	for _, o := range outs {
		switch o.Role {
		case Report:
			words = append(words, fmt.Sprintf("%d:%s", o.Output, toldReport(t, o)))
		case Online:
			if o.QoS != 1 || !o.Retained || o.Output != 0 {
				t.Fatalf("online is said as %+v; want QoS 1, retained, output 0", o)
			}
			words = append(words, "online="+string(o.Payload))
		case State:
			if !o.Retained {
				t.Fatalf("state is said as %+v; want retained", o)
			}
			words = append(words, fmt.Sprintf("%d=%s", o.Output, o.Payload))
		}
	}
	return strings.Join(words, ", ")
}

func toldReport(t testing.TB, o Out) string {
	t.Helper()
	if o.QoS != 1 || o.Retained {
		t.Fatalf("a report is said with QoS %d, retained %v; want 1, false", o.QoS, o.Retained)
	}
	var r struct {
		V                 int
		ID, State, Reason string
		Seconds           *json.Number
		Boot, Seq         int
	}
	if err := json.Unmarshal(o.Payload, &r); err != nil || r.V != 1 {
		t.Fatalf("report %s does not read as version 1: %v", o.Payload, err)
	}
	text := r.State + " " + r.ID
	if r.Reason != "" {
		text += " " + r.Reason
	}
	if r.Seconds != nil {
		text += " " + r.Seconds.String() + "s"
	}
	return fmt.Sprintf("%s %d/%d", text, r.Boot, r.Seq)
}

func wantTold(t testing.TB, what string, outs []Out, want string) {
	t.Helper()
	if got := told(t, outs); got != want {
		t.Errorf("%s: the node said %q; want %q", what, got, want)
	}
}

func wantDelivered(t testing.TB, n Node, output int, wantUL float64) {
	t.Helper()
	if got := n.Delivered(output); !(math.Abs(got-wantUL) < 1e-3) {
		t.Errorf("output %d delivered %.4f µL; want %.4f", output, got, wantUL)
	}
}

// ulAt10 is what 10 mL/min move in so many seconds, µL.
func ulAt10(seconds float64) float64 { return seconds * 10_000 / 60 }
