package mqtt

import (
	"syscall"
	"time"
)

// tcpUserTimeout is TCP_USER_TIMEOUT of linux/tcp.h; package syscall does not name it.
const tcpUserTimeout = 0x12

// socketControl sets TCP_USER_TIMEOUT (RFC 5482): bytes that the other side does not acknowledge for that
// long end the connection, also while its receive window is closed. A kernel that refuses it fails the dial.
func socketControl(limit time.Duration) func(network, addr string, c syscall.RawConn) error {
	return func(_, _ string, c syscall.RawConn) error {
		var failed error
		err := c.Control(func(fd uintptr) {
			failed = syscall.SetsockoptInt(int(fd), syscall.IPPROTO_TCP, tcpUserTimeout, int(limit.Milliseconds()))
		})
		if err != nil {
			return err
		}
		return failed
	}
}

// tcpQuickAck is TCP_QUICKACK of linux/tcp.h; package syscall does not name it.
const tcpQuickAck = 0xc

// acknowledgeNow lets the kernel acknowledge what was read at once, not up to 40 ms later with whatever else is to be
// sent. A broker that gathers small packets (Nagle, RFC 896) until it has that acknowledgement would else hold its
// answers to our messages back for as long, and the loop with them, just when many messages come in. The kernel takes
// the option back by itself, so that it is asked for after each read. Without it the link is slow and not wrong: an
// error is ignored.
func acknowledgeNow(c syscall.RawConn) {
	_ = c.Control(func(fd uintptr) { _ = syscall.SetsockoptInt(int(fd), syscall.IPPROTO_TCP, tcpQuickAck, 1) })
}
