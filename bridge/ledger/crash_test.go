package ledger

import (
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"aliquot/bridge/needed"
)

// self is the command that starts this test binary as a child.
func self() []string { return []string{os.Args[0], "-test.run=^$"} }

func TestINV4KilledAtAnyPoint(t *testing.T) {
	path, random := newPath(t), rand.New(rand.NewPCG(1, 20270301))
	var stored int64
	for i := range 20 {
		c := startChild(t, self(), childPath+"="+path)
		c.acked = stored
		c.read(1 + random.IntN(12))
		time.Sleep(time.Duration(random.IntN(3000)) * time.Microsecond) // into the middle of a write
		if err := c.cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		if err := c.finish(); err == nil {
			t.Fatalf("point %d: the child ended by itself: %q", i, c.said)
		}
		if c.acked <= stored {
			t.Fatalf("point %d: nothing was stored: %q", i, c.said)
		}
		stored = wantStored(t, path, c.acked)
	}
}

// A file that may not grow stands for a disk that fails in the middle of a write, at every place there is: the
// limit hits the database, its -wal file or the high-water file.
func TestH39WritesThatFailPartWay(t *testing.T) {
	for _, size := range []int{10, 1000, 5000, 20_000, 33_000, 50_001, 70_000, 123_456} {
		t.Run(fmt.Sprint(size, " bytes"), func(t *testing.T) {
			path := newPath(t)
			mustClose(t, mustOpen(t, path))
			c := startChild(t, self(), childPath+"="+path, fmt.Sprint(childSize, "=", size))
			err := c.finish()
			if err == nil || len(c.said) == 0 || !strings.HasPrefix(c.said[0], "failed:") {
				t.Fatalf("the child said %q and ended with %v; want a failure", c.said, err)
			}
			if strings.Contains(c.said[0], "went on") {
				t.Fatal(c.said[0])
			}
			wantStored(t, path, c.acked)
		})
	}
}

func TestH39FullAndReadOnlyDisk(t *testing.T) {
	dir := t.TempDir()
	cmd := exec.Command(self()[0], self()[1:]...)
	cmd.Env = append(os.Environ(), childPath+"="+filepath.Join(dir, "ledger.db"), childMount+"="+dir)
	cmd.SysProcAttr = &syscall.SysProcAttr{
		Cloneflags:  syscall.CLONE_NEWUSER | syscall.CLONE_NEWNS,
		UidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getuid(), Size: 1}},
		GidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getgid(), Size: 1}},
	}
	out, err := cmd.CombinedOutput()
	if err != nil && cmd.ProcessState == nil {
		needed.Missing(t, "a user name space: "+err.Error())
	}
	if strings.HasPrefix(string(out), "no mount:") {
		needed.Missing(t, "the right to mount a small file system: "+string(out))
	}
	if err != nil || !strings.Contains(string(out), "full: ") || !strings.Contains(string(out), "read-only: ") {
		t.Fatalf("%v\n%s", err, out)
	}
	var acked, stored int64
	for line := range strings.Lines(string(out)) {
		if strings.HasPrefix(line, "acked ") {
			if _, err := fmt.Sscanf(line, "acked %d stored %d", &acked, &stored); err != nil {
				t.Fatal(err)
			}
		}
	}
	if acked < batchSize || stored < acked || stored > acked+batchSize {
		t.Fatalf("%d rows were acknowledged, %d are stored\n%s", acked, stored, out)
	}
}

func strace(t *testing.T, args ...string) []string {
	t.Helper()
	return append(append([]string{needed.Program(t, "strace", "strace"), "-f", "-qq"}, args...), self()...)
}

// Every n-th write or sync of the child fails, as on a card that is dying.
func TestH39EIOOnTheNthCall(t *testing.T) {
	for _, c := range []struct {
		call string
		file string // the only one, where it is not any of them
		n    []int
	}{
		{"pwrite64", "", []int{1, 2, 5, 13, 34}},
		{"pwrite64", ".mark", []int{1, 2, 5, 13, 34}},
		{"fsync,fdatasync", "", []int{1, 2, 5, 13, 34}},
		{"fdatasync", ".mark", []int{1, 2, 34}},
		{"rename,renameat,renameat2", "", []int{1}}, // of the high-water file, which is made anew at the first row
		{"write", "", []int{1}},
	} {
		call, files := c.call, []string{"", "-wal", ".mark.new", ".mark"}
		if c.file != "" {
			files = []string{c.file}
		}
		for _, n := range c.n {
			t.Run(fmt.Sprint(call, c.file, " ", n), func(t *testing.T) {
				path := newPath(t)
				mustClose(t, mustOpen(t, path))
				inject := "inject=" + call + ":error=EIO:when=" + strconv.Itoa(n) + "+"
				only := []string{"-e", "trace=" + call, "-e", inject, "-o", os.DevNull, "-P", filepath.Dir(path)}
				for _, end := range files {
					only = append(only, "-P", path+end)
				}
				c := startChild(t, strace(t, only...), childPath+"="+path, childRows+"=300")
				if err := c.finish(); err == nil || len(c.said) == 0 || strings.Contains(strings.Join(c.said, "\n"), "went on") {
					t.Fatalf("the child said %q and ended with %v; want a failure", c.said, err)
				}
				wantStored(t, path, c.acked)
			})
		}
	}
}

var tracedCall = regexp.MustCompile(`^\d+ +(\w+)\((\d+)<([^>]*)>(?:, "([^"]*)")?`)

// What was acknowledged had been synced before: the order of the child's system calls says so.
func TestH06SyncComesBeforeTheAcknowledgement(t *testing.T) {
	path, log := newPath(t), filepath.Join(t.TempDir(), "calls")
	mustClose(t, mustOpen(t, path))
	c := startChild(t, strace(t, "-y", "-e", "trace=pwrite64,write,fsync,fdatasync", "-o", log), childPath+"="+path, childRows+"=30")
	if err := c.finish(); err != nil {
		t.Fatalf("%v: %q", err, c.said)
	}
	unsynced, acks, written := map[string]bool{}, 0, map[string]int{}
	for line := range strings.Lines(fileBytes(t, log)) {
		m := tracedCall.FindStringSubmatch(line)
		switch {
		case m == nil:
		case strings.HasSuffix(m[1], "sync"):
			delete(unsynced, m[3])
		case strings.HasPrefix(m[4], "ack "):
			acks++
			if len(unsynced) > 0 {
				t.Fatalf("%q was said while %v were not synced", m[4], unsynced)
			}
		case m[3] == path+"-wal" || strings.HasPrefix(m[3], path+".mark"):
			unsynced[m[3]] = true
			written[filepath.Ext(m[3])]++
		}
	}
	if acks != 10 || written[".db-wal"] < acks || written[".new"] < 1 || written[".new"]+written[".mark"] < acks {
		t.Fatalf("the trace shows %d acknowledgements and the writes %v; want 10 and as many of each", acks, written)
	}
}
