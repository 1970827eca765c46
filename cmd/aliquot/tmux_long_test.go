//go:build long

package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// pane is a shell in a real tmux of 80 columns, in which the program is called aliquot.
type pane struct {
	t       *testing.T
	socket  string
	screens strings.Builder // every screen that was looked at
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
		"ALIQUOT_CONFIG="+config, "ALIQUOT_BY=ada", "PS1=$ ", "sh")
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

var prompt = regexp.MustCompile(`(?m)^\$ *$`)

// does runs a command on a clear screen and gives what it showed, once the prompt is back.
func (p *pane) does(command string, wants ...string) string {
	p.t.Helper()
	p.types("clear")
	p.waits()
	p.types(command)
	<-time.After(200 * time.Millisecond)
	s := p.waits()
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
		if s := p.screen(); prompt.MatchString(s) && strings.HasSuffix(strings.TrimRight(s, " \n"), "$") {
			return s
		}
		if time.Since(began) > 2*patience {
			p.t.Fatalf("the command does not end:\n%s", p.screen())
		}
	}
}
