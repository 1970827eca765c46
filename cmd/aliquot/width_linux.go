package main

import (
	"os"
	"syscall"
	"unsafe"
)

// terminalWidth is how many columns a terminal has; 0 if it is none.
func terminalWidth(f *os.File) int {
	var size struct{ rows, columns, x, y uint16 }
	_, _, errno := syscall.Syscall(syscall.SYS_IOCTL, f.Fd(), syscall.TIOCGWINSZ, uintptr(unsafe.Pointer(&size)))
	if errno != 0 {
		return 0
	}
	return int(size.columns)
}
