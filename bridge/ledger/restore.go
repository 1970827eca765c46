package ledger

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"time"
)

// Contents say what the file of a ledger holds.
type Contents struct {
	Bytes  int64
	Rows   int64     // which is also the last Seq
	Newest time.Time // of the last row; zero where there is none
}

// Look checks a ledger's file without changing it, a copy for instance: is it one, is it whole, can this program read it?
func Look(path string) (Contents, error) {
	var c Contents
	path, err := resolve(path)
	if err != nil {
		return c, err
	}
	if _, err := os.Stat(path); err != nil {
		return c, err
	}
	schema, err := inspect(path, len(migrations))
	if err != nil {
		return c, err
	}
	if schema == 0 {
		return c, fmt.Errorf("%s: %w: it is empty", path, ErrForeign)
	}
	db, err := connect(path, "ro", readSettings)
	if err != nil {
		return c, unreadable(path, err)
	}
	last, err := readLast(db)
	if err = errors.Join(err, db.Close()); err != nil {
		return c, unreadable(path, err)
	}
	info, err := os.Stat(path)
	if err != nil {
		return c, err
	}
	return Contents{Bytes: info.Size(), Rows: last.Seq, Newest: last.At}, nil
}

// Restored says what Restore did.
type Restored struct {
	Contents
	Kept string // the name of the ledger that stood there before; empty: none did
	Once int64  // how many rows were written once, by the high-water file that was there; 0: nobody knows
}

// Restore puts a copy in the place of a ledger that nobody uses, and keeps what stood there under a dated name. A copy
// does not know what was dosed since it was made: whoever opens the ledger next is told so by its report, until a
// lockout for it stands in the rows (H-40). A power cut on the way leaves the old ledger, or one that its report doubts.
func Restore(source, path string, now time.Time) (done Restored, err error) {
	defer func() {
		if err != nil {
			err = fmt.Errorf("restoring the ledger: %w", err)
		}
	}()
	if path, err = resolve(path); err != nil {
		return done, err
	}
	if source, err = resolve(source); err != nil {
		return done, err
	}
	if done.Contents, err = Look(source); err != nil {
		return done, err
	}
	held, err := lock(path)
	if err != nil {
		return done, err
	}
	r := restoration{source: source, path: path, kept: path + ".until-" + now.UTC().Format("20060102T150405Z"), done: &done}
	for _, step := range r.steps() {
		if err == nil {
			err = step()
		}
	}
	return done, errors.Join(err, held.release())
}

// restoration is a Restore under way.
type restoration struct {
	source, path, kept string
	done               *Restored
}

// steps are what a restoration does, in the order in which each may be the last before a power cut: the copy is whole
// before anything is moved, and a log never stands beside a database that it does not belong to.
func (r restoration) steps() []func() error {
	return []func() error{r.check, r.doubt, r.copy, r.moveLog, r.moveDatabase, r.place, r.own}
}

func (r restoration) part() string { return r.path + ".restored" }

// check refuses what would lose something.
func (r restoration) check() error {
	from, err := os.Stat(r.source)
	if err != nil {
		return err
	}
	if at, err := os.Stat(r.path); err == nil && os.SameFile(from, at) {
		return fmt.Errorf("%s is the ledger itself: name a copy", r.source)
	}
	if _, err := os.Lstat(r.kept); !os.IsNotExist(err) {
		return fmt.Errorf("%s is there already: try again in a second", r.kept)
	}
	return nil
}

// doubt says in the high-water file that a copy was put in place, before it is: also a copy that agrees with the file, or
// is ahead of it, does not know what was dosed since, here or elsewhere.
func (r restoration) doubt() error {
	m, _, err := readMark(r.path)
	if err != nil {
		return err
	}
	r.done.Once = m.Seq
	m.Restored = true
	return writeMark(r.path, m)
}

// copy lets SQLite read the copy and write it anew, with what a log beside it holds.
func (r restoration) copy() error {
	db, err := connect(r.source, "ro", settings)
	if err != nil {
		return unreadable(r.source, err)
	}
	return errors.Join(copyInto(db, r.part()), db.Close())
}

func (r restoration) moveLog() error {
	for _, end := range []string{"-wal", "-shm", "-journal"} {
		if err := os.Rename(r.path+end, r.kept+end); err != nil && !os.IsNotExist(err) {
			return err
		}
	}
	return syncDir(filepath.Dir(r.path))
}

func (r restoration) moveDatabase() error {
	err := os.Rename(r.path, r.kept)
	switch {
	case err == nil:
		r.done.Kept = r.kept
	case !os.IsNotExist(err):
		return err
	}
	return syncDir(filepath.Dir(r.path))
}

func (r restoration) place() error {
	if err := os.Rename(r.part(), r.path); err != nil {
		return err
	}
	return syncDir(filepath.Dir(r.path))
}

// own gives what the administrator's restoration made to the user whose folder it is in, who runs the service.
func (r restoration) own() error {
	if os.Geteuid() != 0 {
		return nil
	}
	info, err := os.Stat(filepath.Dir(r.path))
	if err != nil {
		return err
	}
	owner, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return nil
	}
	var errs []error
	for _, p := range []string{r.path, markPath(r.path), r.path + ".lock"} {
		errs = append(errs, os.Chown(p, int(owner.Uid), int(owner.Gid)))
	}
	return errors.Join(errs...)
}
