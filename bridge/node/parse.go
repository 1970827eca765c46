package node

import (
	"bytes"
	"fmt"
	"slices"

	"aliquot/bridge/machine"
	"aliquot/bridge/topics/payload"
	"aliquot/safety"
)

// Heard is what one message means.
type Heard struct {
	Events  []machine.Event
	Unknown []string // fields of a report that the contract does not know, quoted and sorted; no error
	Note    string   // something that is no error but worth a line in the log, else empty
}

// Error says why a message of a node cannot be used, with the code for the site's problem topic.
type Error struct {
	Code safety.Code
	Text string
}

func (e *Error) Error() string { return e.Text }

// Parse reads a message. handled is false if the topic is none of the node's. On an error nothing was heard.
func (c *Codec) Parse(topic string, data []byte, retained bool) (heard Heard, handled bool, err error) {
	e, ok := c.byTopic[topic]
	if !ok {
		return Heard{}, false, nil
	}
	switch e.role {
	case roleOnline:
		heard = c.parseOnline(data)
	case roleReport:
		heard, err = c.parseReport(data, retained)
	case roleState:
		heard, err = c.parseState(e, data, retained)
	default:
		heard = c.parseCommand(e, data, retained)
	}
	if err != nil {
		return Heard{}, true, err
	}
	return heard, true, nil
}

// parseOnline reads the node's own word about itself. Whatever is not up is down.
func (c *Codec) parseOnline(data []byte) Heard {
	up := string(data) == c.spec.Online.Up
	h := Heard{Events: []machine.Event{machine.NodeOnline{Node: c.spec.ID, Up: up}}}
	if !up && string(data) != c.spec.Online.Down {
		h.Note = fmt.Sprintf("node %s says %s where %q or %q was expected; it counts as down", c.spec.ID, payload.Quote(string(data)), c.spec.Online.Up, c.spec.Online.Down)
	}
	return h
}

// parseState reads the state of a switch. A JSON payload without the configured path says nothing about the
// output and is no error: relays publish other things on the same topic.
func (c *Codec) parseState(e entry, data []byte, retained bool) (Heard, error) {
	var h Heard
	for _, i := range e.outputs {
		o := c.outputs[i]
		leaf, found, bad := payload.At(data, o.onPath)
		switch {
		case bad != nil:
			return Heard{}, &Error{bad.Code, fmt.Sprintf("state of node %s: %s", c.spec.ID, bad.Text)}
		case !found:
			h.Note = fmt.Sprintf("node %s: nothing at %q in its state", c.spec.ID, o.onPath)
			continue
		case leaf.Text != c.spec.State.On && leaf.Text != c.spec.State.Off:
			return Heard{}, &Error{safety.BadPayload, fmt.Sprintf("state of node %s output %d is %s: %q or %q was expected", c.spec.ID, o.number, payload.Quote(leaf.Text), c.spec.State.On, c.spec.State.Off)}
		}
		h.Events = append(h.Events, machine.Switched{Node: c.spec.ID, Output: o.number, On: leaf.Text == c.spec.State.On, Retained: retained})
	}
	return h, nil
}

// parseCommand reads a message on one of our own command topics. It never fails: a message that nobody can read
// is still a command by somebody else. Where outputs share the topic and the payload is not ours, each of them
// may be meant.
func (c *Codec) parseCommand(e entry, data []byte, retained bool) Heard {
	seen := machine.CommandSeen{Node: c.spec.ID, Stop: e.role == roleStop, Retained: retained, Empty: len(data) == 0}
	if c.spec.Style == machine.BoundedRun {
		seen.Run = commandID(data)
	} else if i, own, ok := c.recall(e, data); ok && !retained {
		seen.Output, seen.Run, seen.Serial, seen.Stop = c.outputs[i].number, own.run, own.serial, own.off
		return Heard{Events: []machine.Event{seen}}
	} else if offs := c.offs(e, data); len(offs) > 0 && !retained {
		return Heard{Events: offs}
	}
	var h Heard
	for _, i := range e.outputs {
		seen.Output = c.outputs[i].number
		h.Events = append(h.Events, seen)
	}
	return h
}

// recall finds which of the last commands of a switch this is the echo of.
func (c *Codec) recall(e entry, data []byte) (int, command, bool) {
	for _, i := range e.outputs {
		if own, ok := c.sent.find(i, string(data)); ok {
			return i, own, true
		}
	}
	return 0, command{}, false
}

// commandID gives the run id in a bounded-run command, "" if none can be read.
func commandID(data []byte) string {
	o, bad := payload.Read(data)
	if bad != nil {
		return ""
	}
	id, bad := o.Text("id", maxID)
	if bad != nil {
		return ""
	}
	return id
}

// Limits of a report.
const (
	maxID      = 64   // characters
	maxReason  = 64   // characters
	maxSeconds = 3600 // s
)

var reportFields = []string{"v", "id", "state", "reason", "seconds", "boot", "seq"}

// parseReport reads version 1 of a bounded-run node's report.
func (c *Codec) parseReport(data []byte, retained bool) (Heard, error) {
	fail := func(code safety.Code, format string, args ...any) (Heard, error) {
		return Heard{}, &Error{code, fmt.Sprintf("report of node %s: ", c.spec.ID) + fmt.Sprintf(format, args...)}
	}
	if retained {
		return fail(safety.Retained, "it is retained; reports must not be, since a retained one happens again at every connection")
	}
	o, bad := payload.Read(bytes.TrimSpace(data))
	if bad != nil {
		return fail(bad.Code, "%s", bad.Text)
	}
	if v, bad := o.Count("v"); bad != nil || v != 1 {
		return fail(safety.BadPayload, `"v" must be 1, the version of the contract`)
	}
	r, bad := readReport(o)
	if bad != nil {
		return fail(bad.Code, "%s", bad.Text)
	}
	switch r.State {
	case machine.ReportStarted, machine.ReportFinished, machine.ReportStopped, machine.ReportRefused:
	default:
		return fail(safety.BadPayload, `"state" is %s: it must be started, finished, stopped or refused`, payload.Quote(string(r.State)))
	}
	if r.Run == "" {
		return fail(safety.BadPayload, `"id" is missing: it is the id of the run`)
	}
	if r.Seconds != nil && !(*r.Seconds >= 0 && *r.Seconds <= maxSeconds) {
		return fail(safety.OutOfRange, `"seconds" is %v: a run time is 0 to %d s`, *r.Seconds, maxSeconds)
	}
	r.Node = c.spec.ID
	return Heard{Events: []machine.Event{r}, Unknown: unknownFields(o)}, nil
}

// readReport reads the fields without judging them.
func readReport(o payload.Object) (r machine.Reported, bad *payload.Error) {
	if r.Run, bad = o.Text("id", maxID); bad != nil {
		return r, bad
	}
	state, bad := o.Text("state", maxReason)
	if bad != nil {
		return r, bad
	}
	r.State = machine.ReportState(state)
	if r.Reason, bad = o.Text("reason", maxReason); bad != nil {
		return r, bad
	}
	if r.Seconds, bad = o.Number("seconds"); bad != nil {
		return r, bad
	}
	if r.Boot, bad = o.Count("boot"); bad != nil {
		return r, bad
	}
	r.Seq, bad = o.Count("seq")
	return r, bad
}

func unknownFields(o payload.Object) []string {
	var unknown []string
	for _, name := range o.Names() {
		if !slices.Contains(reportFields, name) {
			unknown = append(unknown, payload.Quote(name))
		}
	}
	slices.Sort(unknown)
	return unknown
}
