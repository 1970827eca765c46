package notify

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os/exec"
	"strings"
	"time"
)

// CommandOptions say what to start.
type CommandOptions struct {
	Argv    []string // the first is an absolute path
	Timeout time.Duration
}

// Command starts a program for each message, without a shell, the message on its standard input.
type Command struct{ o CommandOptions }

// environment is all that a program gets to know of ours.
var environment = []string{"PATH=/usr/local/bin:/usr/bin:/bin", "LANG=C.UTF-8"}

const (
	// linger is how long what the program started may hold its output open after it has ended.
	linger = time.Second
	// maxSaid is how much of its output is kept for the error.
	maxSaid = 512
)

// NewCommand makes a command; nothing is started yet.
func NewCommand(o CommandOptions) *Command { return &Command{o} }

// Name of the way.
func (c *Command) Name() string { return "command" }

// Deliver runs the program once. An exit code other than 0, and more time than it has, are errors. Nothing that it
// started outlives it.
func (c *Command) Deliver(ctx context.Context, payload []byte) error {
	limited, cancel := context.WithTimeout(ctx, c.o.Timeout)
	defer cancel()
	var heard said
	p := exec.CommandContext(limited, c.o.Argv[0], c.o.Argv[1:]...)
	p.Env, p.Dir, p.Stdin, p.Stdout, p.Stderr, p.WaitDelay = environment, "/", bytes.NewReader(append(payload, '\n')), &heard, &heard, linger
	inGroup(p)
	if err := p.Start(); err != nil {
		return fmt.Errorf("the command cannot be started: %w", err)
	}
	err := p.Wait()
	endGroup(p)
	switch {
	case err == nil, errors.Is(err, exec.ErrWaitDelay):
		return nil
	case errors.Is(limited.Err(), context.DeadlineExceeded):
		return fmt.Errorf("the command took longer than %s and was ended%s", c.o.Timeout, heard.text())
	}
	return fmt.Errorf("the command failed: %w%s", err, heard.text())
}

// said keeps the beginning of what is written to it and swallows the rest.
type said struct{ b []byte }

func (s *said) Write(p []byte) (int, error) {
	s.b = append(s.b, p[:min(len(p), maxSaid-len(s.b))]...)
	return len(p), nil
}

func (s *said) text() string {
	if text := strings.TrimSpace(strings.ToValidUTF8(string(s.b), "?")); text != "" {
		return ": " + text
	}
	return ""
}
