//go:build !linux

package mqtt

import (
	"syscall"
	"time"
)

// socketControl does nothing here: the limit on each write, the keep-alive and the own messages remain.
func socketControl(time.Duration) func(network, addr string, c syscall.RawConn) error { return nil }

// acknowledgeNow does nothing here: answers of some brokers come up to 40 ms later in a flood.
func acknowledgeNow(syscall.RawConn) {}
