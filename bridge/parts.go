package bridge

import (
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// Message is one MQTT message, in either direction.
type Message struct {
	Topic    string
	Payload  []byte
	QoS      byte
	Retained bool
}

// Link is the connection to the broker.
type Link interface {
	// Open says whether a message could leave now.
	Open() bool
	// Publish waits at most so long. handed is false only if it is certain that the message never left; an error
	// with handed true means that nobody knows.
	Publish(m Message, wait time.Duration) (handed bool, err error)
	// Post waits at most so long for the message to be handed over, and not for the broker: the channel is closed when
	// that has it, or when nobody will know any more.
	Post(m Message, wait time.Duration) (settled <-chan struct{}, err error)
}

// Ledger stores rows. Append returns when they are on disk, all of them or none.
type Ledger interface {
	Append(rows []machine.Row) error
}

// Metrics takes what the machine counts and shows.
type Metrics interface {
	Count(machine.Count)
	Observe(machine.SiteView)
	// Dropped counts a reading that was let go because the loop was behind.
	Dropped()
}

// Notifier tells alerts on ways beside the broker. No call may wait for anybody.
type Notifier interface {
	Tell(machine.AlertView)
	// Try sends a test message.
	Try(text string)
}

// Clock tells the time and wakes. A virtual one may run faster than the world.
type Clock interface {
	Now() safety.Instant
	// WakeAt gives a channel that receives once when the monotonic time is reached, and a function that lets go of it.
	WakeAt(mono time.Duration) (<-chan time.Time, func())
}
