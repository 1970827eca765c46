package node

import (
	"fmt"
	"strings"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// Spec describes one node as the configuration has it. Fields of the other style are empty.
type Spec struct {
	ID      string
	Style   machine.Style
	Outputs []int // outputs in use, each once, 0..255; may be empty; of a supply relay none

	Run, Stop, Report string // bounded-run: topic templates

	Command string              // switch: topic template; supply: topic
	On, Off string              // switch: payload templates; supply: off only
	State   State               // switch, supply
	AutoOff safety.Milliseconds // switch: fixed on-time inside the relay; 0: the command carries its duration

	Online Online
}

// State is where a switch or a supply relay says what it is. Topic and Path are templates; Path is a dotted path into a JSON
// payload, empty where the whole payload is the value. On and Off are compared as text.
type State struct{ Topic, Path, On, Off string }

// Online is the topic of a node's will and birth: one for the whole node. Up and Down are whole payloads.
type Online struct{ Topic, Up, Down string }

// Problem is one thing that is wrong with a spec. Key is the key below the node in the configuration, such as
// "on" or "state.topic"; it is empty where no single key is at fault.
type Problem struct{ Key, Text string }

// Problems is the error of Compile: everything that is wrong, in the order of the keys.
type Problems struct {
	Node string
	All  []Problem
}

func (p *Problems) Error() string {
	lines := make([]string, len(p.All))
	for i, one := range p.All {
		at := "nodes." + p.Node
		if one.Key != "" {
			at += "." + one.Key
		}
		lines[i] = at + ": " + one.Text
	}
	return strings.Join(lines, "\n")
}

func (p *Problems) add(key, format string, args ...any) {
	p.All = append(p.All, Problem{Key: key, Text: fmt.Sprintf(format, args...)})
}
