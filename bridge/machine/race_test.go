//go:build race

package machine_test

import (
	"flag"
	"os"
	"testing"
)

// Under the race detector everything takes ten times as long: fewer worlds do, since no goroutine is at work here.
func TestMain(m *testing.M) {
	if err := flag.Set("rapid.checks", "10"); err != nil {
		panic(err)
	}
	os.Exit(m.Run())
}
