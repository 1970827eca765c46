package mqtt_test

import (
	"context"
	"net"
	"strconv"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"aliquot/bridge/broker"
	"aliquot/bridge/mqtt"
	"aliquot/bridge/mqtt/mosquittotest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// patience bounds every wait in these tests; none of them needs it when all is well.
const patience = 15 * time.Second

// rig is a client under test and everything it said.
type rig struct {
	t        *testing.T
	client   *mqtt.Client
	messages chan mqtt.Message
	ups      chan struct{}
	downs    chan error
	refused  chan error
	cancel   context.CancelFunc
	ended    chan struct{} // closed when Run has returned

	mu    sync.Mutex
	story []string // "up", "down" and topics, in the order of the calls
}

// quick are waits for tests on one machine.
func quick() mqtt.Timing {
	return mqtt.Timing{
		BackoffMin:       10 * time.Millisecond,
		BackoffMax:       100 * time.Millisecond,
		LossWindow:       time.Nanosecond,
		ConnectTimeout:   3 * time.Second,
		SubscribeTimeout: 2 * time.Second,
		HandlerWait:      200 * time.Millisecond,
	}
}

func newRig(t *testing.T, o mqtt.Options) *rig {
	t.Helper()
	r := &rig{
		t:        t,
		messages: make(chan mqtt.Message, 10_000),
		ups:      make(chan struct{}, 100),
		downs:    make(chan error, 100),
		refused:  make(chan error, 1000),
		ended:    make(chan struct{}),
	}
	if o.Timing == (mqtt.Timing{}) {
		o.Timing = quick()
	}
	if o.ClientID == "" {
		o.ClientID = "client-" + strconv.FormatInt(time.Now().UnixNano(), 36)
	}
	handle := o.OnMessage
	o.OnMessage = func(m mqtt.Message) {
		r.note(m.Topic)
		r.messages <- m
		if handle != nil {
			handle(m)
		}
	}
	up := o.OnUp
	o.OnUp = func() {
		r.note("up")
		if up != nil {
			up()
		}
		r.ups <- struct{}{}
	}
	o.OnDown = func(err error) { r.note("down"); r.downs <- err }
	o.OnRefused = func(err error) { r.refused <- err }
	c, err := mqtt.New(o)
	if err != nil {
		t.Fatalf("New: %v", err)
	}
	r.client = c
	return r
}

func (r *rig) note(what string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.story = append(r.story, what)
}

func (r *rig) told() []string {
	r.mu.Lock()
	defer r.mu.Unlock()
	return append([]string(nil), r.story...)
}

// start runs the client until the test ends or stop is called.
func start(t *testing.T, o mqtt.Options) *rig {
	t.Helper()
	r := newRig(t, o)
	ctx, cancel := context.WithCancel(context.Background())
	r.cancel = cancel
	go func() {
		defer close(r.ended)
		if err := r.client.Run(ctx); err != nil {
			t.Errorf("Run = %v; want nil", err)
		}
	}()
	t.Cleanup(r.stop)
	return r
}

func (r *rig) stop() {
	r.t.Helper()
	r.cancel()
	wait(r.t, r.ended, "the end of Run")
}

func (r *rig) waitUp() *rig {
	r.t.Helper()
	select {
	case <-r.ups:
	case <-time.After(patience):
		select {
		case err := <-r.refused:
			r.t.Fatalf("no connection in %v: %v", patience, err)
		default:
			r.t.Fatalf("no connection in %v", patience)
		}
	}
	return r
}

func wait[T any](t *testing.T, c <-chan T, what string) T {
	t.Helper()
	select {
	case v := <-c:
		return v
	case <-time.After(patience):
		t.Fatalf("waited %v for %s", patience, what)
	}
	panic("unreachable")
}

// publish wants the message to be done.
func (r *rig) publish(topic, payload string, qos byte, retained bool) {
	r.t.Helper()
	m := mqtt.Message{Topic: topic, Payload: []byte(payload), QoS: qos, Retained: retained}
	if d, err := r.client.Publish(m, patience); d != mqtt.Done || err != nil {
		r.t.Fatalf("Publish(%s) = %v, %v; want done", topic, d, err)
	}
}

// want waits for exactly this message as the next one.
func (r *rig) want(topic, payload string) mqtt.Message {
	r.t.Helper()
	m := wait(r.t, r.messages, "a message on "+topic)
	if m.Topic != topic || string(m.Payload) != payload {
		r.t.Fatalf("got %q on %s (retained %t); want %q on %s", m.Payload, m.Topic, m.Retained, payload, topic)
	}
	return m
}

// subs makes subscriptions at QoS 1.
func subs(filters ...string) (all []mqtt.Subscription) {
	for _, f := range filters {
		all = append(all, mqtt.Subscription{Filter: f, QoS: 1})
	}
	return all
}

// testBroker is what the shared suite needs of a broker.
type testBroker interface {
	address() string // host:port
	stop()
	restart()
}

type realBroker struct{ *mosquittotest.Server }

func (b realBroker) address() string { return b.Addr }
func (b realBroker) stop()           { b.Stop() }
func (b realBroker) restart()        { b.Restart() }

type embeddedBroker struct {
	t    *testing.T
	addr string
	b    *broker.Broker
}

func (b *embeddedBroker) address() string { return b.addr }

func (b *embeddedBroker) stop() {
	if b.b == nil {
		return
	}
	if err := b.b.Close(); err != nil {
		b.t.Errorf("closing the embedded broker: %v", err)
	}
	b.b = nil
}

func (b *embeddedBroker) restart() {
	b.t.Helper()
	b.stop()
	var err error
	if b.b, err = broker.Start(broker.Options{Listen: b.addr}); err != nil {
		b.t.Fatalf("starting the embedded broker: %v", err)
	}
}

// onBoth runs a test against the embedded broker and a real mosquitto.
func onBoth(t *testing.T, test func(t *testing.T, b testBroker)) {
	t.Run("embedded", func(t *testing.T) {
		addr := net.JoinHostPort("127.0.0.1", strconv.Itoa(mosquittotest.FreePort(t)))
		b := &embeddedBroker{t: t, addr: addr}
		t.Cleanup(b.stop)
		b.restart()
		test(t, b)
	})
	t.Run("mosquitto", func(t *testing.T) {
		test(t, realBroker{mosquittotest.Start(t, mosquittotest.Options{Persistence: true})})
	})
}
