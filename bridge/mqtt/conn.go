package mqtt

import (
	"io"
	"net"
	"sync"
	"sync/atomic"
	"syscall"
	"time"
)

// link is the socket as paho sees it: reads are judged by a packetGuard, every write has a limit, and the
// end is a reset unless the connection ends in good order.
type link struct {
	net.Conn // plain TCP or TLS; Read, Write, Close and the deadlines are overridden
	raw      *net.TCPConn
	guard    *packetGuard

	writing    sync.Mutex // paho's ping writes beside its other packets
	writeLimit time.Duration

	orderly atomic.Bool
	cause   atomic.Pointer[error] // why we ended it ourselves
}

func newLink(conn net.Conn, raw *net.TCPConn, maxPacket int, writeLimit time.Duration) *link {
	in := io.Reader(conn)
	if control, err := raw.SyscallConn(); err == nil {
		in = promptReader{conn, control}
	}
	return &link{Conn: conn, raw: raw, guard: newPacketGuard(in, maxPacket), writeLimit: writeLimit}
}

// promptReader acknowledges what it has read at once.
type promptReader struct {
	net.Conn
	control syscall.RawConn
}

func (r promptReader) Read(p []byte) (int, error) {
	n, err := r.Conn.Read(p)
	if n > 0 {
		acknowledgeNow(r.control)
	}
	return n, err
}

func (l *link) Read(p []byte) (int, error) {
	n, err := l.guard.Read(p)
	if l.guard.failed != nil {
		l.abort(l.guard.failed)
	}
	if err != nil {
		// paho keeps silent about "use of closed network connection"; our own reason is more than that.
		if cause := l.cause.Load(); cause != nil {
			err = *cause
		}
	}
	return n, err
}

// Write sends all of p within the limit or ends the connection: half a packet cannot be taken back.
func (l *link) Write(p []byte) (int, error) {
	l.writing.Lock()
	defer l.writing.Unlock()
	if err := l.Conn.SetWriteDeadline(time.Now().Add(l.writeLimit)); err != nil {
		return 0, err
	}
	n, err := l.Conn.Write(p)
	if err != nil {
		l.abort(err)
		return n, err
	}
	// An expired deadline must not hit what TLS writes on its own while reading.
	return n, l.Conn.SetWriteDeadline(time.Time{})
}

// SetDeadline bounds reading only: writes have their own limit.
func (l *link) SetDeadline(t time.Time) error { return l.SetReadDeadline(t) }

// SetWriteDeadline does nothing: Write sets its own.
func (l *link) SetWriteDeadline(time.Time) error { return nil }

// Close ends the connection: in good order only after finish, else by a reset.
func (l *link) Close() error {
	if l.orderly.Load() {
		return l.Conn.Close()
	}
	return l.reset()
}

// finish lets the next Close deliver what is still in the socket's buffer.
func (l *link) finish() { l.orderly.Store(true) }

// abort resets the connection and keeps the first reason.
func (l *link) abort(why error) {
	l.cause.CompareAndSwap(nil, &why)
	l.orderly.Store(false)
	_ = l.reset() // closed already is as good
}

// reset throws away whatever is in the socket's buffer, so that no command in it can leave late (H-04). TLS
// is not told: its goodbye would wait behind those bytes.
func (l *link) reset() error {
	_ = l.raw.SetLinger(0)
	return l.raw.Close()
}
