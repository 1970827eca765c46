package mqtt_test

import (
	"io"
	"net"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"aliquot/bridge/mqtt"
	"aliquot/bridge/mqtt/mosquittotest"
)

// fakeBroker answers each connection with fixed bytes after it has read something.
type fakeBroker struct {
	listener net.Listener
	guests   sync.WaitGroup
}

// newFakeBroker plays answers[i] after the i-th read of a connection, then reads on until the client leaves.
func newFakeBroker(t *testing.T, answers ...string) *fakeBroker {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	f := &fakeBroker{listener: l}
	f.guests.Go(func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			f.guests.Go(func() { serveFixed(conn, answers) })
		}
	})
	t.Cleanup(func() { _ = l.Close(); f.guests.Wait() })
	return f
}

func serveFixed(conn net.Conn, answers []string) {
	defer func() { _ = conn.Close() }()
	buf := make([]byte, 4096)
	for _, a := range answers {
		if _, err := conn.Read(buf); err != nil {
			return
		}
		if _, err := io.WriteString(conn, a); err != nil {
			return
		}
	}
	_, _ = io.Copy(io.Discard, conn)
}

func (f *fakeBroker) url() string { return "mqtt://" + f.listener.Addr().String() }

const connack = "\x20\x02\x00\x00"

func TestHostileBrokersAreCutOff(t *testing.T) {
	tests := []struct {
		name    string
		answers []string
		want    string // in the reason
		count   func(mqtt.Stats) uint64
	}{
		{"a message of 256 MB", []string{connack + "\x30\xff\xff\xff\x7f"}, "packet too large: 268435455 bytes declared, at most 65536 are read",
			func(s mqtt.Stats) uint64 { return s.Oversized }},
		{"a message of 256 MB with its topic", []string{connack + "\x30\xff\xff\xff\x7f\x00\x08reef/big" + "xxx"}, `are read; it is a message on "reef/big"`,
			func(s mqtt.Stats) uint64 { return s.Oversized }},
		{"the way out of a retained message of 256 MB", []string{connack + "\x31\xff\xff\xff\x7f\x00\x02a\x00"}, "remove it by publishing an empty retained message",
			func(s mqtt.Stats) uint64 { return s.Oversized }},
		{"a CONNACK of 256 MB", []string{"\x20\xff\xff\xff\x7f"}, "packet too large",
			func(s mqtt.Stats) uint64 { return s.Oversized }},
		{"one byte too many", []string{connack + "\x30\x81\x80\x04"}, "65537 bytes declared",
			func(s mqtt.Stats) uint64 { return s.Oversized }},
		{"a length of five bytes", []string{connack + "\x30\xff\xff\xff\xff\x01"}, "more than four bytes",
			func(s mqtt.Stats) uint64 { return s.Malformed }},
		{"QoS 3", []string{connack + "\x36\x02\x00\x00"}, "QoS 3",
			func(s mqtt.Stats) uint64 { return s.Malformed }},
		{"a SUBACK for more than was asked", []string{connack, "\x90\x05\x00\x01\x00\x00\x00"}, "type 9 with 5 bytes",
			func(s mqtt.Stats) uint64 { return s.Malformed }},
		{"an unknown CONNACK code", []string{"\x20\x02\x00\x4d"}, "CONNACK code 77",
			func(s mqtt.Stats) uint64 { return s.Malformed }},
		{"a web server", []string{"HTTP/1.1 400 Bad Request\r\n\r\n"}, "type 4 with 84 bytes",
			func(s mqtt.Stats) uint64 { return s.Malformed }},
		{"TLS on a plain port", []string{"\x15\x03\x03\x00\x02\x02\x0a"}, "is this port MQTT without TLS?",
			func(s mqtt.Stats) uint64 { return s.Malformed }},
		{"refused subscription", []string{connack, "\x90\x03\x00\x01\x80", "\x90\x03\x00\x02\x80"}, "refuses the subscription to reef/# (code 0x80)",
			func(s mqtt.Stats) uint64 { return s.Refused }},
		{"an answer to another question", []string{connack, "\x40\x02\x00\x01"}, "does not say whether it is granted",
			func(s mqtt.Stats) uint64 { return s.Refused }},
		{"silence after CONNECT", []string{""}, "no answer in 300ms",
			func(s mqtt.Stats) uint64 { return s.Refused }},
		{"silence after SUBSCRIBE", []string{connack, ""}, "subscribing to reef/#: no answer in 300ms",
			func(s mqtt.Stats) uint64 { return s.Refused }},
		{"busy", []string{"\x20\x02\x00\x03"}, "it is busy or starting",
			func(s mqtt.Stats) uint64 { return s.Refused }},
		{"client id refused", []string{"\x20\x02\x00\x02"}, `refuses the client id "reef"`,
			func(s mqtt.Stats) uint64 { return s.Refused }},
		{"wrong protocol version", []string{"\x20\x02\x00\x01"}, "does not accept MQTT 3.1.1",
			func(s mqtt.Stats) uint64 { return s.Refused }},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			timing := quick()
			timing.ConnectTimeout, timing.SubscribeTimeout = 300*time.Millisecond, 300*time.Millisecond
			timing.BackoffMin, timing.BackoffMax = time.Minute, time.Minute // one attempt
			r := start(t, mqtt.Options{
				Broker: newFakeBroker(t, tt.answers...).url(), ClientID: "reef", Subscriptions: subs("reef/#"), Timing: timing,
			})
			err := wait(t, r.refused, "OnRefused")
			if !strings.Contains(err.Error(), tt.want) {
				t.Errorf("reason %q; want it to say %q", err, tt.want)
			}
			if n := tt.count(r.client.Stats()); n != 1 {
				t.Errorf("Stats() = %+v; want one of this kind", r.client.Stats())
			}
			if len(r.ups) != 0 || r.client.Open() {
				t.Error("the connection counted as up")
			}
		})
	}
}

// A broker that refuses once, since a message of its own bears the same identifier, is asked again.
func TestOneRefusalIsNotTheLastWord(t *testing.T) {
	r := start(t, mqtt.Options{
		Broker: newFakeBroker(t, connack, "\x90\x03\x00\x01\x80", "\x90\x03\x00\x02\x01").url(), Subscriptions: subs("reef/#"),
	}).waitUp()
	if n := r.client.Stats().Refused; n != 0 {
		t.Errorf("%d attempts count as refused", n)
	}
}

func TestLargestPacketIsRead(t *testing.T) {
	const topic = "reef/a"
	payload := strings.Repeat("x", 65536-2-len(topic))
	packet := "\x30\x80\x80\x04\x00\x06" + topic + payload
	r := start(t, mqtt.Options{Broker: newFakeBroker(t, connack, "\x90\x03\x00\x01\x01"+packet).url(), Subscriptions: subs("reef/#")}).waitUp()
	r.want(topic, payload)
}

func TestHugePacketIsNotAllocated(t *testing.T) {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	timing := quick()
	timing.BackoffMin, timing.BackoffMax = time.Minute, time.Minute
	r := start(t, mqtt.Options{Broker: newFakeBroker(t, connack+"\x30\xff\xff\xff\x7f").url(), Timing: timing, Subscriptions: subs("a")})
	wait(t, r.refused, "OnRefused")
	runtime.ReadMemStats(&after)
	if grown := after.TotalAlloc - before.TotalAlloc; grown > 4<<20 {
		t.Errorf("a declared packet of 256 MB allocated %d bytes; want less than 4 MiB", grown)
	}
}

func TestInvalidTopicsAreDropped(t *testing.T) {
	bad := "\x30\x03\x00\x01+" + "\x30\x03\x00\x01\xff" + "\x30\x03\x00\x01\x00" + "\x30\x02\x00\x00"
	good := "\x30\x04\x00\x01ax"
	r := start(t, mqtt.Options{Broker: newFakeBroker(t, connack, "\x90\x03\x00\x01\x01"+bad+good).url(), Subscriptions: subs("#")}).waitUp()
	r.want("a", "x")
	if n := r.client.Stats().BadTopics; n != 4 {
		t.Errorf("%d messages dropped for their topic; want 4", n)
	}
}

func TestFloodOfRetainedMessagesWhileConnecting(t *testing.T) {
	timing := quick()
	timing.BackoffMin, timing.BackoffMax = time.Minute, time.Minute
	flood := strings.Repeat("\x31\x03\x00\x01a", 1025)
	r := start(t, mqtt.Options{Broker: newFakeBroker(t, connack+flood).url(), Subscriptions: subs("a"), Timing: timing})
	if err := wait(t, r.refused, "OnRefused"); !strings.Contains(err.Error(), "more retained messages than can be held") {
		t.Errorf("reason %q; want the flood of retained messages", err)
	}
}

func TestFloodOfFreshMessagesWhileConnectingIsCounted(t *testing.T) {
	flood := strings.Repeat("\x30\x03\x00\x01a", 1030)
	r := start(t, mqtt.Options{Broker: newFakeBroker(t, connack, flood+"\x90\x03\x00\x01\x01").url(), Subscriptions: subs("a")}).waitUp()
	// The last messages may arrive just after the connection came up; none may be lost uncounted.
	for range 1024 {
		r.want("a", "")
	}
	n := r.client.Stats().NoRoom
	if n < 1 || n > 6 {
		t.Errorf("%d messages found no room; want 1 to 6", n)
	}
	for range 6 - n {
		r.want("a", "")
	}
}

func TestH16HalfOpenLinkIsRebuilt(t *testing.T) {
	onBoth(t, func(t *testing.T, b testBroker) {
		for _, tt := range []struct {
			name  string
			treat [2]mosquittotest.Treatment // to the broker, from it
		}{
			{"what we send is lost", [2]mosquittotest.Treatment{mosquittotest.Swallow, mosquittotest.Pass}},
			{"what we should get is lost", [2]mosquittotest.Treatment{mosquittotest.Pass, mosquittotest.Swallow}},
		} {
			t.Run(tt.name, func(t *testing.T) {
				p := mosquittotest.NewProxy(t, b.address())
				timing := quick()
				timing.PingEvery = 100 * time.Millisecond
				r := start(t, mqtt.Options{Broker: p.URL(), PingTopic: "reef/ping", Subscriptions: subs("reef/x"), Timing: timing}).waitUp()
				p.Treat(tt.treat[0], tt.treat[1])
				if err := wait(t, r.downs, "OnDown"); !strings.Contains(err.Error(), "3 own messages in a row did not come back") {
					t.Errorf("OnDown(%v); want the own messages that stayed out", err)
				}
				p.Heal()
				r.waitUp().publish("reef/x", "alive", 1, false)
				r.want("reef/x", "alive")
				if n := r.client.Stats().PingsMissed; n < 3 {
					t.Errorf("%d own messages missed; want at least 3", n)
				}
			})
		}
	})
}

func TestHealthyLinkOutlivesManyPings(t *testing.T) {
	onBoth(t, func(t *testing.T, b testBroker) {
		timing := quick()
		timing.PingEvery = 50 * time.Millisecond
		r := start(t, mqtt.Options{Broker: "mqtt://" + b.address(), PingTopic: "reef/ping", Subscriptions: subs("reef/#"), Timing: timing}).waitUp()
		select {
		case err := <-r.downs:
			t.Fatalf("a healthy link went down: %v", err)
		case m := <-r.messages:
			t.Fatalf("an own ping came through as a message on %s", m.Topic)
		case <-time.After(600 * time.Millisecond):
		}
	})
}

// A receiver that blocks is a bug, and must cost no more than one connection.
func TestBlockedReceiverDoesNotHoldTheClient(t *testing.T) {
	onBoth(t, func(t *testing.T, b testBroker) {
		free := make(chan struct{})
		var first sync.Once
		timing := quick()
		timing.PingEvery = 100 * time.Millisecond
		r := start(t, mqtt.Options{
			Broker: "mqtt://" + b.address(), PingTopic: "reef/ping", Subscriptions: subs("reef/x"), Timing: timing,
			OnMessage: func(mqtt.Message) { first.Do(func() { <-free }) },
		}).waitUp()
		defer close(free)
		r.publish("reef/x", "blocks", 0, false)
		wait(t, r.downs, "OnDown")
		r.waitUp().publish("reef/x", "goes on", 0, false)
		r.want("reef/x", "blocks")
	})
}
