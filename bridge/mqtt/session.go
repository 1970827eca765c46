package mqtt

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/url"
	"sync/atomic"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// session is one connection from dialling to its end, with a paho client of its own.
type session struct {
	c      *Client
	client paho.Client
	link   atomic.Pointer[link]
	in     *inbox
	out    *outbox
	ping   *selfPing
	lost   chan error // paho's word that the connection broke
}

func newSession(c *Client) *session {
	s := &session{c: c, ping: newSelfPing(), lost: make(chan error, 1)}
	s.in = newInbox(c.o.OnMessage, func() { c.count.noRoom.Add(1) }, s.abort)
	return s
}

// live runs the connection. wasUp says whether OnUp was called; the error is why it ended, nil if ctx did.
func (s *session) live(ctx context.Context) (wasUp bool, err error) {
	if err := s.connect(ctx); err != nil {
		return false, s.reason(err)
	}
	s.out = newOutbox(s.client)
	go s.out.run()
	if err = s.prepare(ctx); err == nil {
		wasUp = true
		s.up()
		err = s.serve(ctx)
	}
	if ctx.Err() != nil {
		err = nil
	} else if err = s.reason(err); err == nil {
		err = errors.New("the connection ended")
	}
	s.end(err)
	return wasUp, err
}

// connect dials and waits for CONNACK.
func (s *session) connect(ctx context.Context) error {
	password, err := readPassword(s.c.o.PasswordFile)
	if err != nil {
		return err
	}
	var dialErr error
	s.client = paho.NewClient(s.options(password, func() (net.Conn, error) {
		var l *link
		if l, dialErr = dial(ctx, &s.c.o, s.c.addr); dialErr != nil {
			return nil, dialErr
		}
		s.link.Store(l)
		if ctx.Err() != nil { // it may have ended before there was a link to abort
			l.abort(ctx.Err())
		}
		return l, nil
	}))
	stop := context.AfterFunc(ctx, func() { s.abort(ctx.Err()) })
	defer stop()
	token := s.client.Connect()
	<-token.Done() // dialling and the wait for CONNACK are limited, and end with ctx
	if dialErr != nil {
		return dialErr
	}
	return token.Error()
}

// options is the one place where paho is set up; see the package comment for the reasons.
func (s *session) options(password string, open func() (net.Conn, error)) *paho.ClientOptions {
	o, t := &s.c.o, &s.c.o.Timing
	po := paho.NewClientOptions().
		AddBroker("tcp://" + s.c.addr.dial()). // for paho's own loop; open dials
		SetClientID(o.ClientID).
		SetUsername(o.Username).
		SetPassword(password).
		SetProtocolVersion(4). // named, so that paho does not try 3.1 after a refusal
		SetCleanSession(true).
		SetAutoReconnect(false).
		SetConnectRetry(false).
		SetResumeSubs(false).
		SetStore(forget{}).
		SetOrderMatters(true).
		SetDefaultPublishHandler(s.receive).
		SetKeepAlive(t.KeepAlive).
		SetPingTimeout(t.PingTimeout).
		SetConnectTimeout(t.ConnectTimeout).
		SetWriteTimeout(t.WriteTimeout).
		SetConnectionLostHandler(func(_ paho.Client, err error) {
			select {
			case s.lost <- err:
			default:
			}
		}).
		SetCustomOpenConnectionFn(func(*url.URL, paho.ClientOptions) (net.Conn, error) { return open() })
	if o.Will.Topic != "" {
		po.SetBinaryWill(o.Will.Topic, o.Will.Payload, o.Will.QoS, o.Will.Retained)
	}
	return po
}

// prepare subscribes to everything and lets an own message make the round trip: a broker grants a
// subscription that its access rules forbid, and then simply never delivers.
func (s *session) prepare(ctx context.Context) error {
	for _, sub := range s.c.o.Subscriptions {
		if err := s.subscribeTwice(ctx, sub); err != nil {
			return err
		}
	}
	topic := s.c.o.PingTopic
	if topic == "" {
		return nil
	}
	if err := s.subscribe(ctx, Subscription{Filter: topic}); err != nil {
		return err
	}
	if err := s.beat(); err != nil {
		return err
	}
	timer := time.NewTimer(s.c.o.Timing.SubscribeTimeout)
	defer timer.Stop()
	select {
	case <-s.ping.heard:
		return nil
	case <-timer.C:
		s.c.count.pingsMissed.Add(1)
		return fmt.Errorf("an own message on %s did not come back in %v; the broker's access rules must allow reading and writing it",
			topic, s.c.o.Timing.SubscribeTimeout)
	case err := <-s.lost:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// errRefused is a subscription that the broker does not grant.
var errRefused = errors.New("the broker refuses the subscription")

// subscribeTwice asks once more where the broker refuses: some refuse an identifier which one of their own messages to
// us bears at that moment, though the two sides number theirs apart (MQTT 3.1.1, section 2.3.1).
func (s *session) subscribeTwice(ctx context.Context, sub Subscription) error {
	err := s.subscribe(ctx, sub)
	if errors.Is(err, errRefused) {
		err = s.subscribe(ctx, sub)
	}
	return err
}

// subscribe asks for one filter at a time: the packet guard relies on that.
func (s *session) subscribe(ctx context.Context, sub Subscription) error {
	token := s.client.Subscribe(sub.Filter, sub.QoS, nil)
	timer := time.NewTimer(s.c.o.Timing.SubscribeTimeout)
	defer timer.Stop()
	select {
	case <-token.Done():
	case <-timer.C:
		return fmt.Errorf("subscribing to %s: no answer in %v", sub.Filter, s.c.o.Timing.SubscribeTimeout)
	case err := <-s.lost:
		return fmt.Errorf("subscribing to %s: %w", sub.Filter, err)
	case <-ctx.Done():
		return ctx.Err()
	}
	if err := token.Error(); err != nil {
		return fmt.Errorf("subscribing to %s: %w", sub.Filter, err)
	}
	return s.granted(sub, token)
}

func (s *session) granted(sub Subscription, token paho.Token) error {
	t, ok := token.(*paho.SubscribeToken)
	if !ok {
		return fmt.Errorf("subscribing to %s: unexpected answer", sub.Filter)
	}
	qos, ok := t.Result()[sub.Filter]
	switch {
	case !ok:
		return fmt.Errorf("subscribing to %s: the broker's answer does not say whether it is granted", sub.Filter)
	case qos > 2:
		return fmt.Errorf("%w to %s (code 0x%02x); its access rules must allow reading it", errRefused, sub.Filter, qos)
	case qos < sub.QoS:
		s.c.o.Logger.Warn("subscription granted at a lower QoS", "filter", sub.Filter, "asked", sub.QoS, "granted", qos)
	}
	return nil
}

// up makes the connection usable and then hands over what arrived so far.
func (s *session) up() {
	s.c.count.ups.Add(1)
	s.c.o.Logger.Info("connected", "broker", s.c.addr.String(), "client_id", s.c.o.ClientID)
	s.c.current.Store(s)
	s.in.open(s.c.o.OnUp)
}

// serve waits for the end of the connection.
func (s *session) serve(ctx context.Context) error {
	var tick <-chan time.Time
	if s.c.o.PingTopic != "" {
		ticker := time.NewTicker(s.c.o.Timing.PingEvery)
		defer ticker.Stop()
		tick = ticker.C
	}
	for {
		select {
		case <-ctx.Done():
			return nil
		case err := <-s.lost:
			return err
		case <-tick:
			if err := s.beat(); err != nil {
				return err
			}
		}
	}
}

// beat sends an own message. That it could not be sent shows at the next beat, as one that stayed out.
func (s *session) beat() error {
	before := s.ping.misses()
	payload, err := s.ping.next()
	if after := s.ping.misses(); after > before {
		s.c.count.pingsMissed.Add(1)
	}
	if err != nil {
		return err
	}
	wait := min(s.c.o.Timing.WriteTimeout, s.c.o.Timing.PingEvery)
	_, _ = s.out.publish(Message{Topic: s.c.o.PingTopic, Payload: payload}, wait)
	return nil
}

// receive is paho's one handler. It never waits; see inbox.
func (s *session) receive(_ paho.Client, m paho.Message) {
	topic := m.Topic()
	if topic != "" && topic == s.c.o.PingTopic {
		// A receiver that blocks on a held message must show as well as one that blocks this goroutine.
		if !s.in.flushing() {
			s.ping.hear(m.Payload())
		}
		return
	}
	if checkTopic(topic) != nil {
		s.c.count.badTopic.Add(1)
		return
	}
	s.in.put(Message{Topic: topic, Payload: m.Payload(), QoS: m.Qos(), Retained: m.Retained(), Duplicate: m.Duplicate()})
}

// abort resets the socket, if there is one. Safe from any goroutine.
func (s *session) abort(why error) {
	if l := s.link.Load(); l != nil {
		l.abort(why)
	}
}

// reason prefers our own cause for ending the socket to what paho made of it.
func (s *session) reason(err error) error {
	if err == nil {
		return nil
	}
	if l := s.link.Load(); l != nil {
		if cause := l.cause.Load(); cause != nil && !errors.Is(err, *cause) {
			return *cause
		}
	}
	return err
}

// quiesce is how long paho may take to say goodbye.
const quiesce = 500 * time.Millisecond

// end takes the connection out of use and closes it: in good order if why is nil, else by a reset. It waits
// only limited times, whatever is stuck.
func (s *session) end(why error) {
	s.c.current.CompareAndSwap(s, nil)
	s.out.stop()
	l := s.link.Load()
	if why == nil {
		l.finish()
	} else {
		l.abort(why)
	}
	if !s.in.close(s.c.o.Timing.HandlerWait) {
		s.c.o.Logger.Error("the receiver of messages blocks; going on without it", "waited", s.c.o.Timing.HandlerWait)
	}
	s.client.Disconnect(uint(quiesce.Milliseconds()))
	if s.client.IsConnectionOpen() { // the goodbye is stuck
		l.abort(errors.New("disconnected"))
	}
	<-s.out.idle // paho holds it for the write limit at most
}
