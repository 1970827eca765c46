package main

import (
	"os"
	"syscall"
	"unsafe"
)

// isTerminal says whether somebody may sit behind a file. That it is a device is not enough: so is /dev/null.
func isTerminal(f *os.File) bool {
	_, _, err := windowSize(f)
	return err == nil
}

// terminalSize is how many columns and lines a terminal has; 0 if it is none.
func terminalSize(f *os.File) (columns, lines int) {
	columns, lines, _ = windowSize(f)
	return columns, lines
}

func windowSize(f *os.File) (columns, lines int, err error) {
	var size struct{ rows, columns, x, y uint16 }
	c, err := f.SyscallConn() // unlike Fd it leaves the file as it is
	if err != nil {
		return 0, 0, err
	}
	var errno syscall.Errno
	if err := c.Control(func(fd uintptr) {
		_, _, errno = syscall.Syscall(syscall.SYS_IOCTL, fd, syscall.TIOCGWINSZ, uintptr(unsafe.Pointer(&size)))
	}); err != nil {
		return 0, 0, err
	}
	if errno != 0 {
		return 0, 0, errno
	}
	return int(size.columns), int(size.rows), nil
}
