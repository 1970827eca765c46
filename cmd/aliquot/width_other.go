//go:build !linux

package main

import "os"

// terminalWidth is 0: not known.
func terminalWidth(*os.File) int { return 0 }
