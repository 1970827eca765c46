package main

import (
	"context"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"aliquot/bridge/mqtt"
	"aliquot/bridge/mqtt/mosquittotest"
)

// heard is a message as a party saw it, and when.
type heard struct {
	mqtt.Message
	at time.Time
}

// party is somebody at the broker: it remembers everything that it hears.
type party struct {
	t      *testing.T
	client *mqtt.Client

	mu      sync.Mutex
	log     []heard
	ups     int
	changed chan struct{} // closed at the next message or connection
}

// password is everybody's in these tests.
const password = "not a secret"

// join connects as a user; an empty one needs no password. It comes back after a loss by itself.
func join(t *testing.T, b *mosquittotest.Server, user, clientID string, filters ...string) *party {
	t.Helper()
	p := &party{t: t, changed: make(chan struct{})}
	o := mqtt.Options{Broker: b.URL, ClientID: clientID, Username: user, OnMessage: p.take, OnUp: p.up,
		Timing: mqtt.Timing{BackoffMin: 20 * time.Millisecond, BackoffMax: 100 * time.Millisecond, LossWindow: time.Nanosecond}}
	if user != "" {
		o.PasswordFile = passwordFile(t)
	}
	if b.CAFile != "" {
		o.TLS = &mqtt.TLS{CAFile: b.CAFile}
	}
	for _, f := range filters {
		o.Subscriptions = append(o.Subscriptions, mqtt.Subscription{Filter: f, QoS: 1})
	}
	var err error
	if p.client, err = mqtt.New(o); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		_ = p.client.Run(ctx)
	}()
	t.Cleanup(func() { cancel(); <-ended })
	p.connected(1)
	return p
}

func passwordFile(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "password")
	if err := os.WriteFile(path, []byte(password+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func (p *party) take(m mqtt.Message) {
	p.note(func() { p.log = append(p.log, heard{m, time.Now()}) })
}

func (p *party) up() { p.note(func() { p.ups++ }) }

func (p *party) note(change func()) {
	p.mu.Lock()
	defer p.mu.Unlock()
	change()
	close(p.changed)
	p.changed = make(chan struct{})
}

func (p *party) look() (log []heard, ups int, changed <-chan struct{}) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.log[:len(p.log):len(p.log)], p.ups, p.changed
}

// connected waits for the n-th connection.
func (p *party) connected(n int) {
	p.t.Helper()
	late := time.After(patience)
	for {
		_, ups, changed := p.look()
		if ups >= n {
			return
		}
		select {
		case <-changed:
		case <-late:
			p.t.Fatalf("no connection to the broker within %s", patience)
		}
	}
}

// mark is where the log ends now: what is heard later stands behind it.
func (p *party) mark() int { log, _, _ := p.look(); return len(log) }

func (p *party) since(mark int) []heard { log, _, _ := p.look(); return log[mark:] }

// await waits for the first message behind a mark that is the wanted one.
func (p *party) await(mark int, what string, wanted func(heard) bool) heard {
	p.t.Helper()
	h, ok := p.find(mark, patience, wanted)
	if !ok {
		p.t.Fatalf("%s was not heard within %s", what, patience)
	}
	return h
}

func (p *party) find(mark int, limit time.Duration, wanted func(heard) bool) (heard, bool) {
	late := time.After(limit)
	for {
		log, _, changed := p.look()
		for ; mark < len(log); mark++ {
			if wanted(log[mark]) {
				return log[mark], true
			}
		}
		select {
		case <-changed:
		case <-late:
			return heard{}, false
		}
	}
}

// say publishes at QoS 1 and waits until the broker has it.
func (p *party) say(topic, payload string, retained bool) {
	p.t.Helper()
	d, err := p.client.Publish(mqtt.Message{Topic: topic, Payload: []byte(payload), QoS: 1, Retained: retained}, patience)
	if d != mqtt.Done {
		p.t.Fatalf("publishing on %s: %s, %v", topic, d, err)
	}
}

// on wants a topic, and a payload that holds some text.
func on(topic, text string) func(heard) bool {
	return func(h heard) bool { return h.Topic == topic && contains(string(h.Payload), text) }
}
