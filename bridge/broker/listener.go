package broker

import (
	"fmt"
	"net"
	"sync"
	"time"
)

// Limits of connections.
const (
	maxConnections = 256
	greeting       = 10 * time.Second // until a CONNECT must have come
	writeLimit     = 5 * time.Second  // for one write to a client
)

// isLoopback accepts an address whose host is a loopback IP or "localhost". An empty host is every interface.
func isLoopback(listen string) (bool, error) {
	host, _, err := net.SplitHostPort(listen)
	if err != nil {
		return false, fmt.Errorf("broker: %q is not an address like 127.0.0.1:1883: %w", listen, err)
	}
	if host == "localhost" {
		return true, nil
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback(), nil
}

// gate is a listener that bounds and remembers its connections, so that closing it closes them all: the
// broker library forgets those that have not introduced themselves.
type gate struct {
	net.Listener
	mu     sync.Mutex
	open   map[*guest]struct{}
	closed bool
}

func newGate(l net.Listener) *gate {
	return &gate{Listener: l, open: make(map[*guest]struct{})}
}

// Accept gives the next connection below the limit; others are closed at once.
func (g *gate) Accept() (net.Conn, error) {
	for {
		conn, err := g.Listener.Accept()
		if err != nil {
			return nil, err
		}
		if guest := g.admit(conn); guest != nil {
			return guest, nil
		}
		_ = conn.Close()
	}
}

func (g *gate) admit(conn net.Conn) *guest {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.closed || len(g.open) >= maxConnections {
		return nil
	}
	// The library sets its own deadline once it has read a CONNECT.
	if err := conn.SetReadDeadline(time.Now().Add(greeting)); err != nil {
		return nil
	}
	c := &guest{Conn: conn, gate: g}
	g.open[c] = struct{}{}
	return c
}

// Close ends the listener and every connection.
func (g *gate) Close() error {
	g.mu.Lock()
	g.closed = true
	all := make([]*guest, 0, len(g.open))
	for c := range g.open {
		all = append(all, c)
	}
	g.mu.Unlock()
	err := g.Listener.Close()
	for _, c := range all {
		_ = c.Close()
	}
	return err
}

// guest is one accepted connection. No write to it takes longer than writeLimit.
type guest struct {
	net.Conn
	gate    *gate
	writing sync.Mutex
}

func (c *guest) Write(p []byte) (int, error) {
	c.writing.Lock()
	defer c.writing.Unlock()
	if err := c.Conn.SetWriteDeadline(time.Now().Add(writeLimit)); err != nil {
		return 0, err
	}
	n, err := c.Conn.Write(p)
	if err != nil {
		_ = c.Close() // half a packet cannot be taken back
	}
	return n, err
}

// SetDeadline bounds reading only: writes have their own limit.
func (c *guest) SetDeadline(t time.Time) error { return c.SetReadDeadline(t) }

func (c *guest) Close() error {
	c.gate.mu.Lock()
	delete(c.gate.open, c)
	c.gate.mu.Unlock()
	return c.Conn.Close()
}
