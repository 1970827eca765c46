package mqtt

import (
	"crypto/rand"
	"encoding/hex"
	"fmt"
	"strconv"
	"sync"
)

// pingLimit is how many own messages in a row may stay out.
const pingLimit = 3

// selfPing follows the own messages of one connection. Each carries a number that no other connection has,
// so that a second client on the same topic cannot answer for us.
type selfPing struct {
	nonce string

	mu       sync.Mutex
	sent     int
	answered int // highest number that came back
	missed   int
	heard    chan struct{} // signalled by each answer to the latest one
}

func newSelfPing() *selfPing {
	var b [8]byte
	_, _ = rand.Read(b[:]) // never fails since Go 1.24
	return &selfPing{nonce: hex.EncodeToString(b[:]), heard: make(chan struct{}, 1)}
}

// next counts the last message if it stayed out, and gives the payload of a new one. An error says that the
// link is stalled.
func (s *selfPing) next() ([]byte, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.answered < s.sent {
		s.missed++
	} else {
		s.missed = 0
	}
	if s.missed >= pingLimit {
		return nil, fmt.Errorf("%d own messages in a row did not come back", s.missed)
	}
	s.sent++
	return []byte(s.nonce + " " + strconv.Itoa(s.sent)), nil
}

// misses gives how many in a row have stayed out.
func (s *selfPing) misses() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.missed
}

// hear takes a message on the ping topic. Only the latest number counts.
func (s *selfPing) hear(payload []byte) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if string(payload) != s.nonce+" "+strconv.Itoa(s.sent) {
		return
	}
	s.answered = s.sent
	select {
	case s.heard <- struct{}{}:
	default:
	}
}
