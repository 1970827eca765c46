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
