package ledger

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"aliquot/bridge/machine"
)

// The test binary starts itself again as a process that does nothing but append, and that can be killed, starved
// of space or given a bad disk. It says "ack N" when row N is stored.

const (
	childPath  = "LEDGER_TEST_PATH"  // of the ledger
	childSize  = "LEDGER_TEST_SIZE"  // largest size of a file the child may write, bytes
	childMount = "LEDGER_TEST_MOUNT" // directory for a small file system
	childRows  = "LEDGER_TEST_ROWS"  // rows to store, then stop
	childPrune = "LEDGER_TEST_PRUNE" // prune, and store nothing
)

const batchSize = 3

func TestMain(m *testing.M) {
	if path := os.Getenv(childPath); path != "" {
		do := appendUntilFailure
		if os.Getenv(childPrune) != "" {
			do = pruneChild
		}
		if err := do(path, os.Stdout); err != nil {
			fmt.Println("failed:", err)
			os.Exit(3)
		}
		return
	}
	os.Exit(m.Run())
}

func appendUntilFailure(path string, out io.Writer) error {
	if dir := os.Getenv(childMount); dir != "" {
		if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=600k"); err != nil {
			fmt.Fprintln(out, "no mount:", err)
			return nil
		}
		return fillAndReopen(path, out)
	}
	if size, err := strconv.ParseUint(os.Getenv(childSize), 10, 64); err == nil {
		if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: size, Max: size}); err != nil {
			return err
		}
	}
	most := int64(1 << 40)
	if n, err := strconv.ParseInt(os.Getenv(childRows), 10, 64); err == nil {
		most = n
	}
	l, err := Open(Options{Path: path, MinFreeBytes: 1})
	if err != nil {
		return err
	}
	_, err = appendBatches(l, most, out)
	return errors.Join(err, l.Close())
}

// appendBatches stores rows in batches until it has most of them or a batch is refused.
func appendBatches(l *Ledger, most int64, out io.Writer) (acked int64, err error) {
	last, _ := l.Last()
	acked = last.Seq
	for acked < most {
		if err := l.Append(notes(acked+1, acked+batchSize)); err != nil {
			if again := l.Append(notes(acked+1, acked+batchSize)); !l.Failed() || !errors.Is(again, ErrFailed) {
				return acked, fmt.Errorf("the ledger went on after a failure (%w): %w", err, again)
			}
			return acked, err
		}
		acked += batchSize
		fmt.Fprintln(out, "ack", acked)
	}
	return acked, nil
}

// fillAndReopen fills the small file system to its end, gives the ledger room again, and looks what is left.
func fillAndReopen(path string, out io.Writer) error {
	l, err := Open(Options{Path: path, MinFreeBytes: 1})
	if err != nil {
		return err
	}
	acked, err := appendBatches(l, 1<<40, io.Discard)
	fmt.Fprintln(out, "full:", err)
	if err := l.Close(); err != nil {
		fmt.Fprintln(out, "close:", err)
	}
	if err := syscall.Mount("tmpfs", os.Getenv(childMount), "tmpfs", syscall.MS_REMOUNT, "size=4m"); err != nil {
		return err
	}
	if l, err = Open(Options{Path: path, MinFreeBytes: 1}); err != nil {
		return err
	}
	stored, err := checkNotes(l)
	fmt.Fprintln(out, "acked", acked, "stored", stored)
	if err := errors.Join(err, l.Close()); err != nil {
		return err
	}
	return openOnReadOnlyDisk(path, out)
}

// openOnReadOnlyDisk: a card that the kernel took to read-only must not look like a working ledger.
func openOnReadOnlyDisk(path string, out io.Writer) error {
	if err := syscall.Mount("tmpfs", os.Getenv(childMount), "tmpfs", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		return err
	}
	l, err := Open(Options{Path: path, MinFreeBytes: 1})
	if err == nil {
		return errors.Join(errors.New("a ledger on a read-only disk was opened for writing"), l.Close())
	}
	fmt.Fprintln(out, "read-only:", err)
	return nil
}

// checkNotes walks over the ledger and gives its last Seq: every row must be the one that was appended there.
func checkNotes(l *Ledger) (last int64, err error) {
	err = l.Each(1, func(r machine.Row) error {
		last++
		if want := noted(last); r != want {
			return fmt.Errorf("row %d reads %+v", last, r)
		}
		return nil
	})
	if err == nil && last%batchSize != 0 {
		err = fmt.Errorf("%d rows are stored: a batch was stored in part", last)
	}
	return last, err
}

// child is a running appender.
type child struct {
	cmd   *exec.Cmd
	lines *bufio.Scanner
	acked int64
	said  []string // other lines
}

func startChild(t *testing.T, command []string, env ...string) *child {
	t.Helper()
	cmd := exec.Command(command[0], command[1:]...)
	cmd.Env = append(os.Environ(), env...)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	return &child{cmd: cmd, lines: bufio.NewScanner(out)}
}

// read takes the child's lines until it has acknowledged n batches more, or ended.
func (c *child) read(n int) {
	for n > 0 && c.lines.Scan() {
		seq, ok := strings.CutPrefix(c.lines.Text(), "ack ")
		if !ok {
			c.said = append(c.said, c.lines.Text())
			continue
		}
		c.acked, _ = strconv.ParseInt(seq, 10, 64) // our own line
		n--
	}
}

// finish reads to the end and waits.
func (c *child) finish() error {
	c.read(math.MaxInt)
	return c.cmd.Wait()
}

// wantStored opens the ledger and checks that everything acknowledged is there, whole and in order.
func wantStored(t *testing.T, path string, acked int64) int64 {
	t.Helper()
	l := mustOpen(t, path)
	defer mustClose(t, l)
	stored, err := checkNotes(l)
	if err != nil {
		t.Fatal(err)
	}
	if stored < acked || stored > acked+batchSize {
		t.Fatalf("%d rows are stored, %d were acknowledged", stored, acked)
	}
	if r := l.Report(); r.BehindMark || r.MarkMissing {
		t.Fatalf("Report = %+v; want nothing amiss after a crash", r)
	}
	return stored
}
