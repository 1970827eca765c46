// Package needed says what becomes of a test whose machine lacks something real, such as a broker: on a user's machine it is
// skipped with the reason, in CI (CI set) it fails.
package needed

import (
	"os"
	"os/exec"
	"testing"
)

// Missing ends a test for want of something.
func Missing(t testing.TB, what string) {
	t.Helper()
	if os.Getenv("CI") != "" {
		t.Fatalf("%s is missing; CI needs it", what)
	}
	t.Skipf("%s is missing", what)
}

// Program finds a program of a Debian package by the first of its names that there is.
func Program(t testing.TB, pkg string, names ...string) string {
	t.Helper()
	for _, name := range names {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	Missing(t, names[0]+" (Debian package "+pkg+")")
	return ""
}
