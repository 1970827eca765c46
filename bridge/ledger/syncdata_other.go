//go:build !linux

package ledger

import "os"

// syncData makes what was written over in a file survive a power cut.
func syncData(f *os.File) error { return f.Sync() }
