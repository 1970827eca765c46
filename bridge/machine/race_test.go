//go:build race

package machine_test

import (
	"flag"
	"os"
	"testing"
)

// Under the race detector everything takes ten times as long: fewer worlds do, since no goroutine is at work here.
func TestMain(m *testing.M) {
	for name, value := range map[string]string{"rapid.checks": "10", "explore-faults": "0", "explore-states": "200"} {
		if err := flag.Set(name, value); err != nil {
			panic(err)
		}
	}
	os.Exit(m.Run())
}
