package broker

import (
	"bytes"
	"encoding/binary"
	"io"
	"log/slog"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const patience = 20 * time.Second

func mustStart(t *testing.T, o Options) *Broker {
	t.Helper()
	if o.Listen == "" {
		o.Listen = "127.0.0.1:0"
	}
	b, err := Start(o)
	if err != nil {
		t.Fatalf("Start: %v", err)
	}
	t.Cleanup(func() { _ = b.Close() })
	return b
}

// guestConn speaks MQTT 3.1.1 by hand: no client library but the one of the bridge may be imported.
type guestConn struct {
	t *testing.T
	net.Conn
}

func dial(t *testing.T, b *Broker) guestConn {
	t.Helper()
	c, err := net.Dial("tcp", b.Addr())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Close() })
	if err := c.SetDeadline(time.Now().Add(patience)); err != nil {
		t.Fatal(err)
	}
	return guestConn{t, c}
}

func text(s string) string {
	return string(binary.BigEndian.AppendUint16(nil, uint16(len(s)))) + s
}

// send writes a packet whose body is shorter than 128 bytes.
func (c guestConn) send(first byte, body string) {
	c.t.Helper()
	if _, err := io.WriteString(c, string([]byte{first, byte(len(body))})+body); err != nil {
		c.t.Fatalf("sending: %v", err)
	}
}

func (c guestConn) expect(want string) {
	c.t.Helper()
	got := make([]byte, len(want))
	if n, err := io.ReadFull(c, got); err != nil || string(got) != want {
		c.t.Fatalf("got %q, %v; want %q", got[:n], err, want)
	}
}

// connect says CONNECT and gives the code of the answer.
func (c guestConn) connect(id, user, password, willTopic string) byte {
	c.t.Helper()
	flags, body := byte(2), text(id) // clean session
	if willTopic != "" {
		flags |= 0x24 // retained
		body += text(willTopic) + text("will")
	}
	if user != "" {
		flags |= 0xc0
		body += text(user) + text(password)
	}
	c.send(0x10, text("MQTT")+"\x04"+string([]byte{flags})+"\x00\x3c"+body)
	answer := make([]byte, 4)
	if _, err := io.ReadFull(c, answer); err != nil {
		c.t.Fatalf("reading CONNACK: %v", err)
	}
	return answer[3]
}

func (c guestConn) subscribe(filter string) byte {
	c.t.Helper()
	c.send(0x82, "\x00\x01"+text(filter)+"\x00")
	answer := make([]byte, 5)
	if _, err := io.ReadFull(c, answer); err != nil {
		c.t.Fatalf("reading SUBACK: %v", err)
	}
	return answer[4]
}

// ended wants the connection to be closed without another byte.
func (c guestConn) ended() {
	c.t.Helper()
	if n, err := c.Read(make([]byte, 1)); err == nil || n != 0 {
		c.t.Errorf("read %d bytes, %v; want the connection closed", n, err)
	} else if ne, ok := err.(net.Error); ok && ne.Timeout() {
		c.t.Error("the connection stays open")
	}
}

func TestOnlyLoopbackWithoutUsers(t *testing.T) {
	for _, listen := range []string{"127.0.0.1:0", "localhost:0", "127.1.2.3:0"} {
		mustStart(t, Options{Listen: listen})
	}
	tests := []struct{ listen, problem string }{
		{":0", "without a users file"},
		{"0.0.0.0:0", "without a users file"},
		{"[::]:0", "without a users file"},
		{"192.0.2.1:0", "without a users file"},
		{"broker.example:0", "without a users file"},
		{"127.0.0.1", "not an address"},
		{"", "not an address"},
	}
	for _, tt := range tests {
		b, err := Start(Options{Listen: tt.listen})
		if err == nil || !strings.Contains(err.Error(), tt.problem) {
			t.Errorf("Start(%q) = %v; want an error with %q", tt.listen, err, tt.problem)
		}
		if b != nil {
			_ = b.Close()
		}
	}
	mustStart(t, Options{Listen: "0.0.0.0:0", UsersFile: usersFile(t, mustUserLine(t, "reef", "one"))})
}

func TestOptionsAreChecked(t *testing.T) {
	tests := []struct {
		name    string
		o       Options
		problem string
	}{
		{"no users file there", Options{UsersFile: "/nonexistent/users"}, "reading the users file"},
		{"nobody in it", Options{UsersFile: usersFile(t, "# nobody\n")}, "names nobody"},
		{"bad rule", Options{Rules: []Rule{{Filter: "a/#/b"}}}, "# must come last"},
		{"bad filter", Options{NeverRetain: []string{"a+"}}, "must stand alone"},
		{"empty filter", Options{NeverRetain: []string{""}}, "is empty"},
		{"rule for a name that proves nothing", Options{Rules: []Rule{{User: "reef", Filter: "#"}}}, "without a users file"},
	}
	for _, tt := range tests {
		tt.o.Listen = "127.0.0.1:0"
		if _, err := Start(tt.o); err == nil || !strings.Contains(err.Error(), tt.problem) {
			t.Errorf("%s: Start = %v; want an error with %q", tt.name, err, tt.problem)
		}
	}
}

func TestTakenPort(t *testing.T) {
	b := mustStart(t, Options{})
	if _, err := Start(Options{Listen: b.Addr()}); err == nil {
		t.Error("Start on a taken port = nil; want an error")
	}
}

func TestUsers(t *testing.T) {
	b := mustStart(t, Options{UsersFile: usersFile(t, mustUserLine(t, "reef", "one"))})
	tests := []struct {
		user, password string
		want           byte
	}{
		{"reef", "one", 0},
		{"reef", "two", 5}, // not authorized
		{"node", "one", 5},
		{"", "", 5},
	}
	for _, tt := range tests {
		if got := dial(t, b).connect("c", tt.user, tt.password, ""); got != tt.want {
			t.Errorf("CONNECT as %q with %q: code %d; want %d", tt.user, tt.password, got, tt.want)
		}
	}
}

func TestRulesHoldOnTheWire(t *testing.T) {
	b := mustStart(t, Options{Rules: []Rule{{Filter: "reef/#", Access: ReadWrite}, {Filter: "secret", Access: Write}}})
	c := dial(t, b)
	c.connect("c", "", "", "")
	for filter, want := range map[string]byte{"reef/#": 0, "#": 0x80, "secret": 0x80, "reef/+": 0} {
		if got := c.subscribe(filter); got != want {
			t.Errorf("subscribing to %s: code 0x%02x; want 0x%02x", filter, got, want)
		}
	}
	c.send(0x30, text("elsewhere")+"x") // dropped
	c.send(0x30, text("reef/a")+"y")
	c.expect("\x30\x09" + text("reef/a") + "y")
}

func TestNothingIsKeptOnCommandTopics(t *testing.T) {
	b := mustStart(t, Options{NeverRetain: []string{"node/+/run"}})
	lost := dial(t, b)
	lost.connect("lost", "", "", "node/b/run")
	c := dial(t, b)
	c.connect("c", "", "", "")
	c.subscribe("node/+/run")
	c.send(0x31, text("node/a/run")+"x")
	c.expect("\x30\x0d" + text("node/a/run") + "x") // whoever listens gets it
	c.send(0x31, text("node/a/online")+"y")
	c.send(0xc0, "")
	c.expect("\xd0\x00") // the broker is through with it
	_ = lost.Close()
	c.expect("\x30\x10" + text("node/b/run") + "will")

	late := dial(t, b)
	late.connect("late", "", "", "")
	late.subscribe("#")
	late.expect("\x31\x10" + text("node/a/online") + "y") // the only message that was kept
	late.send(0xc0, "")
	late.expect("\xd0\x00")
}

func TestWillsObeyTheRules(t *testing.T) {
	b := mustStart(t, Options{Rules: []Rule{{Filter: "reef/#", Access: ReadWrite}, {Filter: "node/run", Access: Read}}})
	c := dial(t, b)
	c.connect("c", "", "", "")
	c.subscribe("node/run")
	c.subscribe("reef/+")
	for _, topic := range []string{"node/run", "reef/+", "$SYS/x"} {
		lost := dial(t, b)
		lost.connect("lost", "", "", topic)
		_ = lost.Close()
	}
	last := dial(t, b)
	last.connect("last", "", "", "reef/x")
	time.AfterFunc(200*time.Millisecond, func() { _ = last.Close() })
	c.expect("\x30\x0c" + text("reef/x") + "will")
}

func TestLargePacketsEndTheConnection(t *testing.T) {
	b := mustStart(t, Options{})
	fits := dial(t, b)
	fits.connect("fits", "", "", "")
	fits.subscribe("a")
	payload := strings.Repeat("x", MaxPacket-1-3)
	packet := "\x30\xff\xff\x03" + text("a") + payload
	if _, err := io.WriteString(fits, packet); err != nil {
		t.Fatal(err)
	}
	fits.expect(packet)

	for _, header := range []string{"\x30\x80\x80\x04", "\x30\xff\xff\xff\x7f"} {
		c := dial(t, b)
		c.connect("large", "", "", "")
		if _, err := io.WriteString(c, header); err != nil {
			t.Fatal(err)
		}
		c.ended()
	}
	early := dial(t, b)
	if _, err := io.WriteString(early, "\x10\xff\xff\xff\x7f"); err != nil {
		t.Fatal(err)
	}
	early.ended()
}

func TestConnectionsAreBounded(t *testing.T) {
	b := mustStart(t, Options{})
	var all []guestConn
	for range maxConnections {
		all = append(all, dial(t, b))
	}
	all[maxConnections-1].connect("last", "", "", "")
	dial(t, b).ended()
	_ = all[0].Close()
	for deadline := time.Now().Add(patience); ; {
		c := dial(t, b)
		c.send(0x10, text("MQTT")+"\x04\x02\x00\x3c"+text("again"))
		if _, err := io.ReadFull(c, make([]byte, 4)); err == nil {
			return
		}
		if time.Now().After(deadline) {
			t.Fatal("no room after one has left")
		}
	}
}

func TestLifecycle(t *testing.T) {
	b := mustStart(t, Options{})
	silent := dial(t, b)
	known := dial(t, b)
	known.connect("known", "", "", "")
	done := make(chan error, 2)
	for range 2 {
		go func() { done <- b.Close() }()
	}
	for range 2 {
		select {
		case err := <-done:
			if err != nil {
				t.Errorf("Close = %v; want nil", err)
			}
		case <-time.After(patience):
			t.Fatal("Close does not end")
		}
	}
	silent.ended()
	if _, err := io.Copy(io.Discard, known); err != nil && !strings.Contains(err.Error(), "reset") {
		t.Errorf("a known guest: %v; want the connection closed", err)
	}
	again := mustStart(t, Options{Listen: b.Addr()})
	if again.Addr() != b.Addr() {
		t.Errorf("Addr() = %s; want %s", again.Addr(), b.Addr())
	}
}

type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

func TestLogHoldsWarningsWithoutSecrets(t *testing.T) {
	var log lockedBuffer
	b := mustStart(t, Options{Logger: slog.New(slog.NewTextHandler(&log, &slog.HandlerOptions{Level: slog.LevelDebug}))})
	c := dial(t, b)
	c.connect("twice", "reef", "heron-lantern", "")
	c.send(0x10, text("MQTT")+"\x04\xc2\x00\x3c"+text("twice")+text("reef")+text("heron-lantern"))
	c.ended()
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	got := log.String()
	if !strings.Contains(got, "level=WARN") || !strings.Contains(got, "client=twice") {
		t.Errorf("log %q; want a warning about the second CONNECT", got)
	}
	if strings.Contains(got, "heron") || strings.Contains(got, "level=INFO") || strings.Contains(got, "level=DEBUG") {
		t.Errorf("log %q; want no password and nothing below a warning", got)
	}
}

func TestLogIsLimited(t *testing.T) {
	var l logLimit
	now := time.Date(2027, 3, 1, 7, 0, 0, 0, time.UTC)
	for i := range 100 {
		pass, _ := l.take(now)
		if want := i < logBurst; pass != want {
			t.Fatalf("line %d passes: %t; want %t", i+1, pass, want)
		}
	}
	if pass, _ := l.take(now.Add(logWindow - 1)); pass {
		t.Error("a line just inside the window passes")
	}
	if pass, left := l.take(now.Add(logWindow)); !pass || left != 81 {
		t.Errorf("the next window: passes %t, %d left out; want true, 81", pass, left)
	}
	if pass, _ := l.take(now.Add(-time.Hour)); !pass {
		t.Error("a clock that stepped back silences the log")
	}
}
