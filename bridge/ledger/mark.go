package ledger

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// mark is the high-water file: how far the ledger had come. It is written and synced after every commit, apart
// from the database, so that a database that was lost or restored from an older copy gives itself away (H-40).
type mark struct {
	Seq     int64          `json:"seq"`
	Elapsed safety.Elapsed `json:"elapsed_ms"`
	At      time.Time      `json:"at"`
	// Restored: a copy was put in the ledger's place, and nobody has accepted it yet.
	Restored bool `json:"restored,omitempty"`
}

func markOf(r machine.Row) mark { return mark{Seq: r.Seq, Elapsed: r.Elapsed, At: r.At.UTC()} }

// agreesWith says whether r is the row that the mark was made of. A ledger that was restored and then grew
// beyond the mark has another row there.
func (m mark) agreesWith(r machine.Row) bool {
	return m.Seq == r.Seq && m.Elapsed == r.Elapsed && m.At.Equal(r.At)
}

func markPath(path string) string { return path + ".mark" }

// readMark reads the high-water file. A file that is not there, or says nothing usable, counts as missing.
func readMark(path string) (m mark, found bool, err error) {
	data, err := os.ReadFile(markPath(path))
	if os.IsNotExist(err) {
		return mark{}, false, nil
	}
	if err != nil {
		return mark{}, false, fmt.Errorf("reading the high-water file: %w", err)
	}
	if json.Unmarshal(data, &m) != nil || m.Seq < 0 {
		return mark{}, false, nil
	}
	return m, true, nil
}

// writeMark replaces the high-water file: the old one or the new one is there after a power cut, never a part.
func writeMark(path string, m mark) error {
	data, err := json.Marshal(m)
	if err != nil {
		return err
	}
	temporary := markPath(path) + ".new"
	if err := writeSynced(temporary, append(data, '\n')); err != nil {
		return err
	}
	if err := os.Rename(temporary, markPath(path)); err != nil {
		return err
	}
	return syncDir(filepath.Dir(path))
}

func writeSynced(path string, data []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	return err
}

// syncDir makes a new or renamed entry of a directory survive a power cut.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	err = d.Sync()
	if closeErr := d.Close(); err == nil {
		err = closeErr
	}
	return err
}
