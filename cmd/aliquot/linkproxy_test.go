package main

import (
	"net"
	"sync"
	"testing"
	"time"

	"aliquot/bridge/mqtt/mosquittotest"
)

// direction is a way through a proxy.
type direction int

const (
	up   direction = iota // from the service to the broker
	down                  // from the broker to the service
)

// treatment is what a proxy does with what goes one way.
type treatment int

const (
	pass    treatment = iota
	swallow           // take it and throw it away
	hold              // take it, and pass it on when the treatment changes, even if its sender has gone
	stall             // leave it where it is
)

// linkProxy stands between the service and its broker.
type linkProxy struct {
	listener net.Listener
	target   string

	mu      sync.Mutex
	changed chan struct{} // closed when a treatment changes
	treat   [2]treatment
	delay   time.Duration
	refuse  bool
	conns   map[*net.TCPConn]bool
	wait    sync.WaitGroup
}

func newLinkProxy(t *testing.T, b *mosquittotest.Server) *linkProxy {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &linkProxy{listener: l, target: b.Addr, changed: make(chan struct{}), conns: map[*net.TCPConn]bool{}}
	p.wait.Go(p.accept)
	t.Cleanup(func() {
		_ = l.Close()
		p.set(func() { p.treat, p.refuse = [2]treatment{swallow, swallow}, true })
		p.cut()
		p.wait.Wait()
	})
	return p
}

func (p *linkProxy) url() string { return "mqtt://" + p.listener.Addr().String() }

// set changes what the proxy does.
func (p *linkProxy) set(change func()) {
	p.mu.Lock()
	defer p.mu.Unlock()
	change()
	close(p.changed)
	p.changed = make(chan struct{})
}

// heal passes everything on again.
func (p *linkProxy) heal() {
	p.set(func() { p.treat, p.refuse, p.delay = [2]treatment{}, false, 0 })
}

// cut resets every connection on both sides, as a router does that has lost its state.
func (p *linkProxy) cut() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for c := range p.conns {
		_ = c.SetLinger(0)
		_ = c.Close()
		delete(p.conns, c)
	}
}

func (p *linkProxy) accept() {
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
func (p *linkProxy) pipe(from, to *net.TCPConn, way direction) {
	defer p.drop(from, to)
	buf := make([]byte, 4096)
	for {
		p.until(func() bool { return p.treat[way] != stall })
		n, err := from.Read(buf)
		if err != nil {
			p.until(func() bool { return p.treat[way] != hold }) // what is held may still arrive
			return
		}
		p.mu.Lock()
		treat, delay := p.treat[way], p.delay
		p.mu.Unlock()
		switch treat {
		case swallow:
			continue
		case hold, stall:
			p.until(func() bool { return p.treat[way] == pass || p.treat[way] == swallow })
		}
		<-time.After(delay)
		if _, err := to.Write(buf[:n]); err != nil {
			return
		}
	}
}

// until waits for a state of the proxy.
func (p *linkProxy) until(ok func() bool) {
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

func (p *linkProxy) drop(conns ...*net.TCPConn) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, c := range conns {
		delete(p.conns, c)
		_ = c.Close()
	}
}
