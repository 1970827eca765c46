package ledger

import (
	"fmt"
	"os"
	"path/filepath"
	"syscall"
)

// DiskMin is the least free space below which nothing is stored, where Options names no other.
const DiskMin = 64 << 20

// checkSpace refuses a write that the disk may have no room for (H-39).
func checkSpace(path string, least int64) error {
	var s syscall.Statfs_t
	if err := syscall.Statfs(filepath.Dir(path), &s); err != nil {
		return fmt.Errorf("asking for the free disk space of %s: %w", filepath.Dir(path), err)
	}
	free := s.Bavail * uint64(s.Bsize)
	if free < uint64(least) {
		return fmt.Errorf("%s: %w: %d MiB are free, at least %d MiB are needed", filepath.Dir(path), ErrDiskFull, free>>20, least>>20)
	}
	return nil
}

// identity remembers which files were opened: SQLite goes on writing to a file that was removed or moved, and
// what it stores there is gone with the process.
type identity struct {
	paths []string
	infos []os.FileInfo
}

// identify takes the ledger's files as they are now. The -wal file is there as long as a connection is open.
func identify(path string) (identity, error) {
	var id identity
	for _, p := range []string{path, path + "-wal"} {
		info, err := os.Stat(p)
		if err != nil {
			return identity{}, err
		}
		id.paths, id.infos = append(id.paths, p), append(id.infos, info)
	}
	return id, nil
}

func (id identity) check() error {
	for i, p := range id.paths {
		info, err := os.Stat(p)
		if os.IsNotExist(err) || (err == nil && !os.SameFile(info, id.infos[i])) {
			return fmt.Errorf("%s: %w", p, ErrMoved)
		}
		if err != nil {
			return err
		}
	}
	return nil
}
