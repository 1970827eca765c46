package ledger

import (
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"
	"syscall"
)

// lockFile holds the exclusive lock on a ledger. The kernel drops it when the process ends, however it ends, so
// a file that is left behind locks nobody out.
type lockFile struct{ f *os.File }

// lock takes the lock beside the ledger, or tells which process has it. The file stays afterwards: removing
// it would let two processes lock two different files of the same name.
func lock(path string) (*lockFile, error) {
	f, err := os.OpenFile(path+".lock", os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fmt.Errorf("locking the ledger: %w", err)
	}
	if err := flock(f); err != nil {
		holder := readHolder(f)
		_ = f.Close() // only read from
		if errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, fmt.Errorf("%s: %w by another aliquot (%s): stop that one first", path, ErrInUse, holder)
		}
		return nil, fmt.Errorf("locking %s: %w", f.Name(), err)
	}
	if err := writeHolder(f); err != nil {
		_ = f.Close() // the write error says more
		return nil, fmt.Errorf("writing %s: %w", f.Name(), err)
	}
	return &lockFile{f}, nil
}

// flock tries the lock without waiting. A signal may interrupt it, as the runtime sends some to itself.
func flock(f *os.File) error {
	for {
		err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
		if !errors.Is(err, syscall.EINTR) {
			return err
		}
	}
}

func readHolder(f *os.File) string {
	var text [32]byte
	n, _ := f.ReadAt(text[:], 0) // the number is only for people: without it the message is still true
	if pid, err := strconv.Atoi(strings.TrimSpace(string(text[:n]))); err == nil {
		return fmt.Sprintf("process %d", pid)
	}
	return "process unknown"
}

func writeHolder(f *os.File) error {
	if err := f.Truncate(0); err != nil {
		return err
	}
	_, err := f.WriteAt([]byte(strconv.Itoa(os.Getpid())+"\n"), 0)
	return err
}

func (l *lockFile) release() error {
	if l == nil {
		return nil
	}
	return l.f.Close()
}
