package ledger

import (
	"encoding/binary"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"aliquot/bridge/machine"
)

// edit changes a file as a bad card does: each four bytes of how are a place and what stands there afterwards, the last one to
// three cut the file short.
func edit(content string, how []byte) string {
	b := []byte(content)
	for ; len(how) >= 4 && len(b) > 0; how = how[4:] {
		at := int(binary.LittleEndian.Uint16(how)) | int(how[2]&0x3)<<16
		b[at%len(b)] = how[3]
	}
	if len(how) > 0 && len(b) > 0 {
		at := 0
		for _, d := range how {
			at = at<<8 | int(d)
		}
		b = b[:at%(len(b)+1)]
	}
	return string(b)
}

// FuzzOpen damages the files of a ledger: it is refused, or it opens as a whole one whose rows are understood, takes a
// row more, and reads the same when it is opened again. It never panics and never hangs.
func FuzzOpen(f *testing.F) {
	dir := f.TempDir()
	base := filepath.Join(dir, "ledger.db")
	l, err := Open(Options{Path: base, MinFreeBytes: 1})
	if err != nil {
		f.Fatal(err)
	}
	if err := l.Append(append(varied(), notes(17, 60)...)); err != nil {
		f.Fatal(err)
	}
	// As a power cut leaves it: rows in the database, and rows that are only in the -wal file.
	var files [2]string
	if err := l.Backup(base + ".copy"); err != nil {
		f.Fatal(err)
	}
	if err := l.Append(notes(61, 70)); err != nil {
		f.Fatal(err)
	}
	for i, name := range []string{base, base + "-wal"} {
		b, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		files[i] = string(b)
	}
	copied, err := os.ReadFile(base + ".copy")
	if err != nil {
		f.Fatal(err)
	}
	mark, err := os.ReadFile(base + ".mark")
	if err != nil {
		f.Fatal(err)
	}
	if err := l.Close(); err != nil {
		f.Fatal(err)
	}

	f.Add(byte(0), []byte(nil))
	f.Add(byte(1), []byte(nil))
	f.Add(byte(2), []byte("{\"seq\":-1}"))
	f.Add(byte(3), []byte("SQLite format 3\x00"))
	f.Add(byte(0), []byte{18, 0, 0, 9})          // write version of the database's header
	f.Add(byte(0), []byte{28, 0, 0, 7})          // its size in pages
	f.Add(byte(0), []byte{0, 0x10, 0, 13, 0x40}) // an inner page, cut short
	f.Add(byte(1), []byte{32, 0, 0, 1, 40, 0, 0, 5})
	f.Add(byte(0), []byte{60, 0x30, 0, '{', 90, 0x41, 0, 0})
	f.Fuzz(func(t *testing.T, what byte, how []byte) {
		dir, err := os.MkdirTemp(memory(), "fuzz")
		if err != nil {
			t.Fatal(err)
		}
		defer os.RemoveAll(dir)
		path := filepath.Join(dir, "ledger.db")
		write := func(suffix, content string) { writeFile(t, path+suffix, content) }
		write(".mark", string(mark))
		switch what % 4 {
		case 0: // the database alone
			write("", edit(string(copied), how))
		case 1: // what had not been folded into it
			write("", files[0])
			write("-wal", edit(files[1], how))
		case 2:
			write("", string(copied))
			write(".mark", string(how))
		case 3: // anything at all
			write("", string(how))
		}
		began := time.Now()
		checkOpened(t, path, what%4 == 2)
		if took := time.Since(began); took > 10*time.Second {
			t.Fatalf("it took %s", took)
		}
	})
}

// checkOpened opens a damaged ledger and, if it opens, uses it. Rows that are missing must show, unless it is the
// high-water file that is damaged.
func checkOpened(t *testing.T, path string, badMark bool) {
	t.Helper()
	l, err := Open(Options{Path: path, MinFreeBytes: 1})
	if err != nil {
		if l != nil || err.Error() == "" {
			t.Fatalf("refused with %v, and still given", err)
		}
		return
	}
	defer l.Close()
	var rows []machine.Row
	if err := l.Each(1, func(r machine.Row) error { rows = append(rows, r); return nil }); err != nil {
		return // told, with the row: the service does not start on it
	}
	last, _ := l.Last()
	if last.Seq != int64(len(rows)) || l.Report().Rows != last.Seq {
		t.Fatalf("%d rows are read, the last one is %d, %d are reported", len(rows), last.Seq, l.Report().Rows)
	}
	if r := l.Report(); len(rows) < 70 && !badMark && !r.BehindMark {
		t.Fatalf("%d of 70 rows are left, and nobody is told: %+v", len(rows), r)
	}
	next := noted(last.Seq + 1)
	if err := l.Append([]machine.Row{next}); err != nil {
		if !l.Failed() {
			t.Fatalf("a row was refused and the ledger has not failed: %v", err)
		}
		return
	}
	if err := l.Close(); err != nil {
		t.Fatalf("closing: %v", err)
	}
	again, err := Open(Options{Path: path, MinFreeBytes: 1})
	if err != nil {
		t.Fatalf("it opened, took a row, and does not open again: %v", err)
	}
	defer again.Close()
	if got := allRows(t, again); !reflect.DeepEqual(got, append(rows, next)) {
		t.Fatalf("it reads %d rows otherwise than before", len(got))
	}
}

// memory is a directory in memory where there is one: what the images are opened in need not be slow.
func memory() string {
	if info, err := os.Stat("/dev/shm"); err == nil && info.IsDir() {
		return "/dev/shm"
	}
	return ""
}
