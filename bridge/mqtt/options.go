package mqtt

import (
	"errors"
	"fmt"
	"log/slog"
	"time"
)

// DefaultMaxPacket is the largest remaining length that is read, in bytes.
const DefaultMaxPacket = 64 << 10

// Message is one application message.
type Message struct {
	Topic   string
	Payload []byte
	QoS     byte // 0 or 1
	// Retained asks the broker to keep the message (publishing), or says that it was kept and is not fresh
	// (receiving).
	Retained bool
	// Duplicate is the re-delivery flag of a received message. Brokers forget to set it; do not rely on it.
	Duplicate bool
}

// Subscription is one topic filter and the highest QoS (0 or 1) wanted for it.
type Subscription struct {
	Filter string
	QoS    byte
}

// TLS holds the files for an mqtts broker. There is no switch to skip the check of the certificate.
type TLS struct {
	CAFile     string // PEM; empty: the authorities of the system
	CertFile   string // PEM of the client certificate; empty: none
	KeyFile    string // PEM of its key; set if and only if CertFile is
	ServerName string // name that the broker's certificate must carry; empty: the host of the address
}

// Options describes a client. Broker, ClientID and OnMessage are required.
type Options struct {
	Broker   string // mqtt://host[:1883] or mqtts://host[:8883], nothing more
	ClientID string
	Username string
	// PasswordFile is read again at every connection, so that a changed password works without a restart.
	// One line; the line end is dropped. Empty: no password.
	PasswordFile string
	TLS          *TLS // mqtts only; nil: the authorities of the system

	// Will is what the broker publishes when the connection breaks. An empty topic means none. A clean end
	// does not trigger it.
	Will Message

	Subscriptions []Subscription

	// PingTopic is a topic of our own that we may read and write. Every Timing.PingEvery a message is sent
	// there and must come back; it is not handed to OnMessage. Empty: no such check.
	PingTopic string

	// OnMessage receives each message, one after the other, in the order of the connection. It runs on the
	// client's own goroutine: it must not block and must not call Publish; put the message into a bounded
	// queue and return. Topics are valid UTF-8 without wildcards.
	OnMessage func(Message)
	// OnUp is called when the connection is usable, before any message of it. It may call Publish, and must
	// return: the connection is not watched meanwhile.
	OnUp func()
	// OnDown is called once for each OnUp, after the last message of that connection. The error is nil if
	// the context ended.
	OnDown func(error)
	// OnRefused is called for each attempt that did not get as far as OnUp, with a readable reason.
	OnRefused func(error)

	MaxPacket int // bytes, both directions; 0: DefaultMaxPacket; else 1 KiB..1 MiB
	Logger    *slog.Logger
	Timing    Timing
}

// Timing holds every wait of the client. A zero field gets its default; tests shorten them.
type Timing struct {
	KeepAlive        time.Duration // 15 s, whole seconds
	PingTimeout      time.Duration // 5 s for the protocol's own ping
	ConnectTimeout   time.Duration // 10 s from dialling to CONNACK
	WriteTimeout     time.Duration // 2 s for one write to the socket
	UserTimeout      time.Duration // 5 s until the kernel gives up unacknowledged bytes
	SubscribeTimeout time.Duration // 5 s for one SUBACK, and for the first own message to come back
	PingEvery        time.Duration // 30 s between own messages; three that stay out end the connection
	HandlerWait      time.Duration // 1 s for a running OnMessage at the end of a connection
	BackoffMin       time.Duration // 1 s before the first new attempt
	BackoffMax       time.Duration // 30 s at most, and at least after three losses in LossWindow
	LossWindow       time.Duration // 60 s
}

func (t Timing) withDefaults() Timing {
	or := func(d *time.Duration, def time.Duration) {
		if *d <= 0 {
			*d = def
		}
	}
	or(&t.KeepAlive, 15*time.Second)
	or(&t.PingTimeout, 5*time.Second)
	or(&t.ConnectTimeout, 10*time.Second)
	or(&t.WriteTimeout, 2*time.Second)
	or(&t.UserTimeout, 5*time.Second)
	or(&t.SubscribeTimeout, 5*time.Second)
	or(&t.PingEvery, 30*time.Second)
	or(&t.HandlerWait, time.Second)
	or(&t.BackoffMin, time.Second)
	or(&t.BackoffMax, 30*time.Second)
	or(&t.LossWindow, time.Minute)
	return t
}

// checked gives the options with defaults filled in, or every problem at once. Files are not opened here:
// they are read at each connection.
func (o Options) checked() (Options, error) {
	var errs []error
	fail := func(format string, args ...any) { errs = append(errs, fmt.Errorf(format, args...)) }
	addr, err := parseAddress(o.Broker)
	if err != nil {
		errs = append(errs, err)
	}
	if err := checkText("client id", o.ClientID); err != nil {
		errs = append(errs, err)
	}
	if o.PasswordFile != "" && o.Username == "" {
		fail("a password file without a user name; set the user name too")
	}
	if o.TLS != nil {
		if err == nil && !addr.tls {
			fail("tls settings with the address %s; use mqtts:// or drop them", addr)
		}
		if (o.TLS.CertFile == "") != (o.TLS.KeyFile == "") {
			fail("a client certificate needs both its file and its key file; one is missing")
		}
	}
	errs = append(errs, o.checkTopics()...)
	if o.OnMessage == nil {
		fail("no receiver for messages")
	}
	if o.MaxPacket == 0 {
		o.MaxPacket = DefaultMaxPacket
	}
	if o.MaxPacket < 1<<10 || o.MaxPacket > 1<<20 {
		fail("the largest packet is %d bytes, must be 1024 to 1048576", o.MaxPacket)
	}
	o.Timing = o.Timing.withDefaults()
	if o.Timing.KeepAlive%time.Second != 0 {
		fail("the keep-alive is %v, must be whole seconds", o.Timing.KeepAlive)
	}
	if o.Timing.BackoffMin > o.Timing.BackoffMax {
		fail("the first pause %v is above the longest %v", o.Timing.BackoffMin, o.Timing.BackoffMax)
	}
	o.fillCallbacks()
	if len(errs) > 0 {
		return o, fmt.Errorf("mqtt: %w", errors.Join(errs...))
	}
	return o, nil
}

func (o *Options) fillCallbacks() {
	if o.OnUp == nil {
		o.OnUp = func() {}
	}
	if o.OnDown == nil {
		o.OnDown = func(error) {}
	}
	if o.OnRefused == nil {
		o.OnRefused = func(error) {}
	}
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
}

func (o *Options) checkTopics() (errs []error) {
	seen := make(map[string]bool, len(o.Subscriptions))
	for _, s := range o.Subscriptions {
		if err := checkFilter(s.Filter); err != nil {
			errs = append(errs, err)
		}
		if s.QoS > 1 {
			errs = append(errs, fmt.Errorf("filter %q: QoS %d, must be 0 or 1", s.Filter, s.QoS))
		}
		if seen[s.Filter] {
			errs = append(errs, fmt.Errorf("filter %q is listed twice", s.Filter))
		}
		seen[s.Filter] = true
	}
	if o.PingTopic != "" {
		if err := checkTopic(o.PingTopic); err != nil {
			errs = append(errs, fmt.Errorf("ping topic: %w", err))
		}
		if seen[o.PingTopic] {
			errs = append(errs, fmt.Errorf("the ping topic %q is also a subscription; it is ours alone", o.PingTopic))
		}
	}
	if o.Will.Topic != "" {
		if err := checkTopic(o.Will.Topic); err != nil {
			errs = append(errs, fmt.Errorf("will: %w", err))
		}
		if o.Will.QoS > 1 {
			errs = append(errs, fmt.Errorf("will: QoS %d, must be 0 or 1", o.Will.QoS))
		}
	}
	return errs
}
