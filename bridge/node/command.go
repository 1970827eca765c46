package node

import (
	"encoding/json"
	"time"

	"aliquot/bridge/machine"
)

// Run gives the one message that starts a run: QoS 0, not retained. It remembers the payload for Parse.
func (c *Codec) Run(r machine.SendRun) (topic string, payload []byte) {
	i, o := c.at(r.Output)
	if c.spec.Style == machine.BoundedRun {
		return o.run, runPayload(r)
	}
	text := c.on.render(values{output: o.number, serial: r.Serial, run: r.Run, time: r.Duration, volume: r.Volume, expires: r.Expires})
	c.sent.keep(i, command{payload: text, run: r.Run, serial: r.Serial})
	return o.run, []byte(text)
}

// Stop gives the message that ends a run, or everything on the output where Run is "*": QoS 0, not retained. A
// node whose outputs share one stop topic ends everything on all of them.
func (c *Codec) Stop(s machine.StopRuns) (topic string, payload []byte) {
	i, o := c.at(s.Output)
	if c.spec.Style == machine.BoundedRun {
		return o.stop, []byte(`{"v":1,"id":` + text(s.Run) + `}`)
	}
	off := c.off.render(values{output: o.number, serial: s.Serial, run: s.Run})
	c.sent.keep(i, command{payload: off, run: s.Run, serial: s.Serial, off: true})
	return o.run, []byte(off)
}

// Clear gives the topic whose retained message is to be removed, with an empty retained payload.
func (c *Codec) Clear(m machine.ClearRetained) (topic string) {
	_, o := c.at(m.Output)
	if m.Stop && o.stop != "" {
		return o.stop
	}
	return o.run
}

// runPayload renders version 1 of the bounded-run contract. Seconds and mL carry every digit that is commanded;
// the expiry loses its fraction of a second, which makes it earlier.
func runPayload(r machine.SendRun) []byte {
	return []byte(`{"v":1,"id":` + text(r.Run) +
		`,"seconds":` + thousandths(int64(r.Duration), 3) +
		`,"volume_ml":` + thousandths(int64(r.Volume), 2) +
		`,"expires":"` + r.Expires.UTC().Format(time.RFC3339) + `"}`)
}

// text renders a JSON string.
func text(s string) string {
	b, err := json.Marshal(s)
	if err != nil {
		panic("node: a string that is no JSON: " + err.Error()) // Marshal takes every string
	}
	return string(b)
}
