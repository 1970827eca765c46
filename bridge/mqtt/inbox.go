package mqtt

import (
	"errors"
	"sync"
	"time"
)

// Bounds of what is held back while a connection is being made ready.
const (
	heldMessages = 1024
	heldBytes    = 1 << 20
)

var errFlood = errors.New("more retained messages than can be held while connecting; clear what is not needed on the subscribed topics")

// inbox hands messages of one connection over in order: none before OnUp, none after OnDown, one at a time.
type inbox struct {
	deliver func(Message)
	dropped func()      // a message that found no room
	flood   func(error) // a retained message that found no room: the connection must not come up without it

	turn chan struct{} // held while deliver runs; a channel, so that waiting for it can be limited

	mu      sync.Mutex
	phase   inboxPhase
	held    []Message
	bytes   int
	flushed chan struct{} // closed when what was held has been delivered; nil before open
}

type inboxPhase int

const (
	holding inboxPhase = iota
	opened
	closed
)

func newInbox(deliver func(Message), dropped func(), flood func(error)) *inbox {
	return &inbox{deliver: deliver, dropped: dropped, flood: flood, turn: make(chan struct{}, 1)}
}

// put takes a message from paho's goroutine. It waits for nothing but the receiver itself.
func (b *inbox) put(m Message) {
	b.mu.Lock()
	switch b.phase {
	case closed:
		b.mu.Unlock()
	case holding:
		fits := b.hold(m)
		b.mu.Unlock()
		if !fits && m.Retained {
			b.flood(errFlood)
		} else if !fits {
			b.dropped()
		}
	default:
		b.mu.Unlock()
		b.hand(m)
	}
}

func (b *inbox) hold(m Message) bool {
	size := len(m.Topic) + len(m.Payload)
	if len(b.held) >= heldMessages || b.bytes+size > heldBytes {
		return false
	}
	b.held = append(b.held, m)
	b.bytes += size
	return true
}

// hand delivers one message unless the inbox was closed meanwhile.
func (b *inbox) hand(m Message) {
	b.turn <- struct{}{}
	defer func() { <-b.turn }()
	b.mu.Lock()
	gone := b.phase == closed
	b.mu.Unlock()
	if !gone {
		b.deliver(m)
	}
}

// open calls up and then delivers what was held, from a goroutine of its own: a receiver that blocks must not
// hold the caller. Messages that arrive meanwhile queue behind those. It is called once at most.
func (b *inbox) open(up func()) {
	b.mu.Lock()
	b.flushed = make(chan struct{})
	b.mu.Unlock()
	up()
	go b.flush()
}

// flushing says whether held messages are still being delivered.
func (b *inbox) flushing() bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.flushed != nil && b.phase == holding
}

func (b *inbox) flush() {
	defer close(b.flushed)
	for {
		b.mu.Lock()
		batch := b.held
		b.held, b.bytes = nil, 0
		if len(batch) == 0 {
			if b.phase == holding {
				b.phase = opened
			}
			b.mu.Unlock()
			return
		}
		b.mu.Unlock()
		for _, m := range batch {
			b.hand(m)
		}
	}
}

// close stops delivery. It waits up to limit for a running deliver and says whether that has ended: a
// receiver that blocks must not keep a dead connection alive.
func (b *inbox) close(limit time.Duration) bool {
	b.mu.Lock()
	b.phase = closed
	b.held = nil
	flushed := b.flushed
	b.mu.Unlock()
	timer := time.NewTimer(limit)
	defer timer.Stop()
	if flushed != nil {
		select {
		case <-flushed:
		case <-timer.C:
			return false
		}
	}
	select {
	case b.turn <- struct{}{}:
		<-b.turn
		return true
	case <-timer.C:
		return false
	}
}
