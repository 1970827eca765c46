package mqtt

import (
	"errors"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// stubToken is paho's promise, kept by the test.
type stubToken struct {
	paho.Token
	done chan struct{}
	err  error
}

func (s stubToken) Done() <-chan struct{} { return s.done }
func (s stubToken) Error() error          { return s.err }

// stubClient lets a test decide what paho does.
type stubClient struct {
	paho.Client
	open    bool
	publish func(topic string) paho.Token
}

func (s stubClient) IsConnectionOpen() bool { return s.open }
func (s stubClient) Publish(topic string, _ byte, _ bool, _ any) paho.Token {
	return s.publish(topic)
}

func runOutbox(t *testing.T, c stubClient) *outbox {
	t.Helper()
	b := newOutbox(c)
	go b.run()
	t.Cleanup(func() {
		if !b.stopped() {
			b.stop()
		}
		<-b.idle
	})
	return b
}

func finished(err error) paho.Token {
	done := make(chan struct{})
	close(done)
	return stubToken{done: done, err: err}
}

func TestDeliveryIsHonest(t *testing.T) {
	broken := errors.New("write: broken pipe")
	tests := []struct {
		name    string
		client  stubClient
		want    Delivery
		wantErr error
	}{
		{"acknowledged", stubClient{open: true, publish: func(string) paho.Token { return finished(nil) }}, Done, nil},
		{"write failed", stubClient{open: true, publish: func(string) paho.Token { return finished(broken) }}, Unknown, broken},
		{"never acknowledged", stubClient{open: true, publish: func(string) paho.Token { return stubToken{done: make(chan struct{})} }}, Unknown, ErrSilence},
		{"closed", stubClient{}, NotHanded, ErrNotOpen},
		{"closed between two looks", stubClient{open: true, publish: func(string) paho.Token { return finished(paho.ErrNotConnected) }}, NotHanded, ErrNotOpen},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			d, err := runOutbox(t, tt.client).publish(Message{Topic: "a"}, 50*time.Millisecond)
			if d != tt.want || !errors.Is(err, tt.wantErr) {
				t.Errorf("publish = %v, %v; want %v, %v", d, err, tt.want, tt.wantErr)
			}
		})
	}
}

func TestStuckPublishHoldsNobody(t *testing.T) {
	free := make(chan struct{})
	var mu sync.Mutex
	var sent []string
	b := runOutbox(t, stubClient{open: true, publish: func(topic string) paho.Token {
		mu.Lock()
		sent = append(sent, topic)
		mu.Unlock()
		<-free
		return finished(nil)
	}})
	if d, err := b.publish(Message{Topic: "stuck"}, 20*time.Millisecond); d != Unknown || !errors.Is(err, ErrSilence) {
		t.Errorf("publish into a stuck client = %v, %v; want unknown", d, err)
	}
	if d, err := b.publish(Message{Topic: "behind"}, 20*time.Millisecond); d != NotHanded || !errors.Is(err, ErrNoRoom) {
		t.Errorf("publish behind a stuck one = %v, %v; want not handed over", d, err)
	}
	close(free)
	if d, err := b.publish(Message{Topic: "next"}, 5*time.Second); d != Done || err != nil {
		t.Errorf("publish afterwards = %v, %v; want done", d, err)
	}
	mu.Lock()
	defer mu.Unlock()
	if len(sent) != 2 || sent[0] != "stuck" || sent[1] != "next" {
		t.Errorf("paho got %v; want stuck, next: what was not handed over never leaves", sent)
	}
}

func TestStopEndsTheWaiting(t *testing.T) {
	b := runOutbox(t, stubClient{open: true, publish: func(string) paho.Token { return stubToken{done: make(chan struct{})} }})
	time.AfterFunc(20*time.Millisecond, b.stop)
	began := time.Now()
	if d, err := b.publish(Message{Topic: "a"}, time.Minute); d != Unknown || !errors.Is(err, ErrLost) {
		t.Errorf("publish while the connection ends = %v, %v; want unknown, %v", d, err, ErrLost)
	}
	if took := time.Since(began); took > 10*time.Second {
		t.Errorf("waited %v after the end", took)
	}
	if d, err := b.publish(Message{Topic: "a"}, time.Minute); d != NotHanded || !errors.Is(err, ErrNotOpen) {
		t.Errorf("publish after the end = %v, %v; want not handed over", d, err)
	}
}

func TestPostWaitsForNoAcknowledgement(t *testing.T) {
	acknowledged := make(chan struct{})
	b := runOutbox(t, stubClient{open: true, publish: func(string) paho.Token { return stubToken{done: acknowledged} }})
	settled, d, err := b.post(Message{Topic: "a"}, 5*time.Second)
	if d != Unknown || err != nil {
		t.Fatalf("post = %v, %v; want unknown and no error", d, err)
	}
	select {
	case <-settled:
		t.Error("settled before the acknowledgement")
	default:
	}
	close(acknowledged)
	select {
	case <-settled:
	case <-time.After(5 * time.Second):
		t.Error("acknowledged, and not settled")
	}
	if settled, d, err := runOutbox(t, stubClient{}).post(Message{Topic: "a"}, time.Second); settled != nil || d != NotHanded || !errors.Is(err, ErrNotOpen) {
		t.Errorf("post without a connection = %v, %v; want not handed over", d, err)
	}
	stuck := make(chan struct{})
	b = runOutbox(t, stubClient{open: true, publish: func(string) paho.Token { <-stuck; return finished(nil) }})
	if settled, d, err := b.post(Message{Topic: "a"}, 20*time.Millisecond); settled != nil || d != Unknown || !errors.Is(err, ErrSilence) {
		t.Errorf("post into a stuck client = %v, %v; want unknown", d, err)
	}
	close(stuck)
}
