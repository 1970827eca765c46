package mosquittotest

import (
	"net"
	"sync"
	"testing"
)

// Treatment is what a Proxy does with what goes one way.
type Treatment int

// What can be done.
const (
	Pass    Treatment = iota
	Swallow           // take it and throw it away
	Hold              // take it, and pass it on when the treatment changes, even if its sender has gone
	Stall             // leave it where it is
)

// The two ways through a proxy.
const (
	up   = iota // to the broker
	down        // from the broker
)

// Proxy stands between a client and a broker, and breaks the link in ways that a broker does not.
type Proxy struct {
	listener net.Listener
	target   string

	mu      sync.Mutex
	changed chan struct{} // closed when a treatment changes
	treat   [2]Treatment
	refuse  bool
	conns   map[*net.TCPConn]bool
	wait    sync.WaitGroup
}

// NewProxy listens on a free loopback port for connections to an address, until the test ends.
func NewProxy(t testing.TB, target string) *Proxy {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &Proxy{listener: l, target: target, changed: make(chan struct{}), conns: map[*net.TCPConn]bool{}}
	p.wait.Go(p.accept)
	t.Cleanup(func() {
		_ = l.Close()
		p.set(func() { p.treat, p.refuse = [2]Treatment{Swallow, Swallow}, true })
		p.Cut()
		p.wait.Wait()
	})
	return p
}

// URL is what a client connects to.
func (p *Proxy) URL() string { return "mqtt://" + p.listener.Addr().String() }

// set changes what the proxy does, and wakes what waits for that.
func (p *Proxy) set(change func()) {
	p.mu.Lock()
	defer p.mu.Unlock()
	change()
	close(p.changed)
	p.changed = make(chan struct{})
}

// Treat says what is done with what goes to the broker, and with what comes from it.
func (p *Proxy) Treat(toBroker, fromBroker Treatment) {
	p.set(func() { p.treat = [2]Treatment{up: toBroker, down: fromBroker} })
}

// Refuse closes every new connection at once.
func (p *Proxy) Refuse() { p.set(func() { p.refuse = true }) }

// Heal passes everything on again, and takes new connections.
func (p *Proxy) Heal() { p.set(func() { p.treat, p.refuse = [2]Treatment{}, false }) }

// Cut resets every connection on both sides, as a router does that has lost its state.
func (p *Proxy) Cut() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for c := range p.conns {
		_ = c.SetLinger(0)
		_ = c.Close()
		delete(p.conns, c)
	}
}

func (p *Proxy) accept() {
	for {
		client, err := p.listener.Accept()
		if err != nil {
			return
		}
		p.mu.Lock()
		refuse := p.refuse
		p.mu.Unlock()
		server, err := net.Dial("tcp", p.target)
		if err != nil || refuse {
			_ = client.Close()
			if err == nil {
				_ = server.Close()
			}
			continue
		}
		c, s := client.(*net.TCPConn), server.(*net.TCPConn)
		p.mu.Lock()
		p.conns[c], p.conns[s] = true, true
		p.mu.Unlock()
		p.wait.Go(func() { p.pipe(c, s, up) })
		p.wait.Go(func() { p.pipe(s, c, down) })
	}
}

// pipe carries one way until it ends, and then ends the other way too.
func (p *Proxy) pipe(from, to *net.TCPConn, way int) {
	defer p.drop(from, to)
	buf := make([]byte, 4096)
	for {
		p.until(func() bool { return p.treat[way] != Stall })
		n, err := from.Read(buf)
		if err != nil {
			p.until(func() bool { return p.treat[way] != Hold }) // what is held may still arrive
			return
		}
		p.mu.Lock()
		treat := p.treat[way]
		p.mu.Unlock()
		switch treat {
		case Swallow:
			continue
		case Hold, Stall:
			p.until(func() bool { return p.treat[way] == Pass || p.treat[way] == Swallow })
		}
		if _, err := to.Write(buf[:n]); err != nil {
			return
		}
	}
}

// until waits for a state of the proxy.
func (p *Proxy) until(ok func() bool) {
	for {
		p.mu.Lock()
		done, changed := ok(), p.changed
		p.mu.Unlock()
		if done {
			return
		}
		<-changed
	}
}

func (p *Proxy) drop(conns ...*net.TCPConn) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, c := range conns {
		delete(p.conns, c)
		_ = c.Close()
	}
}
