package ledger

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"

	"aliquot/bridge/machine"
)

// Options say which ledger to open, and how.
type Options struct {
	Path         string // of the database; its directory must exist
	ReadOnly     bool   // takes no lock and stores nothing; works beside a running daemon
	MinFreeBytes int64  // least free disk space before a write; 0 = DiskMin
}

// Report says what Open found. It states facts: what follows from them is decided elsewhere.
type Report struct {
	Rows        int64 // stored rows, which is also the last Seq
	NewSite     bool  // neither a ledger nor a high-water file was there
	BehindMark  bool  // rows that were stored once are missing, or others stand in their place
	MarkMissing bool  // there are rows, but no usable high-water file
	Restored    bool  // Restore put a copy here, and nobody has accepted it yet
	MarkSeq     int64 // the last Seq by the high-water file, 0 without one
}

// Ledger is an open ledger. Its methods may be called from several goroutines; there is one write at a time.
type Ledger struct {
	path    string
	minFree int64
	report  Report
	read    *sql.DB

	mu      sync.Mutex
	write   *sql.DB   // nil if opened for reading
	lock    *lockFile // nil if opened for reading
	files   identity
	last    machine.Row // Seq 0: no row yet
	mayMark bool        // whether the high-water file may be written, see keepMark
	marks   marker
	topics  map[string]bool // the retained topics that are stored; nil: not read yet
	failure error           // why nothing is stored any more
	closed  bool
}

// Open opens the ledger, makes a new one where there is none, and brings an older one up to date. A file that
// is no ledger, is damaged or was written by a newer program is refused and left as it is (H-40, H-44).
func Open(o Options) (*Ledger, error) { return open(o, migrations) }

func open(o Options, steps []string) (*Ledger, error) {
	path, err := resolve(o.Path)
	if err != nil {
		return nil, fmt.Errorf("opening the ledger: %w", err)
	}
	l := &Ledger{path: path, minFree: o.MinFreeBytes}
	if l.minFree == 0 {
		l.minFree = DiskMin
	}
	if o.ReadOnly {
		err = l.openForReading(steps)
	} else {
		err = l.openForWriting(steps)
	}
	if err != nil {
		return nil, fmt.Errorf("opening the ledger: %w", errors.Join(err, l.dismantle()))
	}
	return l, nil
}

// resolve follows links, so that two names of one file meet the same lock.
func resolve(path string) (string, error) {
	if path == "" {
		return "", errors.New("no path was given")
	}
	abs, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	info, err := os.Lstat(abs)
	switch {
	case err == nil && info.IsDir():
		return "", fmt.Errorf("%s is a directory, must be a file", abs)
	case err == nil:
		return filepath.EvalSymlinks(abs)
	case !os.IsNotExist(err):
		return "", err
	}
	dir, err := filepath.EvalSymlinks(filepath.Dir(abs))
	if err != nil {
		return "", fmt.Errorf("the directory for %s: %w", filepath.Base(abs), err)
	}
	return filepath.Join(dir, filepath.Base(abs)), nil
}

func (l *Ledger) openForReading(steps []string) error {
	if _, err := os.Stat(l.path); err != nil {
		return err
	}
	schema, err := inspect(l.path, len(steps))
	if err != nil {
		return err
	}
	if schema < len(steps) {
		return fmt.Errorf("%s: %w (layout %d, this program reads %d): start the daemon once to update it", l.path, ErrOlder, schema, len(steps))
	}
	if err := l.openReader(); err != nil {
		return err
	}
	return l.compareMark()
}

func (l *Ledger) openForWriting(steps []string) (err error) {
	if l.lock, err = lock(l.path); err != nil {
		return err
	}
	schema, err := l.prepareFile(len(steps))
	if err != nil {
		return err
	}
	if l.write, err = connect(l.path, "rw", writeSettings); err != nil {
		return fmt.Errorf("%s: %w", l.path, err)
	}
	if err := migrate(l.path, l.write, schema, steps); err != nil {
		return err
	}
	if err := l.openReader(); err != nil {
		return err
	}
	if l.files, err = identify(l.path); err != nil {
		return err
	}
	if err := l.compareMark(); err != nil {
		return err
	}
	if l.report.NewSite {
		return writeMark(l.path, mark{})
	}
	return nil
}

// prepareFile makes an empty private file where there is none, else checks what is there.
func (l *Ledger) prepareFile(newest int) (schema int, err error) {
	info, err := os.Stat(l.path)
	if os.IsNotExist(err) {
		if err := createPrivate(l.path); err != nil {
			return 0, err
		}
		return 0, syncDir(filepath.Dir(l.path))
	}
	if err != nil {
		return 0, err
	}
	schema, err = inspect(l.path, newest)
	if halfBegun(err) && info.Size() <= firstPage {
		if err := undoFirstPage(l.path); err != nil {
			return 0, err
		}
		schema, err = inspect(l.path, newest)
	}
	if err != nil {
		return 0, err
	}
	if info.Mode().Perm()&0o077 != 0 {
		return schema, os.Chmod(l.path, 0o600)
	}
	return schema, nil
}

// openReader opens the reading side and loads the last row.
func (l *Ledger) openReader() (err error) {
	if l.read, err = connect(l.path, "ro", readSettings); err != nil {
		return fmt.Errorf("%s: %w", l.path, err)
	}
	const readers = 4 // a walk over the rows may look something up meanwhile
	l.read.SetMaxOpenConns(readers)
	l.last, err = readLast(l.read)
	return err
}

// compareMark fills the report.
func (l *Ledger) compareMark() error {
	m, found, err := readMark(l.path)
	if err != nil {
		return err
	}
	l.report = Report{Rows: l.last.Seq, MarkSeq: m.Seq}
	switch {
	case m.Restored:
		l.report.Restored = true
	case !found && l.last.Seq == 0:
		l.report.NewSite = true
	case !found:
		l.report.MarkMissing = true
	case m.Seq > l.last.Seq:
		l.report.BehindMark = true
	case m.Seq > 0:
		r, err := readOne(l.read, m.Seq)
		if err != nil {
			return err
		}
		l.report.BehindMark = !m.agreesWith(r)
	}
	l.mayMark = !l.report.BehindMark && !l.report.MarkMissing && !l.report.Restored
	return nil
}

// Report says what Open found.
func (l *Ledger) Report() Report { return l.report }

// Last gives the row with the highest Seq, false if there is none.
func (l *Ledger) Last() (machine.Row, bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.last, l.last.Seq > 0
}

// Failed says whether a write has failed. Nothing more is stored until the ledger is opened anew.
func (l *Ledger) Failed() bool { return l.Failure() != nil }

// Failure gives the error with which the ledger failed, nil while it works.
func (l *Ledger) Failure() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.failure
}

// fail latches the first failure.
func (l *Ledger) fail(err error) error {
	if l.failure == nil {
		l.failure = err
	}
	return err
}

// Backup writes a whole copy of the ledger to a file, replacing it. The copy has no high-water file: put in
// place of the ledger it is noticed as restored.
func (l *Ledger) Backup(target string) error {
	l.mu.Lock()
	closed := l.closed
	l.mu.Unlock()
	if closed {
		return ErrClosed
	}
	// A connection of its own: those for reading refuse every statement that writes anywhere, and the one for
	// writing must not wait for a long copy.
	db, err := connect(l.path, "ro", settings)
	if err != nil {
		return fmt.Errorf("copying the ledger: %w", err)
	}
	if err := errors.Join(copyInto(db, target), db.Close()); err != nil {
		return fmt.Errorf("copying the ledger to %s: %w", target, err)
	}
	return nil
}

// Close folds the -wal file into the database and gives the lock back. A second Close does nothing.
func (l *Ledger) Close() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.closed {
		return nil
	}
	l.closed = true
	var folded error
	if l.write != nil && l.failure == nil {
		_, folded = l.write.ExecContext(context.Background(), "PRAGMA wal_checkpoint(TRUNCATE)")
	}
	if err := errors.Join(folded, l.dismantle()); err != nil {
		return fmt.Errorf("closing the ledger: %w", err)
	}
	return nil
}

// dismantle closes whatever is open, the lock last.
func (l *Ledger) dismantle() error {
	var errs []error
	for _, db := range []*sql.DB{l.read, l.write} {
		if db != nil {
			errs = append(errs, db.Close())
		}
	}
	return errors.Join(append(errs, l.lock.release())...)
}
