package mqtt_test

import (
	"net"
	"sync"
	"sync/atomic"
	"testing"
)

// proxy stands between a client and a broker and can break the link in ways that a broker does not.
type proxy struct {
	t        *testing.T
	listener net.Listener
	target   string

	swallowUp   atomic.Bool // what the client sends is taken and thrown away
	swallowDown atomic.Bool // what the broker sends is taken and thrown away

	mu    sync.Mutex
	conns map[*net.TCPConn]bool
	pipes sync.WaitGroup
}

func newProxy(t *testing.T, target string) *proxy {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &proxy{t: t, listener: l, target: target, conns: map[*net.TCPConn]bool{}}
	p.pipes.Go(p.accept)
	t.Cleanup(func() {
		_ = l.Close()
		p.cut()
		p.pipes.Wait()
	})
	return p
}

func (p *proxy) url() string { return "mqtt://" + p.listener.Addr().String() }

func (p *proxy) accept() {
	for {
		client, err := p.listener.Accept()
		if err != nil {
			return
		}
		server, err := net.Dial("tcp", p.target)
		if err != nil {
			_ = client.Close()
			continue
		}
		c, s := client.(*net.TCPConn), server.(*net.TCPConn)
		p.mu.Lock()
		p.conns[c], p.conns[s] = true, true
		p.mu.Unlock()
		p.pipes.Go(func() { p.pipe(c, s, &p.swallowUp) })
		p.pipes.Go(func() { p.pipe(s, c, &p.swallowDown) })
	}
}

// pipe copies until one side ends, and then ends both.
func (p *proxy) pipe(from, to *net.TCPConn, swallow *atomic.Bool) {
	defer p.drop(from, to)
	buf := make([]byte, 4096)
	for {
		n, err := from.Read(buf)
		if err != nil {
			return
		}
		if swallow.Load() {
			continue
		}
		if _, err := to.Write(buf[:n]); err != nil {
			return
		}
	}
}

func (p *proxy) drop(conns ...*net.TCPConn) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, c := range conns {
		delete(p.conns, c)
		_ = c.Close()
	}
}

// cut resets every connection on both sides, as a router does that has lost its state.
func (p *proxy) cut() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for c := range p.conns {
		_ = c.SetLinger(0)
		_ = c.Close()
		delete(p.conns, c)
	}
}
