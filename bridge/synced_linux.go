package bridge

import "syscall"

// KernelSynced asks the kernel whether its clock is disciplined by a time source (adjtimex, STA_UNSYNC).
func KernelSynced() bool {
	const (
		timeError = 5    // TIME_ERROR: not synchronised
		staUnsync = 0x40 // STA_UNSYNC
	)
	var t syscall.Timex
	state, err := syscall.Adjtimex(&t)
	return err == nil && state != timeError && t.Status&staUnsync == 0
}
