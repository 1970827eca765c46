package simnode

import (
	"encoding/json"
	"math"
	"strconv"
	"time"

	"aliquot/safety"
)

// runCommand is a run of the bounded-run contract, version 1. Its volume_ml is for people; a board times.
type runCommand struct {
	id      string
	seconds float64   // finite, above 0
	expires time.Time // zero if the command has none
}

// parseRun reads a run. Unknown fields are ignored; a missing or wrong known one makes it no run.
func parseRun(payload []byte) (runCommand, bool) {
	var w struct {
		V       int        `json:"v"`
		ID      string     `json:"id"`
		Seconds float64    `json:"seconds"`
		Expires *time.Time `json:"expires"`
	}
	if !decode(payload, &w) || w.V != 1 || w.ID == "" || w.ID == "*" {
		return runCommand{}, false
	}
	if !(w.Seconds > 0 && w.Seconds <= math.MaxFloat64) {
		return runCommand{}, false
	}
	run := runCommand{id: w.ID, seconds: w.Seconds}
	if w.Expires != nil {
		run.expires = *w.Expires
	}
	return run, true
}

// parseStop reads a stop and gives its id, "*" for everything.
func parseStop(payload []byte) (string, bool) {
	var w struct {
		V  int    `json:"v"`
		ID string `json:"id"`
	}
	ok := decode(payload, &w) && w.V == 1 && w.ID != ""
	return w.ID, ok
}

func decode(payload []byte, into any) bool {
	return len(payload) <= safety.MaxPayload && json.Unmarshal(payload, into) == nil
}

// report is a board's answer.
type report struct {
	id, state string
	reason    string        // refused only
	timed     bool          // onFor is said
	onFor     time.Duration // finished and stopped: how long the board kept the output on
	boot, seq int64
}

func (r report) encode() []byte {
	p := make([]byte, 0, 112+len(r.id))
	p = append(p, `{"v":1,"id":`...)
	p = appendText(p, r.id)
	p = append(p, `,"state":"`...)
	p = append(p, r.state...)
	p = append(p, '"')
	if r.reason != "" {
		p = append(p, `,"reason":"`...)
		p = append(p, r.reason...)
		p = append(p, '"')
	}
	if r.timed {
		p = append(p, `,"seconds":`...)
		p = strconv.AppendFloat(p, r.onFor.Round(time.Millisecond).Seconds(), 'f', 3, 64)
	}
	p = append(p, `,"boot":`...)
	p = strconv.AppendInt(p, r.boot, 10)
	p = append(p, `,"seq":`...)
	p = strconv.AppendInt(p, r.seq, 10)
	return append(p, '}')
}

// appendText appends s as a JSON string. Ids are plain text nearly always, which needs no escaping.
func appendText(p []byte, s string) []byte {
	for i := range len(s) {
		if s[i] < ' ' || s[i] > '~' || s[i] == '"' || s[i] == '\\' {
			q, err := json.Marshal(s)
			if err != nil {
				panic("simnode: a string that is no JSON: " + err.Error())
			}
			return append(p, q...)
		}
	}
	p = append(p, '"')
	p = append(p, s...)
	return append(p, '"')
}
