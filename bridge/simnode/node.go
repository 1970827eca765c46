package simnode

import "time"

// Kind says what a command asks for.
type Kind uint8

// Kinds of command. A relay has one command topic and reads the payload only.
const (
	Run Kind = iota
	Stop
)

// Role says to which of a node's topics a message belongs.
type Role uint8

// Roles of messages.
const (
	Report Role = iota // a board's answer to a run or stop
	Online             // the node as a whole is up or down; Output is 0
	State              // a relay's on or off
)

func (r Role) String() string {
	switch r {
	case Report:
		return "report"
	case Online:
		return "online"
	case State:
		return "state"
	}
	return "unknown"
}

// Command is one message on a command topic of a node.
type Command struct {
	Kind     Kind
	Output   int // 1 for the first; 0 only for a stop on a topic without an output
	Payload  []byte
	Retained bool // the broker delivered it as a retained message
}

// Out is one message that a node publishes. Its payload belongs to the node and must not be written to.
type Out struct {
	At       time.Time // when the node says it, UTC
	Role     Role
	Output   int
	Payload  []byte
	QoS      byte
	Retained bool
}

// Delivery is liquid that left one output from From to To, UTC. Deliveries of one output never overlap and
// come in the order of time.
type Delivery struct {
	Output      int
	From, To    time.Time
	Microlitres float64
}

// Counts says how a node fared. All only grow.
type Counts struct {
	Runs      int // begun
	Refused   int // by a board
	Malformed int // not understood, no such output; ignored
	Retained  int // retained commands that were ignored
	Unheard   int // commands lost on a deaf or booting node
}

// Node is what Board, Relay and Supply have in common.
type Node interface {
	// Receive hands a command to the node and gives what it says until now, in order.
	Receive(now time.Time, c Command) []Out
	// Advance lets time pass until now. It allocates nothing while nothing happens.
	Advance(now time.Time) []Out
	// NextWake gives the next instant at which the node does something of its own accord, false if none is
	// known. It does not lie before the last call.
	NextWake() (time.Time, bool)
	// Reboot cuts the node's power and gives it back.
	Reboot(now time.Time) []Out
	// Connect gives what the node publishes whenever its connection is made: online, a relay also its states.
	// A booting node says nothing.
	Connect(now time.Time) []Out
	// Will is what the broker publishes for the node when the connection is lost.
	Will(now time.Time) Out
	// SetFaults replaces the node's faults from now on. What the old ones held back happens now.
	SetFaults(now time.Time, f Faults) []Out
	// SetRate gives an output another true rate from now on, mL/min above 0 up to 1e6: tubing that wears. Anything
	// else, and an output that the node does not have, changes nothing and is false.
	SetRate(now time.Time, output int, mlPerMin float64) bool
	// Feed cuts the supply of the pumps, or gives it back: outputs switch, and nothing flows meanwhile. What the node
	// says is kept for the next call.
	Feed(now time.Time, on bool)
	// Delivered gives the true volume in µL that has left an output up to the last call, 0 for an output that
	// the node does not have.
	Delivered(output int) float64
	// Drain appends the deliveries since it was last called to dst; one that is still under way is cut at the
	// time of the last call.
	Drain(dst []Delivery) []Delivery
	// Running says whether the node believes that the output is on or about to go on, Flowing whether liquid's
	// way is open in truth.
	Running(output int) bool
	Flowing(output int) bool
	// Counts says how the node fared.
	Counts() Counts
}

var (
	_ Node = (*Board)(nil)
	_ Node = (*Relay)(nil)
	_ Node = (*Supply)(nil)
)
