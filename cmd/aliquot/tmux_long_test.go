//go:build long

package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
)

// pane is a shell in a real tmux of 80 columns, in which the program is called aliquot.
type pane struct {
	t       *testing.T
	socket  string
	screens strings.Builder // every screen that was looked at
	typed   int             // number of the prompt at which was typed last
}

func newPane(t *testing.T, config string) *pane {
	t.Helper()
	bin := filepath.Join(t.TempDir(), "aliquot")
	script := fmt.Sprintf("#!/bin/sh\nexec env %s=%s %s \"$@\"\n", childEnv, wholeMain, os.Args[0])
	if err := os.WriteFile(bin, []byte(script), 0o700); err != nil {
		t.Fatal(err)
	}
	p := &pane{t: t, socket: filepath.Join(t.TempDir(), "tmux")}
	p.tmux("-f", "/dev/null", "new-session", "-d", "-x", "80", "-y", "50", "env", "-i", "TERM=screen", "HOME="+t.TempDir(), "PATH="+filepath.Dir(bin)+":/usr/bin:/bin",
		"ALIQUOT_CONFIG="+config, "ALIQUOT_BY=ada", `PS1=$((n=n+1))$ `, "sh")
	t.Cleanup(func() {
		_ = exec.Command("tmux", "-S", p.socket, "kill-server").Run()
		if t.Failed() {
			t.Logf("the terminal showed:\n%s", p.screens.String())
		}
	})
	p.shows("$")
	return p
}

func (p *pane) tmux(args ...string) string {
	p.t.Helper()
	out, err := exec.Command("tmux", append([]string{"-S", p.socket}, args...)...).CombinedOutput()
	if err != nil {
		p.t.Fatalf("tmux %v: %v\n%s", args, err, out)
	}
	return string(out)
}

func (p *pane) screen() string {
	return strings.TrimRight(p.tmux("capture-pane", "-p", "-t", "0"), "\n")
}

// shows waits until the screen, lines joined, holds a text.
func (p *pane) shows(text string) string {
	p.t.Helper()
	for began := time.Now(); ; <-time.After(50 * time.Millisecond) {
		s := p.screen()
		if strings.Contains(strings.Join(strings.Fields(s), " "), text) {
			return s
		}
		if time.Since(began) > 2*patience {
			p.t.Fatalf("%q is not shown, but\n%s", text, s)
		}
	}
}

func (p *pane) types(line string) {
	p.t.Helper()
	if n, ok := prompted(p.screen()); ok {
		p.typed = n
	}
	if line != "" {
		p.tmux("send-keys", "-t", "0", "-l", line)
	}
	p.tmux("send-keys", "-t", "0", "Enter")
}

// asks waits until a question stands at the end of the screen.
func (p *pane) asks(question string) {
	p.t.Helper()
	for began := time.Now(); ; <-time.After(50 * time.Millisecond) {
		lines := strings.Split(p.screen(), "\n")
		if strings.Contains(strings.Join(lines[max(0, len(lines)-2):], " "), question) {
			return
		}
		if time.Since(began) > 2*patience {
			p.t.Fatalf("%q is not asked, but\n%s", question, p.screen())
		}
	}
}

// answers types a line once a question is asked.
func (p *pane) answers(question, line string) {
	p.t.Helper()
	p.asks(question)
	p.types(line)
}

// Prompts are numbered, so that the one before a command is not taken for the one behind it.
var prompt = regexp.MustCompile(`(?m)^(\d+)\$`)

// prompted says whether the shell waits for a command, and at which prompt.
func prompted(screen string) (number int, ok bool) {
	lines := strings.Split(strings.TrimRight(screen, " \n"), "\n")
	m := prompt.FindStringSubmatch(lines[len(lines)-1])
	if m == nil || m[0] != lines[len(lines)-1] {
		return 0, false
	}
	number, err := strconv.Atoi(m[1])
	return number, err == nil
}

// ended says whether what was typed at a prompt has led to the next one.
func (p *pane) ended(screen string) bool {
	n, ok := prompted(screen)
	return ok && n > p.typed
}

// does runs a command on a clear screen and gives what it showed, once the prompt is back.
func (p *pane) does(command string, wants ...string) string {
	p.t.Helper()
	p.types("clear")
	p.waits()
	p.types(command)
	s := prompt.ReplaceAllString(p.waits(), "$$")
	for _, w := range wants {
		if !strings.Contains(strings.Join(strings.Fields(s), " "), w) {
			p.t.Errorf("%s does not say %q, but\n%s", command, w, s)
		}
	}
	fmt.Fprintf(&p.screens, "\n%s\n%s\n", strings.Repeat("=", 80), s)
	return s
}

// waits until the shell asks for the next command.
func (p *pane) waits() string {
	p.t.Helper()
	for began := time.Now(); ; <-time.After(50 * time.Millisecond) {
		if s := p.screen(); p.ended(s) {
			return s
		}
		if time.Since(began) > 2*patience {
			p.t.Fatalf("the command does not end:\n%s", p.screen())
		}
	}
}
