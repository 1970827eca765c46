package mqtt

import (
	"fmt"
	"slices"
	"strconv"
	"sync"
	"testing"
	"time"
)

func TestInboxKeepsOrderAcrossOpening(t *testing.T) {
	const before, during, after = 100, 200, 300
	var got []string
	b := newInbox(func(m Message) { got = append(got, m.Topic) }, func() { t.Error("dropped") }, func(err error) { t.Error(err) })
	for i := range before {
		b.put(Message{Topic: strconv.Itoa(i)})
	}
	if len(got) != 0 {
		t.Fatalf("%d messages before OnUp; want none", len(got))
	}
	inside := make(chan struct{})
	var sender sync.WaitGroup
	sender.Go(func() { // as paho's goroutine does
		<-inside
		for i := before; i < after; i++ {
			b.put(Message{Topic: strconv.Itoa(i)})
		}
	})
	b.open(func() {
		got = append(got, "up")
		close(inside)
		for waiting := 0; waiting < during; { // messages go on arriving while OnUp runs
			b.mu.Lock()
			waiting = len(b.held)
			b.mu.Unlock()
		}
	})
	sender.Wait()
	<-b.flushed
	want := []string{"up"}
	for i := range after {
		want = append(want, strconv.Itoa(i))
	}
	if !slices.Equal(got, want) {
		t.Errorf("order %v; want %v", got, want)
	}
}

func TestInboxIsSilentAfterClose(t *testing.T) {
	var got int
	b := newInbox(func(Message) { got++ }, func() {}, func(error) {})
	b.put(Message{Topic: "held"})
	if !b.close(time.Second) {
		t.Error("close = false; want true, nothing runs")
	}
	b.put(Message{Topic: "late"})
	b.open(func() {})
	<-b.flushed
	b.put(Message{Topic: "later"})
	if got != 0 {
		t.Errorf("%d messages after close; want none", got)
	}
}

func TestInboxCloseWaitsOnlySoLong(t *testing.T) {
	free, running := make(chan struct{}), make(chan struct{})
	b := newInbox(func(Message) { close(running); <-free }, func() {}, func(error) {})
	b.open(func() {})
	var sender sync.WaitGroup
	sender.Go(func() { b.put(Message{}) })
	<-running
	if b.close(10 * time.Millisecond) {
		t.Error("close = true while a receiver blocks; want false")
	}
	close(free)
	sender.Wait()
	if !b.close(time.Second) {
		t.Error("close = false after the receiver has returned; want true")
	}
}

func TestInboxOpenDoesNotWaitForTheReceiver(t *testing.T) {
	free, running := make(chan struct{}), make(chan struct{}, 9)
	var got int
	b := newInbox(func(Message) { got++; running <- struct{}{}; <-free }, func() {}, func(error) {})
	b.put(Message{Topic: "held"})
	b.put(Message{Topic: "behind"})
	b.open(func() {}) // returns, or the test never ends
	b.put(Message{Topic: "and behind"})
	<-running
	if b.close(10 * time.Millisecond) {
		t.Error("close = true while a receiver blocks; want false")
	}
	close(free)
	if !b.close(time.Minute) || got != 1 {
		t.Errorf("%d messages delivered; want only the one that ran when the inbox was closed", got)
	}
}

func TestInboxBounds(t *testing.T) {
	var dropped int
	var flood error
	b := newInbox(func(Message) {}, func() { dropped++ }, func(err error) { flood = err })
	for i := range heldMessages {
		b.put(Message{Topic: fmt.Sprint(i)})
	}
	if dropped != 0 {
		t.Fatalf("%d dropped at the limit; want none", dropped)
	}
	b.put(Message{Topic: "one more"})
	if dropped != 1 || flood != nil {
		t.Errorf("above the limit: %d dropped, %v; want 1 and no flood", dropped, flood)
	}
	b.put(Message{Topic: "kept", Retained: true})
	if flood == nil {
		t.Error("a retained message found no room without a word")
	}

	b = newInbox(func(Message) {}, func() { dropped++ }, func(error) {})
	dropped = 0
	b.put(Message{Payload: make([]byte, heldBytes)})
	b.put(Message{Payload: make([]byte, 1)})
	if dropped != 1 {
		t.Errorf("%d dropped above %d bytes; want 1", dropped, heldBytes)
	}
}

func TestSelfPing(t *testing.T) {
	s := newSelfPing()
	for range 5 { // an answered ping clears what was missed before
		for range 2 {
			if _, err := s.next(); err != nil {
				t.Fatal(err)
			}
		}
		p, err := s.next()
		if err != nil {
			t.Fatalf("after two that stayed out: %v; want none", err)
		}
		s.hear(p)
	}
	old, err := s.next()
	if err != nil || s.misses() != 0 {
		t.Fatalf("after an answer: %v, %d missed; want none", err, s.misses())
	}
	for i := range 2 {
		if _, err := s.next(); err != nil {
			t.Fatalf("miss %d: %v; want none", i+1, err)
		}
		s.hear(old)                                // too late
		s.hear([]byte(newSelfPing().nonce + " 1")) // somebody else's
		s.hear(nil)
	}
	if _, err := s.next(); err == nil {
		t.Error("three in a row stayed out; want an error")
	}
}
