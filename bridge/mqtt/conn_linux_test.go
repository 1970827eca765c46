package mqtt

import (
	"context"
	"crypto/x509"
	"errors"
	"io"
	"net"
	"os"
	"strings"
	"syscall"
	"testing"
	"time"
)

// linked gives a dialled link and the broker's side of it.
func linked(t *testing.T, timing Timing) (*link, *net.TCPConn) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = l.Close() }()
	addr, err := parseAddress("mqtt://" + l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	o := valid()
	o.MaxPacket, o.Timing = DefaultMaxPacket, timing.withDefaults()
	ours, err := dial(context.Background(), &o, addr)
	if err != nil {
		t.Fatal(err)
	}
	theirs, err := l.Accept()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = ours.reset(); _ = theirs.Close() })
	if err := theirs.SetDeadline(time.Now().Add(10 * time.Second)); err != nil {
		t.Fatal(err)
	}
	return ours, theirs.(*net.TCPConn)
}

func TestForcedEndIsAReset(t *testing.T) {
	for name, end := range map[string]func(*link){
		"close without a goodbye": func(l *link) { _ = l.Close() },
		"abort":                   func(l *link) { l.abort(errTooLarge) },
		"abort after finish":      func(l *link) { l.finish(); l.abort(errTooLarge); _ = l.Close() },
	} {
		ours, theirs := linked(t, Timing{})
		end(ours)
		if _, err := theirs.Read(make([]byte, 1)); !errors.Is(err, syscall.ECONNRESET) {
			t.Errorf("%s: the other side reads %v; want a reset", name, err)
		}
	}
}

func TestOrderlyEndDeliversWhatIsLeft(t *testing.T) {
	ours, theirs := linked(t, Timing{})
	if _, err := ours.Write([]byte("goodbye")); err != nil {
		t.Fatal(err)
	}
	ours.finish()
	if err := ours.Close(); err != nil {
		t.Fatal(err)
	}
	if got, err := io.ReadAll(theirs); err != nil || string(got) != "goodbye" {
		t.Errorf("the other side reads %q, %v; want the goodbye and the end", got, err)
	}
}

func TestStalledWriteEndsTheConnection(t *testing.T) {
	ours, theirs := linked(t, Timing{WriteTimeout: 100 * time.Millisecond})
	if err := theirs.SetReadBuffer(4096); err != nil {
		t.Fatal(err)
	}
	chunk := make([]byte, 64<<10)
	var err error
	began := time.Now()
	for range 1000 { // until every buffer on the way is full
		if _, err = ours.Write(chunk); err != nil {
			break
		}
	}
	if !errors.Is(err, os.ErrDeadlineExceeded) {
		t.Fatalf("writing to somebody who does not read = %v; want a timeout", err)
	}
	if took := time.Since(began); took > 5*time.Second {
		t.Errorf("it took %v", took)
	}
	if _, err := ours.Read(make([]byte, 1)); !errors.Is(err, os.ErrDeadlineExceeded) {
		t.Errorf("reading afterwards = %v; want the reason of the end", err)
	}
	if _, err := ours.Write(chunk); err == nil {
		t.Error("writing afterwards = nil; want an error: half a packet is on the wire")
	}
}

func TestUserTimeoutIsSet(t *testing.T) {
	ours, _ := linked(t, Timing{UserTimeout: 4321 * time.Millisecond})
	raw, err := ours.raw.SyscallConn()
	if err != nil {
		t.Fatal(err)
	}
	var got int
	var failed error
	if err := raw.Control(func(fd uintptr) {
		got, failed = syscall.GetsockoptInt(int(fd), syscall.IPPROTO_TCP, 0x12)
	}); err != nil || failed != nil {
		t.Fatal(err, failed)
	}
	if got != 4321 {
		t.Errorf("TCP_USER_TIMEOUT = %d ms; want 4321", got)
	}
}

func TestExplain(t *testing.T) {
	addr := address{host: "broker.example", port: "8883", tls: true}
	o := valid()
	o.Timing = o.Timing.withDefaults()
	tests := []struct {
		name string
		err  error
		want string
	}{
		{"expired", x509.CertificateInvalidError{Reason: x509.Expired}, "this machine's clock is wrong"},
		{"unknown name", &net.DNSError{Err: "no such host", Name: "broker.example"}, `the name "broker.example" was not found`},
		{"too slow", context.DeadlineExceeded, "no answer in 10s"},
		{"anything else", errors.New("strange"), "broker mqtts://broker.example:8883: strange"},
	}
	for _, tt := range tests {
		got := explain(&o, addr, tt.err)
		if !strings.Contains(got.Error(), tt.want) || !errors.Is(got, tt.err) && tt.name != "expired" {
			t.Errorf("%s: explain = %q; want %q and the cause inside", tt.name, got, tt.want)
		}
	}
	if explain(&o, addr, nil) != nil {
		t.Error("explain(nil) is an error")
	}
}
