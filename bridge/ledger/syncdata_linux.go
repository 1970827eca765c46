package ledger

import (
	"errors"
	"os"
	"syscall"
)

// syncData makes what was written over in a file survive a power cut. Unlike a whole sync it leaves out when that was, which
// a journalling file system would write too.
func syncData(f *os.File) error {
	for {
		if err := syscall.Fdatasync(int(f.Fd())); !errors.Is(err, syscall.EINTR) {
			return os.NewSyscallError("fdatasync", err)
		}
	}
}
