//go:build !linux

package main

// unmapProgram lets go of pages of the program's own file.
func unmapProgram() error { return nil }
