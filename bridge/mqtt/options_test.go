package mqtt

import (
	"strings"
	"testing"
	"time"
)

func valid() Options {
	return Options{Broker: "mqtt://localhost", ClientID: "reef", OnMessage: func(Message) {}}
}

func TestAddresses(t *testing.T) {
	tests := []struct{ in, want, problem string }{
		{"mqtt://localhost", "mqtt://localhost:1883", ""},
		{"mqtts://broker.example/", "mqtts://broker.example:8883", ""},
		{"mqtt://[::1]:1884", "mqtt://[::1]:1884", ""},
		{"mqtt://h:65535", "mqtt://h:65535", ""},
		{"mqtt://h:65536", "", "must be 1 to 65535"},
		{"mqtt://h:0", "", "must be 1 to 65535"},
		{"", "", "not an address"},
		{"localhost:1883", "", "not an address"},
		{"mqtt://:1883", "", "not an address"},
		{"mqtt://h:port", "", "not an address"},
		{"tcp://h:1883", "", `begins with "tcp://"`},
		{"ws://h:1883", "", `begins with "ws://"`},
		{"mqtt://h/path", "", "goes on after the port"},
		{"mqtt://h?x=1", "", "goes on after the port"},
		{"mqtt://heron:lantern@h", "", "password into a file"},
		{"mqtt://heron:lan%tern@h", "", "not an address"},
	}
	for _, tt := range tests {
		a, err := parseAddress(tt.in)
		switch {
		case tt.problem == "" && (err != nil || a.String() != tt.want):
			t.Errorf("parseAddress(%q) = %v, %v; want %s", tt.in, a, err, tt.want)
		case tt.problem != "" && (err == nil || !strings.Contains(err.Error(), tt.problem)):
			t.Errorf("parseAddress(%q) = %v, %v; want an error with %q", tt.in, a, err, tt.problem)
		case err != nil && strings.Contains(err.Error(), "lan"):
			t.Errorf("parseAddress(%q): the error %q repeats the password", tt.in, err)
		}
	}
}

func TestOptionsAreChecked(t *testing.T) {
	if _, err := New(valid()); err != nil {
		t.Fatalf("New(valid options) = %v", err)
	}
	tests := []struct {
		name    string
		change  func(*Options)
		problem string
	}{
		{"no client id", func(o *Options) { o.ClientID = "" }, "client id is empty"},
		{"client id with NUL", func(o *Options) { o.ClientID = "a\x00" }, "client id is not valid text"},
		{"no receiver", func(o *Options) { o.OnMessage = nil }, "no receiver"},
		{"password without user", func(o *Options) { o.PasswordFile = "x" }, "set the user name too"},
		{"tls on a plain address", func(o *Options) { o.TLS = &TLS{} }, "use mqtts://"},
		{"certificate without key", func(o *Options) { o.Broker = "mqtts://h"; o.TLS = &TLS{CertFile: "c"} }, "one is missing"},
		{"key without certificate", func(o *Options) { o.Broker = "mqtts://h"; o.TLS = &TLS{KeyFile: "k"} }, "one is missing"},
		{"packet too small", func(o *Options) { o.MaxPacket = 1023 }, "must be 1024 to 1048576"},
		{"packet too large", func(o *Options) { o.MaxPacket = 1<<20 + 1 }, "must be 1024 to 1048576"},
		{"broken keep-alive", func(o *Options) { o.Timing.KeepAlive = 1500 * time.Millisecond }, "whole seconds"},
		{"pauses turned round", func(o *Options) { o.Timing.BackoffMin = time.Minute }, "above the longest"},
		{"filter twice", func(o *Options) { o.Subscriptions = []Subscription{{Filter: "a"}, {Filter: "a", QoS: 1}} }, "listed twice"},
		{"QoS 2", func(o *Options) { o.Subscriptions = []Subscription{{Filter: "a", QoS: 2}} }, "must be 0 or 1"},
		{"hash inside", func(o *Options) { o.Subscriptions = []Subscription{{Filter: "a/#/b"}} }, "# must come last"},
		{"glued plus", func(o *Options) { o.Subscriptions = []Subscription{{Filter: "a/b+"}} }, "must stand alone"},
		{"empty filter", func(o *Options) { o.Subscriptions = []Subscription{{}} }, "filter is empty"},
		{"shared", func(o *Options) { o.Subscriptions = []Subscription{{Filter: "$share/g/a"}} }, "shared subscription"},
		{"wildcard ping", func(o *Options) { o.PingTopic = "a/+" }, "ping topic"},
		{"ping is a subscription", func(o *Options) { o.PingTopic = "a"; o.Subscriptions = []Subscription{{Filter: "a"}} }, "ours alone"},
		{"wildcard will", func(o *Options) { o.Will.Topic = "#" }, "will"},
		{"will with QoS 2", func(o *Options) { o.Will = Message{Topic: "a", QoS: 2} }, "will: QoS 2"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			o := valid()
			tt.change(&o)
			if _, err := New(o); err == nil || !strings.Contains(err.Error(), tt.problem) {
				t.Errorf("New = %v; want an error with %q", err, tt.problem)
			}
		})
	}
}

func TestAllProblemsAtOnce(t *testing.T) {
	_, err := New(Options{MaxPacket: 1})
	for _, want := range []string{"broker:", "client id", "no receiver", "largest packet"} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("New(nothing right) = %v; want also %q", err, want)
		}
	}
}

func TestDefaultTiming(t *testing.T) {
	got := Timing{}.withDefaults()
	want := Timing{
		KeepAlive: 15 * time.Second, PingTimeout: 5 * time.Second, ConnectTimeout: 10 * time.Second,
		WriteTimeout: 2 * time.Second, UserTimeout: 5 * time.Second, SubscribeTimeout: 5 * time.Second,
		PingEvery: 30 * time.Second, HandlerWait: time.Second, BackoffMin: time.Second,
		BackoffMax: 30 * time.Second, LossWindow: time.Minute,
	}
	if got != want {
		t.Errorf("defaults %+v; want %+v", got, want)
	}
}

func TestOutgoingMessagesAreChecked(t *testing.T) {
	c, err := New(valid())
	if err != nil {
		t.Fatal(err)
	}
	fits := strings.Repeat("x", DefaultMaxPacket-4-1)
	tests := []struct {
		name    string
		m       Message
		problem string
	}{
		{"not open", Message{Topic: "a", Payload: []byte(fits)}, "no open connection"},
		{"too large", Message{Topic: "a", Payload: []byte(fits + "x")}, "65537 bytes, at most 65536"},
		{"no topic", Message{}, "topic is empty"},
		{"wildcard", Message{Topic: "a/#"}, "wildcard"},
		{"invalid text", Message{Topic: "a\xff"}, "not valid text"},
		{"QoS 2", Message{Topic: "a", QoS: 2}, "must be 0 or 1"},
	}
	for _, tt := range tests {
		d, err := c.Publish(tt.m, time.Second)
		if d != NotHanded || err == nil || !strings.Contains(err.Error(), tt.problem) {
			t.Errorf("%s: Publish = %v, %v; want not handed over, %q", tt.name, d, err, tt.problem)
		}
	}
}

func TestZeroDeliveryIsTheCarefulOne(t *testing.T) {
	var d Delivery
	if d != Unknown || d.String() != "unknown" || Delivery(99).String() != "unknown" {
		t.Errorf("the zero Delivery is %v; want unknown", d)
	}
}
