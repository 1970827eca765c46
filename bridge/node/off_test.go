package node

import (
	"testing"

	"aliquot/bridge/machine"
)

// TestForeignOff reads an off that is not ours as a stop, and everything else that is not ours as a foreign command
// (H-37).
func TestForeignOff(t *testing.T) {
	bare := plugSpec()
	bare.On, bare.Off, bare.AutoOff = "on", "off", 20_000
	alike := plugSpec()
	alike.On, alike.Off = `set {{.Millis}}`, `set {{.Serial}}0000000000000000`
	for _, c := range []struct {
		name, payload string
		spec          Spec
		topic         string
		retained      bool
		want          []machine.Event
	}{
		{"an off with another number", `{"on":false,"n":1}`, plugSpec(), "shed/plug/set", false, []machine.Event{machine.CommandSeen{Node: "plug", Output: 1, Stop: true}}},
		{"an on with another number", `{"on":true,"for_seconds":5,"n":1}`, plugSpec(), "shed/plug/set", false, []machine.Event{machine.CommandSeen{Node: "plug", Output: 1}}},
		{"nearly an off", `{"on":false,"n":1} `, plugSpec(), "shed/plug/set", false, []machine.Event{machine.CommandSeen{Node: "plug", Output: 1}}},
		{"an off without its number", `{"on":false,"n":}`, plugSpec(), "shed/plug/set", false, []machine.Event{machine.CommandSeen{Node: "plug", Output: 1}}},
		{"a retained off", `{"on":false,"n":1}`, plugSpec(), "shed/plug/set", true, []machine.Event{machine.CommandSeen{Node: "plug", Output: 1, Retained: true}}},
		{"nothing", ``, plugSpec(), "shed/plug/set", false, []machine.Event{machine.CommandSeen{Node: "plug", Output: 1, Empty: true}}},
		{"a bare off", `off`, bare, "shed/plug/set", false, []machine.Event{machine.CommandSeen{Node: "plug", Output: 1, Stop: true}}},
		{"a bare on", `on`, bare, "shed/plug/set", false, []machine.Event{machine.CommandSeen{Node: "plug", Output: 1}}},
		{"what may be an on as well", `set 10000000000000000`, alike, "shed/plug/set", false, []machine.Event{machine.CommandSeen{Node: "plug", Output: 1}}},
		{"an off of one of two outputs", `{"id":1,"method":"set","params":{"id":1,"on":false}}`, stripSpec(), "shed/strip/rpc", false, []machine.Event{machine.CommandSeen{Node: "strip", Output: 1, Stop: true}}},
		{"an off of an output that no channel has", `{"id":1,"method":"set","params":{"id":9,"on":false}}`, stripSpec(), "shed/strip/rpc", false,
			[]machine.Event{machine.CommandSeen{Node: "strip"}, machine.CommandSeen{Node: "strip", Output: 1}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			wantEvents(t, hear(t, mustCompile(t, c.spec), c.topic, c.payload, c.retained), c.want...)
		})
	}
}
