package main

import (
	"bytes"
	"fmt"
	"os"
	"strings"
	"syscall"
)

// unmapProgram lets go of the pages of the program's own file. The kernel keeps them as its cache of that file while it has room,
// and hands each out again when it is used (madvise(2), MADV_DONTNEED of a mapped file).
func unmapProgram() error {
	maps, err := os.ReadFile("/proc/self/maps")
	if err != nil {
		return err
	}
	self, err := os.Readlink("/proc/self/exe")
	if err != nil {
		return err
	}
	for line := range bytes.Lines(maps) {
		// address perms offset dev inode path: proc_pid_maps(5)
		fields := strings.Fields(string(line))
		if len(fields) < 6 || strings.Join(fields[5:], " ") != self || fields[1] != "r-xp" && fields[1] != "r--p" {
			continue // what can be written may differ from the file, and would be lost
		}
		var from, to uintptr
		if _, err := fmt.Sscanf(fields[0], "%x-%x", &from, &to); err != nil {
			return fmt.Errorf("/proc/self/maps: %q: %w", fields[0], err)
		}
		if _, _, errno := syscall.Syscall(syscall.SYS_MADVISE, from, to-from, syscall.MADV_DONTNEED); errno != 0 {
			return os.NewSyscallError("madvise", errno)
		}
	}
	return nil
}
