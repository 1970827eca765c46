//go:build !linux

package main

import "os"

// terminalWidth is 0: not known.
func terminalWidth(*os.File) int { return 0 }

// isTerminal says whether somebody may sit behind a file: that it is a device.
func isTerminal(f *os.File) bool {
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}
