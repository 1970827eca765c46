package ledger

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"os"
	"path/filepath"
	"strconv"
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

// The file has two places, each a block of the disk of its own, which are written over in turn: a power cut may spoil the
// one that is being written, and the other then says how far the ledger had come a commit before. A new file for each
// commit would be as safe, and cost the disk some fifteen blocks of names and sizes for a record of a hundred bytes.
const (
	places    = 2
	placeSize = 4096
	// recordSize is a sector, which a disk writes whole or not at all. A record that is torn nevertheless does not add up.
	recordSize = 512
)

// record is the mark as it stands in a place: JSON, a sum of it, and room.
func (m mark) record() ([]byte, error) {
	data, err := json.Marshal(m)
	if err != nil {
		return nil, err
	}
	data = fmt.Appendf(data, " %08x", crc32.ChecksumIEEE(data))
	if len(data) >= recordSize {
		return nil, fmt.Errorf("a mark of %d bytes, must be under %d", len(data), recordSize)
	}
	data = append(data, bytes.Repeat([]byte{' '}, recordSize-1-len(data))...)
	return append(data, '\n'), nil
}

// readRecord reads a place; false if it was spoiled.
func readRecord(place []byte) (m mark, ok bool) {
	data, sum, _ := bytes.Cut(place[:recordSize], []byte{' '})
	want, err := strconv.ParseUint(string(bytes.TrimSpace(sum)), 16, 32)
	if err != nil || crc32.ChecksumIEEE(data) != uint32(want) {
		return mark{}, false
	}
	return m, json.Unmarshal(data, &m) == nil && m.Seq >= 0
}

// readMark reads the high-water file. A file that is not there, or says nothing usable, counts as missing.
func readMark(path string) (m mark, found bool, err error) {
	data, err := os.ReadFile(markPath(path))
	if os.IsNotExist(err) {
		return mark{}, false, nil
	}
	if err != nil {
		return mark{}, false, fmt.Errorf("reading the high-water file: %w", err)
	}
	if len(data) != places*placeSize { // of an earlier version: one record, without a sum
		if json.Unmarshal(data, &m) != nil || m.Seq < 0 {
			return mark{}, false, nil
		}
		return m, true, nil
	}
	for place := range places {
		if one, ok := readRecord(data[place*placeSize:]); ok && (!found || one.Seq > m.Seq) {
			m, found = one, true
		}
	}
	return m, found, nil
}

// writeMark replaces the high-water file: the old one or the new one is there after a power cut, never a part.
func writeMark(path string, m mark) error {
	record, err := m.record()
	if err != nil {
		return err
	}
	whole := append(record, bytes.Repeat([]byte{' '}, placeSize-recordSize-1)...)
	whole = append(whole, '\n')
	temporary := markPath(path) + ".new"
	if err := writeSynced(temporary, bytes.Repeat(whole, places)); err != nil {
		return err
	}
	if err := os.Rename(temporary, markPath(path)); err != nil {
		return err
	}
	return syncDir(filepath.Dir(path))
}

// marker writes the marks of a process: its first into a new file, the others into the two places of that.
type marker struct {
	last  mark
	place int // of the next one
	begun bool
}

// errNoPlaces says that the file is not there, or not the one that was made.
var errNoPlaces = errors.New("the high-water file is another one")

// put writes a mark. Of two marks that can be read the higher one counts, so that only a higher one may go into a place.
func (k *marker) put(path string, m mark) error {
	err := errNoPlaces
	if k.begun && m.Seq > k.last.Seq {
		err = writePlace(path, k.place, m)
	}
	if errors.Is(err, errNoPlaces) {
		err = writeMark(path, m)
	}
	if err != nil {
		return err
	}
	k.last, k.place, k.begun = m, (k.place+1)%places, true
	return nil
}

// writePlace writes over one place.
func writePlace(path string, place int, m mark) (err error) {
	record, err := m.record()
	if err != nil {
		return err
	}
	f, err := os.OpenFile(markPath(path), os.O_WRONLY, 0)
	if os.IsNotExist(err) {
		return errNoPlaces
	}
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	if info, err := f.Stat(); err != nil || info.Size() != places*placeSize {
		return errors.Join(errNoPlaces, err)
	}
	if _, err := f.WriteAt(record, int64(place*placeSize)); err != nil {
		return err
	}
	return syncData(f)
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
