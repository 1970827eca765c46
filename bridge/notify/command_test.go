//go:build unix

package notify

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// script writes a program.
func script(t *testing.T, body string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "tell")
	if err := os.WriteFile(path, []byte("#!/bin/sh\n"+body+"\n"), 0o755); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestCommandGetsTheMessage(t *testing.T) {
	t.Setenv("ALIQUOT_SECRET", "not for others")
	out := filepath.Join(t.TempDir(), "out")
	p := script(t, `{ cat; printf '%s|' "$@"; pwd; env; } > "`+out+`"`)
	c := NewCommand(CommandOptions{Argv: []string{p, "--to", "the $HOME `keeper`; *"}, Timeout: 10 * time.Second})
	if err := c.Deliver(t.Context(), []byte(`{"v":1}`)); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	got := string(b)
	if want := "{\"v\":1}\n--to|the $HOME `keeper`; *|/\n"; !strings.HasPrefix(got, want) {
		t.Errorf("the program saw %q; want %q first", got, want)
	}
	for _, word := range []string{"ALIQUOT", "HOME=", "USER="} {
		if strings.Contains(got[strings.Index(got, "|/\n"):], word) {
			t.Errorf("the program's environment has %s: %s", word, got)
		}
	}
}

func TestCommandFails(t *testing.T) {
	for _, c := range []struct {
		name, body, want string // want is empty where it is taken
	}{
		{"an exit code", "echo no signal >&2; exit 3", "exit status 3: no signal"},
		{"it reads nothing", "exit 0", ""},
		{"too long", "sleep 60", "took longer than 500ms and was ended"},
		{"too long, deaf", "trap '' TERM INT; while :; do sleep 1; done", "was ended"},
		{"much output", "head -c 1000000 /dev/zero | tr '\\0' x; exit 1", ": " + strings.Repeat("x", maxSaid)},
		{"what it started holds its output", "sleep 60 &", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			began := time.Now()
			err := NewCommand(CommandOptions{Argv: []string{script(t, c.body)}, Timeout: 500 * time.Millisecond}).Deliver(t.Context(), make([]byte, 1<<20))
			if took := time.Since(began); took > 10*time.Second {
				t.Errorf("it took %s", took)
			}
			if (err == nil) != (c.want == "") || err != nil && !strings.HasSuffix(err.Error(), c.want) {
				t.Errorf("error %v; want %q", err, c.want)
			}
		})
	}
	err := NewCommand(CommandOptions{Argv: []string{"/nowhere/tell"}, Timeout: time.Second}).Deliver(t.Context(), nil)
	if err == nil || !strings.Contains(err.Error(), "cannot be started") {
		t.Errorf("a program that is not there: %v", err)
	}
}

// Nothing that a program started outlives it.
func TestCommandLeavesNothing(t *testing.T) {
	out := filepath.Join(t.TempDir(), "pid")
	p := script(t, `sleep 600 & echo $! > "`+out+`"; sleep 600`)
	if err := NewCommand(CommandOptions{Argv: []string{p}, Timeout: time.Second}).Deliver(t.Context(), nil); err == nil {
		t.Fatal("it was taken")
	}
	b, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	pid, err := strconv.Atoi(strings.TrimSpace(string(b)))
	if err != nil {
		t.Fatal(err)
	}
	for range 100 {
		if gone(pid) {
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	t.Errorf("process %d, which the program started, still runs", pid)
}

// gone is true too for a process that has ended and that nobody has asked about yet.
func gone(pid int) bool {
	if syscall.Kill(pid, 0) != nil {
		return true
	}
	b, err := os.ReadFile("/proc/" + strconv.Itoa(pid) + "/stat")
	return err == nil && strings.Contains(string(b), ") Z ")
}
