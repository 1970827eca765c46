package node

import (
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
)

// The nodes of the invented harbour shed.

func boardSpec() Spec {
	return Spec{ID: "board", Style: machine.BoundedRun, Outputs: []int{1, 2, 3},
		Run: "shed/pumps/{{.Output}}/run", Stop: "shed/pumps/{{.Output}}/stop", Report: "shed/pumps/{{.Output}}/report",
		Online: Online{Topic: "shed/pumps/online", Up: "1", Down: "0"}}
}

func plugSpec() Spec {
	return Spec{ID: "plug", Style: machine.Switch, Outputs: []int{1}, Command: "shed/plug/set",
		On:     `{"on":true,"for_seconds":{{.Seconds}},"n":{{.Serial}}}`,
		Off:    `{"on":false,"n":{{.Serial}}}`,
		State:  State{Topic: "shed/plug/state", Path: "on", On: "true", Off: "false"},
		Online: Online{Topic: "shed/plug/online", Up: "true", Down: "false"}}
}

// stripSpec is a relay strip whose outputs share their topics.
func stripSpec() Spec {
	return Spec{ID: "strip", Style: machine.Switch, Outputs: []int{0, 1}, Command: "shed/strip/rpc",
		On:     `{"id":{{.Serial}},"method":"set","params":{"id":{{.Output}},"on":true,"after":{{.Seconds}}}}`,
		Off:    `{"id":{{.Serial}},"method":"set","params":{"id":{{.Output}},"on":false}}`,
		State:  State{Topic: "shed/strip/state", Path: "relay{{.Output}}.output", On: "true", Off: "false"},
		Online: Online{Topic: "shed/strip/online", Up: "true", Down: "false"}}
}

func mustCompile(t *testing.T, s Spec) *Codec {
	t.Helper()
	c, err := Compile(s)
	if err != nil {
		t.Fatalf("Compile(%s): %v", s.ID, err)
	}
	return c
}

func sendRun(output int, serial int64) machine.SendRun {
	return machine.SendRun{
		RunReserved: machine.RunReserved{Run: "01JNX3V9M2K4Q7R8S5T6W0YZAB", Output: output, Serial: serial, Volume: 3200, Duration: 19600},
		Expires:     time.Date(2027, 3, 2, 9, 0, 10, 900e6, time.FixedZone("", 3600)),
	}
}

// complaint compiles a spec that must be refused and gives the reason.
func complaint(t *testing.T, s Spec) string {
	t.Helper()
	c, err := Compile(s)
	if err == nil || c != nil {
		t.Fatalf("Compile accepted %+v", s)
	}
	if _, ok := err.(*Problems); !ok {
		t.Fatalf("the error is a %T; want *Problems", err)
	}
	return err.Error()
}

func wantText(t *testing.T, got, want string) {
	t.Helper()
	if !strings.Contains(got, want) {
		t.Errorf("got %q\nwant in it %q", got, want)
	}
}
