package main

import (
	"encoding/json"
	"slices"
	"strings"
)

// command on the wire of a site: a run or a stop, with what its node can read of it.
type wireCommand struct {
	heard
	index  int // in the spy's log
	output string
	stop   bool
	ID     string  `json:"id"`
	V      int     `json:"v"`
	Secs   float64 `json:"seconds"`
	ML     float64 `json:"volume_ml"`
	Until  string  `json:"expires"`
	On     bool    `json:"on"`
	For    float64 `json:"for_seconds"`
	N      int64   `json:"n"`
}

// outputs of the site, as its command topics name them.
var outputs = []string{"board/1", "board/2", "timed", "fixed"}

// commands lists every run and stop behind a mark, in order. What is empty only removes a retained message.
func (r *rig) commands(mark int) []wireCommand {
	var out []wireCommand
	for i, h := range r.spy.since(mark) {
		rest, ok := strings.CutPrefix(h.Topic, r.quay.Site+"/")
		if !ok || len(h.Payload) == 0 {
			continue
		}
		c := wireCommand{heard: h, index: mark + i}
		_ = json.Unmarshal(h.Payload, &c) // the relay without numbers says a bare word
		switch at, last := rest[:max(0, strings.LastIndex(rest, "/"))], rest[strings.LastIndex(rest, "/")+1:]; last {
		case "run":
			c.output = at
		case "stop":
			c.output, c.stop = at, true
		case "set":
			c.output, c.stop = at, !c.On && string(h.Payload) != "on"
		default:
			continue
		}
		out = append(out, c)
	}
	return out
}

// sentRuns lists the runs behind a mark.
func (r *rig) sentRuns(mark int) []wireCommand {
	var out []wireCommand
	for _, c := range r.commands(mark) {
		if !c.stop {
			out = append(out, c)
		}
	}
	return out
}

// sentAt lists the runs of one output behind a mark.
func (r *rig) sentAt(output string, mark int) []wireCommand {
	return slices.DeleteFunc(r.sentRuns(mark), func(c wireCommand) bool { return c.output != output })
}

// key tells runs apart: the id, or what stands for it at a relay.
func (c wireCommand) key() string {
	if c.ID != "" {
		return c.ID
	}
	return c.output + " " + string(c.Payload)
}

// checkWire holds INV-3 at the end of a test: no run was on the wire twice, and none lies at the broker.
func (r *rig) checkWire() {
	r.t.Helper()
	seen := map[string]bool{}
	for _, c := range r.sentRuns(0) {
		if c.output == "fixed" {
			continue // its payload says nothing that could be told apart
		}
		if seen[c.key()] {
			r.t.Errorf("the run %s was on the wire twice", c.key())
		}
		seen[c.key()] = true
	}
	user := ""
	if r.quay.User != "" {
		user = "spy"
	}
	// What is retained comes in the order of the subscriptions.
	newcomer := join(r.t, r.broker, user, "inspector-"+r.quay.Site, r.quay.Site+"/#", r.topic("availability"))
	newcomer.await(0, "the availability", on(r.topic("availability"), ""))
	for _, h := range newcomer.since(0) {
		if last := h.Topic[strings.LastIndex(h.Topic, "/"):]; h.Retained && (last == "/run" || last == "/stop" || last == "/set") {
			r.t.Errorf("on %s is retained: %s", h.Topic, h.Payload)
		}
	}
}

// checkStopsFirst holds INV-11: behind a mark, every output is told to stop before anything runs.
func (r *rig) checkStopsFirst(mark int) {
	r.t.Helper()
	stopped := map[string]bool{}
	for _, c := range r.commands(mark) {
		if !c.stop {
			break
		}
		if c.ID == "*" || c.ID == "" {
			stopped[c.output] = true
		}
	}
	for _, o := range outputs {
		if !stopped[o] {
			r.t.Errorf("output %s was not told to stop before anything else", o)
		}
	}
}
