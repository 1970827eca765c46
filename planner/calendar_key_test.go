package planner

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

// A key that is written by hand is the one that the layout says.
func TestKeyOf(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		w := time.Unix(rapid.Int64Range(-80_000_000_000, 300_000_000_000).Draw(rt, "s"), 0).UTC()
		if got, want := keyOf(w), w.Format(keyLayout); got != want {
			rt.Fatalf("keyOf gives %q; want %q", got, want)
		}
	})
}
