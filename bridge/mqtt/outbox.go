package mqtt

import (
	"errors"
	"fmt"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// Delivery says what became of a message.
type Delivery int

// The zero Delivery is the careful one.
const (
	// Unknown: it may have left, may leave within the write limit, or may be lost.
	Unknown Delivery = iota
	// NotHanded: it certainly was never given to the client library and never will be.
	NotHanded
	// Done: with QoS 1 the broker acknowledged it. With QoS 0 it was written to the socket, no more. An
	// acknowledgement does not say that anybody was allowed to receive it.
	Done
)

func (d Delivery) String() string {
	switch d {
	case NotHanded:
		return "not handed over"
	case Done:
		return "done"
	default:
		return "unknown"
	}
}

// Errors of Publish that a caller may branch on.
var (
	ErrNotOpen = errors.New("mqtt: no open connection")
	ErrNoRoom  = errors.New("mqtt: earlier messages are still being handed over")
	ErrSilence = errors.New("mqtt: no acknowledgement in time")
	ErrLost    = errors.New("mqtt: the connection ended before the acknowledgement")
)

// outbox hands messages of one connection to paho, one at a time and in order, from a goroutine of its own:
// paho's Publish can block for the write limit, and a caller must not.
type outbox struct {
	client paho.Client
	queue  chan outgoing // unbuffered: what was not taken was not handed over
	done   chan struct{} // closed when the connection is no longer to be used
	idle   chan struct{} // closed when the goroutine has ended
}

type outgoing struct {
	message Message
	token   chan<- paho.Token // gets nil if the client was not open
}

func newOutbox(client paho.Client) *outbox {
	return &outbox{
		client: client,
		queue:  make(chan outgoing),
		done:   make(chan struct{}),
		idle:   make(chan struct{}),
	}
}

// run hands messages over until stop.
func (b *outbox) run() {
	defer close(b.idle)
	for {
		select {
		case <-b.done:
			return
		case out := <-b.queue:
			if b.stopped() || !b.client.IsConnectionOpen() {
				out.token <- nil
				continue
			}
			m := out.message
			out.token <- b.client.Publish(m.Topic, m.QoS, m.Retained, m.Payload)
		}
	}
}

func (b *outbox) stopped() bool {
	select {
	case <-b.done:
		return true
	default:
		return false
	}
}

// stop ends the goroutine. It does not wait: paho may hold it for the write limit.
func (b *outbox) stop() { close(b.done) }

// publish waits at most wait.
func (b *outbox) publish(m Message, wait time.Duration) (Delivery, error) {
	timer := time.NewTimer(wait)
	defer timer.Stop()
	t, d, err := b.hand(m, timer.C)
	if err != nil {
		return d, err
	}
	return b.await(t, timer.C)
}

// post waits at most wait for the message to be handed over, and not for its fate: the channel is closed when that is
// known, or when nobody will ever know it.
func (b *outbox) post(m Message, wait time.Duration) (<-chan struct{}, Delivery, error) {
	timer := time.NewTimer(wait)
	defer timer.Stop()
	t, d, err := b.hand(m, timer.C)
	if err != nil {
		return nil, d, err
	}
	return t.Done(), Unknown, nil
}

// hand gives a message to the goroutine, and waits for paho's promise.
func (b *outbox) hand(m Message, late <-chan time.Time) (paho.Token, Delivery, error) {
	token := make(chan paho.Token, 1)
	select {
	case <-b.done:
		return nil, NotHanded, ErrNotOpen
	case <-late:
		return nil, NotHanded, ErrNoRoom
	case b.queue <- outgoing{m, token}:
	}
	select {
	case t := <-token:
		if t == nil {
			return nil, NotHanded, ErrNotOpen
		}
		return t, Unknown, nil
	case <-late:
		return nil, Unknown, ErrSilence
	}
}

func (b *outbox) await(t paho.Token, late <-chan time.Time) (Delivery, error) {
	select {
	case <-t.Done():
		return outcome(t)
	case <-late:
		return Unknown, ErrSilence
	case <-b.done:
	}
	select {
	case <-t.Done(): // it may have been acknowledged just before
		return outcome(t)
	default:
		return Unknown, ErrLost
	}
}

func outcome(t paho.Token) (Delivery, error) {
	switch err := t.Error(); {
	case err == nil:
		return Done, nil
	case errors.Is(err, paho.ErrNotConnected):
		return NotHanded, ErrNotOpen // paho looks at this before it touches the message
	default:
		return Unknown, fmt.Errorf("mqtt: publishing: %w", err)
	}
}

// checkOutgoing refuses what must not or cannot be sent.
func checkOutgoing(m Message, maxPacket int) error {
	if err := checkTopic(m.Topic); err != nil {
		return fmt.Errorf("mqtt: publishing: %w", err)
	}
	if m.QoS > 1 {
		return fmt.Errorf("mqtt: publishing to %s: QoS %d, must be 0 or 1", m.Topic, m.QoS)
	}
	const overhead = 4 // length of the topic, packet id
	if size := overhead + len(m.Topic) + len(m.Payload); size > maxPacket {
		return fmt.Errorf("mqtt: publishing to %s: %d bytes, at most %d are allowed", m.Topic, size, maxPacket)
	}
	return nil
}
