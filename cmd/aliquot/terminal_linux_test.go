package main

import (
	"fmt"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"
	"unsafe"
)

// terminal is a pseudo-terminal of 80 columns with the program in it, as an SSH session gives one.
type terminal struct {
	t      *testing.T
	master *os.File
	cmd    *exec.Cmd
	screen *speech
	seen   int // how much of what was said the test has looked at
	ended  chan struct{}
}

// ioctl numbers of Linux for pseudo-terminals, as asm-generic has them.
const (
	tioSetLock = 0x40045431 // TIOCSPTLCK
	tioNumber  = 0x80045430 // TIOCGPTN
	tioWindow  = 0x5414     // TIOCSWINSZ
)

func ioctl(t *testing.T, f *os.File, request uintptr, arg unsafe.Pointer) {
	t.Helper()
	conn, err := f.SyscallConn()
	if err != nil {
		t.Fatal(err)
	}
	var errno syscall.Errno
	if err := conn.Control(func(fd uintptr) { _, _, errno = syscall.Syscall(syscall.SYS_IOCTL, fd, request, uintptr(arg)) }); err != nil || errno != 0 {
		t.Fatalf("ioctl %#x: %v, %v", request, err, errno)
	}
}

// inTerminal starts the program, main and all, as the leader of a terminal session.
func inTerminal(t *testing.T, args ...string) *terminal {
	t.Helper()
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR|syscall.O_NOCTTY, 0)
	if err != nil {
		t.Fatalf("no pseudo-terminal: %v", err)
	}
	var unlock, number int32
	ioctl(t, master, tioSetLock, unsafe.Pointer(&unlock))
	ioctl(t, master, tioNumber, unsafe.Pointer(&number))
	size := [4]uint16{24, 80}
	ioctl(t, master, tioWindow, unsafe.Pointer(&size))
	slave, err := os.OpenFile(fmt.Sprintf("/dev/pts/%d", number), os.O_RDWR|syscall.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer slave.Close()
	p := &terminal{t: t, master: master, screen: newSpeech(), ended: make(chan struct{})}
	p.cmd = exec.Command(os.Args[0], args...)
	p.cmd.Env = append(os.Environ(), childEnv+"="+wholeMain)
	p.cmd.Stdin, p.cmd.Stdout, p.cmd.Stderr = slave, slave, slave
	p.cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true, Setctty: true}
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() {
		b := make([]byte, 4096)
		for {
			n, err := master.Read(b)
			_, _ = p.screen.Write(b[:n])
			if err != nil {
				break
			}
		}
		_ = p.cmd.Wait()
		close(p.ended)
	}()
	t.Cleanup(func() {
		_ = p.cmd.Process.Kill()
		<-p.ended
		_ = master.Close()
		if t.Failed() {
			t.Logf("the terminal showed:\n%s", p.screen.text())
		}
	})
	return p
}

// expect waits until something is shown behind what was looked at before.
func (p *terminal) expect(text string) {
	p.t.Helper()
	words := strings.Fields(text)
	for i, w := range words {
		words[i] = regexp.QuoteMeta(w)
	}
	wanted := regexp.MustCompile(strings.Join(words, `\s+`)) // lines are broken anywhere
	late := time.After(patience)
	for {
		said, changed := p.screen.look()
		if at := wanted.FindStringIndex(said[p.seen:]); at != nil {
			p.seen += at[1]
			return
		}
		select {
		case <-changed:
		case <-p.ended:
			if said, _ = p.screen.look(); !wanted.MatchString(said[p.seen:]) {
				p.t.Fatalf("the session ended (%s) without %q", p.cmd.ProcessState, text)
			}
		case <-late:
			p.t.Fatalf("%q was not shown within %s", text, patience)
		}
	}
}

// types answers a question that is shown.
func (p *terminal) types(question, line string) {
	p.t.Helper()
	p.expect(question)
	p.keys(line + "\n")
}

func (p *terminal) keys(keys string) {
	p.t.Helper()
	if _, err := p.master.WriteString(keys); err != nil {
		p.t.Fatalf("typing %q: %v", keys, err)
	}
}

// hangUp closes the terminal, as a lost SSH session does.
func (p *terminal) hangUp() { _ = p.master.Close() }

// code waits for the end.
func (p *terminal) code() int {
	p.t.Helper()
	select {
	case <-p.ended:
	case <-time.After(patience):
		p.t.Fatal("the session does not end")
	}
	return p.cmd.ProcessState.ExitCode()
}

var (
	momentShown = regexp.MustCompile(`\d\d:\d\d \(\d+ \w+\)`)
	dateShown   = regexp.MustCompile(`\w+day \d+ \w+ \(`)
	dayShown    = regexp.MustCompile(`[.0-9+]{48}\|`)
	barShown    = regexp.MustCompile(`(\[[#.]{24}\]) [0-9.]+ of .*`)
)

// screenText is what stood on the screen in the end, without what differs between two runs.
func (p *terminal) screenText() string {
	var out []string
	for _, line := range strings.Split(p.screen.text(), "\n") {
		parts := strings.Split(strings.TrimRight(line, "\r"), "\r")
		line = strings.TrimRight(parts[len(parts)-1], " ")
		if barShown.MatchString(line) {
			continue // written over
		}
		line = dayShown.ReplaceAllString(line, strings.Repeat("-", 48)+"|")
		out = append(out, dateShown.ReplaceAllString(momentShown.ReplaceAllString(line, "14:17 (2 March)"), "Tuesday 2 March ("))
	}
	return strings.Join(out, "\n")
}
