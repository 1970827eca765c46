package main

import (
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// manager listens as a service manager does.
type manager struct {
	t    *testing.T
	path string
	conn *net.UnixConn
}

func newManager(t *testing.T) *manager {
	dir, err := os.MkdirTemp("", "nfy") // t.TempDir may be longer than a socket's path can be
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	m := &manager{t: t, path: filepath.Join(dir, "s")}
	if m.conn, err = net.ListenUnixgram("unixgram", &net.UnixAddr{Name: m.path, Net: "unixgram"}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { m.conn.Close() })
	return m
}

// heard is everything that has arrived.
func (m *manager) heard() string {
	var out []string
	buf := make([]byte, 256)
	for {
		_ = m.conn.SetReadDeadline(time.Now().Add(20 * time.Millisecond))
		n, err := m.conn.Read(buf)
		if errors.Is(err, os.ErrDeadlineExceeded) {
			return strings.Join(out, " ")
		}
		if err != nil {
			m.t.Fatal(err)
		}
		out = append(out, string(buf[:n]))
	}
}

func env(pairs ...string) func(string) string {
	return func(key string) string {
		for i := 0; i < len(pairs); i += 2 {
			if pairs[i] == key {
				return pairs[i+1]
			}
		}
		return ""
	}
}

func TestH15H16SignsOfLife(t *testing.T) {
	m := newManager(t)
	s, err := newSupervisor(env("NOTIFY_SOCKET", m.path, "WATCHDOG_USEC", "90000000", "WATCHDOG_PID", fmt.Sprint(os.Getpid())))
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2027, 3, 1, 12, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name string
		at   time.Duration
		good bool
		want string
	}{
		{"first turn", 0, true, "READY=1 WATCHDOG=1"},
		{"soon after", time.Second, true, ""},
		{"just before half the time", 45*time.Second - 1, true, ""},
		{"at half the time", 45 * time.Second, true, "WATCHDOG=1"},
		{"late, and the ledger is broken", 200 * time.Second, false, ""},
		{"the ledger is good", 201 * time.Second, true, "WATCHDOG=1"},
	} {
		s.turned(now.Add(c.at), c.good)
		if got := m.heard(); got != c.want {
			t.Errorf("%s: %q; want %q", c.name, got, c.want)
		}
	}
	s.stopping()
	if got := m.heard(); got != "STOPPING=1" {
		t.Errorf("at the end %q; want STOPPING=1", got)
	}
}

func TestSupervisorEnvironment(t *testing.T) {
	m := newManager(t)
	for _, c := range []struct {
		name string
		env  func(string) string
		want string // what the first turn says
		bad  string
	}{
		{"no manager", env(), "", ""},
		{"no watchdog", env("NOTIFY_SOCKET", m.path), "READY=1", ""},
		{"of another process", env("NOTIFY_SOCKET", m.path, "WATCHDOG_USEC", "5000000", "WATCHDOG_PID", "1"), "READY=1", ""},
		{"no pid", env("NOTIFY_SOCKET", m.path, "WATCHDOG_USEC", "5000000"), "READY=1 WATCHDOG=1", ""},
		{"zero", env("NOTIFY_SOCKET", m.path, "WATCHDOG_USEC", "0"), "READY=1", "WATCHDOG_USEC"},
		{"no number", env("NOTIFY_SOCKET", m.path, "WATCHDOG_USEC", "90s"), "READY=1", "WATCHDOG_USEC"},
		{"a relative path", env("NOTIFY_SOCKET", "run/notify"), "", "must begin with"},
		{"nobody there", env("NOTIFY_SOCKET", m.path+"-gone"), "", "NOTIFY_SOCKET"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := newSupervisor(c.env)
			if (err != nil) != (c.bad != "") || err != nil && !strings.Contains(err.Error(), c.bad) {
				t.Errorf("error %v; want one with %q", err, c.bad)
			}
			s.turned(time.Now(), true)
			if got := m.heard(); got != c.want {
				t.Errorf("%q; want %q", got, c.want)
			}
		})
	}
}

// A manager that does not listen any more must not hold the loop.
func TestH16AManagerThatHangsHoldsNobody(t *testing.T) {
	m := newManager(t)
	s, err := newSupervisor(env("NOTIFY_SOCKET", m.path, "WATCHDOG_USEC", "2"))
	if err != nil {
		t.Fatal(err)
	}
	now := time.Now()
	for i := range 40 { // more than its queue takes
		before := time.Now()
		s.turned(now.Add(time.Duration(i)*time.Second), true)
		if took := time.Since(before); took > 10*notifyWait {
			t.Fatalf("word %d took %s; want at most about %s", i, took, notifyWait)
		}
	}
}
