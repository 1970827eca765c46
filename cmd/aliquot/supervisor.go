package main

import (
	"fmt"
	"net"
	"os"
	"strconv"
	"time"
)

// supervisor tells a service manager how the service is, by the datagrams that systemd's sd_notify(3) documents: ready
// with the first turn of the loop, alive at half of the time that the manager allows, stopping at the end. It decides
// nothing; without a manager it is silent.
type supervisor struct {
	conn  net.Conn      // nil: no manager listens
	every time.Duration // between signs of life; 0: the manager asks for none
	ready bool
	fed   time.Time
}

// notifyWait bounds a word to the manager: the loop that speaks it must not stand still for it.
const notifyWait = 100 * time.Millisecond

// newSupervisor reads NOTIFY_SOCKET, WATCHDOG_USEC (µs) and WATCHDOG_PID from the environment.
func newSupervisor(getenv func(string) string) (*supervisor, error) {
	s := &supervisor{}
	path := getenv("NOTIFY_SOCKET")
	if path == "" {
		return s, nil
	}
	if path[0] != '/' && path[0] != '@' {
		return s, fmt.Errorf("NOTIFY_SOCKET is %q: it must begin with / or @; the service manager is not told how the service is", path)
	}
	conn, err := net.Dial("unixgram", path) // an @ in front means an abstract name
	if err != nil {
		return s, fmt.Errorf("NOTIFY_SOCKET: %w; the service manager is not told how the service is", err)
	}
	s.conn = conn
	pid := getenv("WATCHDOG_PID")
	if usec := getenv("WATCHDOG_USEC"); usec != "" && (pid == "" || pid == strconv.Itoa(os.Getpid())) {
		n, err := strconv.ParseInt(usec, 10, 64)
		if err != nil || n <= 0 || n > int64(24*time.Hour/time.Microsecond) {
			return s, fmt.Errorf("WATCHDOG_USEC is %q: it must be a whole number of microseconds above 0, at most a day; no sign of life is given", usec)
		}
		s.every = time.Duration(n) * time.Microsecond / 2
	}
	return s, nil
}

// turned is called by the loop that owns the state, at each of its turns. A loop whose ledger is broken gives no sign
// of life: nothing can be dosed until the process starts anew.
func (s *supervisor) turned(now time.Time, ledgerGood bool) {
	if !s.ready {
		s.ready = true
		s.say("READY=1")
	}
	if s.every > 0 && ledgerGood && (s.fed.IsZero() || now.Sub(s.fed) >= s.every) {
		s.fed = now
		s.say("WATCHDOG=1")
	}
}

// stopping says that the end has begun; it may take some seconds.
func (s *supervisor) stopping() { s.say("STOPPING=1") }

// say sends one datagram. A manager that does not take it is no reason to do anything else.
func (s *supervisor) say(word string) {
	if s.conn == nil {
		return
	}
	_ = s.conn.SetWriteDeadline(time.Now().Add(notifyWait))
	_, _ = s.conn.Write([]byte(word))
}
