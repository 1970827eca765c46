package faultsim

import (
	"os"
	"runtime/debug"
	"testing"
)

// A trace lives in a few megabytes, and makes much that is soon forgotten: collecting that less often takes a third of
// the time.
func TestMain(m *testing.M) {
	debug.SetGCPercent(400)
	os.Exit(m.Run())
}
