//go:build race

package faultsim

import (
	"flag"
	"os"
	"testing"
)

// Under the race detector everything takes ten times as long: fewer worlds do, since no goroutine is at work here.
func TestMain(m *testing.M) {
	if err := flag.Set("seeds", "2"); err != nil {
		panic(err)
	}
	os.Exit(m.Run())
}
