//go:build !linux

package main

import "os"

// terminalSize is 0: not known.
func terminalSize(*os.File) (columns, lines int) { return 0, 0 }

// isTerminal says whether somebody may sit behind a file: that it is a device.
func isTerminal(f *os.File) bool {
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}
