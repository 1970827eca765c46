package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// patience bounds every wait of these tests; none needs it when all is well.
const patience = 30 * time.Second

// process is a child: the program in a process of its own.
type process struct {
	t     *testing.T
	name  string
	cmd   *exec.Cmd
	in    io.WriteCloser
	out   *speech
	ended chan struct{}
}

// start runs the program with arguments; kill is the murderer's point, or empty. The process ends with the test.
func start(t *testing.T, name, kill string, args ...string) *process {
	t.Helper()
	return startUnder(t, nil, name, kill, args...)
}

// startUnder runs the program under another one, which must become the program.
func startUnder(t *testing.T, other []string, name, kill string, args ...string) *process {
	t.Helper()
	return launch(t, append(append(slices.Clone(other), os.Args[0]), args...), name, childEnv+"=1", killEnv+"="+kill)
}

// launch runs a command line with more in its environment. The process ends with the test.
func launch(t *testing.T, line []string, name string, env ...string) *process {
	t.Helper()
	p := &process{t: t, name: name, out: newSpeech(), ended: make(chan struct{})}
	p.cmd = exec.Command(line[0], line[1:]...)
	p.cmd.Env = append(append(os.Environ(), "JOURNAL_STREAM="), env...)
	p.cmd.Stdout, p.cmd.Stderr = p.out, p.out
	var err error
	if p.in, err = p.cmd.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	if err := p.cmd.Start(); err != nil {
		t.Fatalf("starting %s: %v", name, err)
	}
	go func() {
		_ = p.cmd.Wait() // the code is read from ProcessState
		close(p.ended)
	}()
	t.Cleanup(func() {
		p.kill()
		if t.Failed() {
			t.Logf("%s said:\n%s", name, withoutWarnings(p.out.text()))
		}
	})
	return p
}

// withoutWarnings leaves out what the service says of its configuration.
func withoutWarnings(text string) string {
	lines := strings.SplitAfter(text, "\n")
	return strings.Join(slices.DeleteFunc(lines, func(l string) bool { return strings.Contains(l, "/site.yaml:") }), "")
}

// await waits until the child has said something.
func (p *process) await(text string) { p.t.Helper(); p.awaitTimes(text, 1) }

func (p *process) awaitTimes(text string, times int) {
	p.t.Helper()
	p.awaitTimesWithin(text, times, patience)
}

// awaitWithin waits longer than anything else here takes.
func (p *process) awaitWithin(text string, most time.Duration) {
	p.t.Helper()
	p.awaitTimesWithin(text, 1, most)
}

// said looks at what was said so far.
func (p *process) said(text string) bool {
	said, _ := p.out.look()
	return contains(said, text)
}

func (p *process) awaitTimesWithin(text string, times int, most time.Duration) {
	p.t.Helper()
	late := time.After(most)
	for {
		said, changed := p.out.look()
		if strings.Count(said, text) >= times {
			return
		}
		select {
		case <-changed:
		case <-p.ended:
			if said, _ = p.out.look(); strings.Count(said, text) < times {
				p.t.Fatalf("%s ended (%s) without saying %q", p.name, p.cmd.ProcessState, text)
			}
		case <-late:
			p.t.Fatalf("%s did not say %q within %s", p.name, text, most)
		}
	}
}

func (p *process) wait() {
	p.t.Helper()
	select {
	case <-p.ended:
	case <-time.After(patience):
		p.t.Fatalf("%s does not end", p.name)
	}
}

// code waits for the end and gives the exit code, -1 after a signal.
func (p *process) code() int {
	p.t.Helper()
	p.wait()
	return p.cmd.ProcessState.ExitCode()
}

// died waits for an end by SIGKILL.
func (p *process) died() {
	p.t.Helper()
	p.wait()
	status, ok := p.cmd.ProcessState.Sys().(syscall.WaitStatus)
	if !ok || !status.Signaled() || status.Signal() != syscall.SIGKILL {
		p.t.Fatalf("%s ended with %s, not by the murderer", p.name, p.cmd.ProcessState)
	}
}

func (p *process) terminate() { _ = p.cmd.Process.Signal(syscall.SIGTERM) }

// kill ends the process as a power cut does, and waits.
func (p *process) kill() {
	_ = p.cmd.Process.Kill()
	<-p.ended
}

// proceed lets a hanging murderer go on.
func (p *process) proceed() {
	if _, err := io.WriteString(p.in, "go\n"); err != nil {
		p.t.Fatalf("telling %s to go on: %v", p.name, err)
	}
}

// speech collects what a process says.
type speech struct {
	mu      sync.Mutex
	b       strings.Builder
	changed chan struct{} // closed at the next word
}

func newSpeech() *speech { return &speech{changed: make(chan struct{})} }

func (s *speech) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.b.Write(p)
	close(s.changed)
	s.changed = make(chan struct{})
	return len(p), nil
}

func (s *speech) look() (string, <-chan struct{}) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String(), s.changed
}

func (s *speech) text() string { said, _ := s.look(); return said }

// result is what a command did.
type result struct {
	code     int
	out, err string
}

// command runs the program inside the test's own process.
func command(t *testing.T, args ...string) result {
	t.Helper()
	out, errs := newSpeech(), newSpeech()
	ctx, cancel := context.WithTimeout(context.Background(), 2*patience)
	defer cancel()
	code := run(ctx, args, stream{strings.NewReader(""), out, errs})
	return result{code, out.text(), errs.text()}
}

// must runs a command that has to succeed, and gives what it printed.
func must(t *testing.T, args ...string) string {
	t.Helper()
	r := command(t, args...)
	if r.code != exitOK {
		t.Fatalf("aliquot %s: exit code %d\n%s%s", strings.Join(args, " "), r.code, r.out, r.err)
	}
	return r.out
}

func (r result) String() string { return fmt.Sprintf("exit code %d\n%s%s", r.code, r.out, r.err) }
