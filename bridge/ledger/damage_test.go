package ledger

import (
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"aliquot/bridge/machine"
)

// foreignDatabase makes a SQLite file that some other program may have left.
func foreignDatabase(t *testing.T, path string, statements ...string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range statements {
		if _, err := db.Exec(s); err != nil {
			t.Fatal(err)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

func cut(t *testing.T, path string, size int64) {
	t.Helper()
	if err := os.Truncate(path, size); err != nil {
		t.Fatal(err)
	}
}

// overwrite puts nonsense into one 4096-byte page, the first being 1.
func overwrite(t *testing.T, path string, page int64) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteAt([]byte(strings.Repeat("damage! ", 4096/8)), (page-1)*4096); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
}

func TestH40FilesThatAreRefusedAndLeftAlone(t *testing.T) {
	for _, c := range []struct {
		name string
		make func(t *testing.T) string
		want error
	}{
		{"a text", func(t *testing.T) string {
			path := newPath(t)
			writeFile(t, path, strings.Repeat("no database at all\n", 200))
			return path
		}, ErrForeign},
		{"a few bytes", func(t *testing.T) string {
			path := newPath(t)
			writeFile(t, path, "x")
			return path
		}, ErrForeign},
		{"a short text", func(t *testing.T) string {
			path := newPath(t)
			writeFile(t, path, strings.Repeat("x", 511))
			return path
		}, ErrForeign},
		{"another program's database", func(t *testing.T) string {
			path := newPath(t)
			foreignDatabase(t, path, "CREATE TABLE readings (v)")
			return path
		}, ErrForeign},
		{"another program's database with its mark", func(t *testing.T) string {
			path := newPath(t)
			foreignDatabase(t, path, "PRAGMA application_id = 42", "CREATE TABLE rows (v)")
			return path
		}, ErrForeign},
		{"a newer layout", func(t *testing.T) string {
			path := filled(t, 3)
			foreignDatabase(t, path, "UPDATE ledger_schema SET number = 99")
			return path
		}, ErrNewer},
		{"first page destroyed", func(t *testing.T) string {
			path := filled(t, 500)
			overwrite(t, path, 1)
			return path
		}, ErrForeign},
		{"a page of rows destroyed", func(t *testing.T) string {
			path := filled(t, 500)
			overwrite(t, path, 12)
			return path
		}, ErrDamaged},
		{"cut in the middle", func(t *testing.T) string {
			path := filled(t, 500)
			info, err := os.Stat(path)
			if err != nil {
				t.Fatal(err)
			}
			cut(t, path, info.Size()/2/4096*4096)
			return path
		}, ErrDamaged},
		{"cut inside a page", func(t *testing.T) string {
			path := filled(t, 500)
			cut(t, path, 5*4096+100)
			return path
		}, ErrDamaged},
		{"cut inside the header", func(t *testing.T) string {
			path := filled(t, 5)
			cut(t, path, 50)
			return path
		}, ErrForeign},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := c.make(t)
			before := fileBytes(t, path)
			for _, readOnly := range []bool{false, true} {
				_, err := Open(Options{Path: path, ReadOnly: readOnly})
				if !errors.Is(err, c.want) || !strings.Contains(err.Error(), path) {
					t.Fatalf("Open(read only %v) = %v; want %v with the path", readOnly, err, c.want)
				}
				if fileBytes(t, path) != before {
					t.Fatalf("Open(read only %v) changed a file that it refused", readOnly)
				}
			}
			l, err := lock(path)
			if err != nil {
				t.Fatalf("the lock was not given back: %v", err)
			}
			if err := l.release(); err != nil {
				t.Fatal(err)
			}
		})
	}
}

// SQLite finds nothing wrong with these files: only their content is.
func TestEachRefusesRowsItDoesNotUnderstand(t *testing.T) {
	for name, c := range map[string]struct{ statement, want string }{
		"unknown kind":  {"UPDATE rows SET kind = 'from_the_future' WHERE seq = 3", `row 3: unknown kind of row "from_the_future"`},
		"unknown field": {`UPDATE rows SET body = '{"system":"nursery","note":"other","colour":"red"}' WHERE seq = 3`, `row 3: row of kind "note": json: unknown field "colour"`},
		"no JSON":       {`UPDATE rows SET body = '{' WHERE seq = 3`, `row 3: row of kind "note"`},
		"bad time":      {`UPDATE rows SET at = 'yesterday' WHERE seq = 3`, `row 3 (note)`},
		"row missing":   {`DELETE FROM rows WHERE seq = 3`, `row 3 is missing`},
	} {
		t.Run(name, func(t *testing.T) {
			path := filled(t, 4)
			foreignDatabase(t, path, "DROP TRIGGER rows_never_change", "DROP TRIGGER rows_never_go", c.statement)
			l := mustOpen(t, path)
			seen := 0
			err := l.Each(1, func(machine.Row) error { seen++; return nil })
			if err == nil || !strings.Contains(err.Error(), c.want) || seen != 2 {
				t.Fatalf("Each gave %d rows and %v; want 2 rows and an error with %q", seen, err, c.want)
			}
		})
	}
}

// An unreadable last row is found when the ledger is opened.
func TestOpenRefusesALastRowItDoesNotUnderstand(t *testing.T) {
	path := filled(t, 3)
	foreignDatabase(t, path, "DROP TRIGGER rows_never_change", "UPDATE rows SET kind = 'from_the_future' WHERE seq = 3")
	if _, err := Open(Options{Path: path}); err == nil || !strings.Contains(err.Error(), "row 3") {
		t.Fatalf("Open = %v; want an error that names row 3", err)
	}
}

func TestOpenRefusesALedgerWithoutTheRowOfItsMark(t *testing.T) {
	path := filled(t, 4)
	m, _, err := readMark(path)
	if err != nil {
		t.Fatal(err)
	}
	m.Seq = 2
	if err := writeMark(path, m); err != nil {
		t.Fatal(err)
	}
	foreignDatabase(t, path, "DROP TRIGGER rows_never_go", "DELETE FROM rows WHERE seq = 2")
	if _, err := Open(Options{Path: path}); !errors.Is(err, ErrDamaged) {
		t.Fatalf("Open = %v; want ErrDamaged", err)
	}
}

func TestH39FilesTakenAwayWhileInUse(t *testing.T) {
	for name, take := range map[string]func(t *testing.T, path string){
		"directory moved": func(t *testing.T, path string) {
			if err := os.Rename(filepath.Dir(path), filepath.Dir(path)+".moved"); err != nil {
				t.Fatal(err)
			}
		},
		"ledger removed": mustRemove,
		"ledger replaced by a copy": func(t *testing.T, path string) {
			writeFile(t, path+".copy", fileBytes(t, path))
			if err := os.Rename(path+".copy", path); err != nil {
				t.Fatal(err)
			}
		},
		"write-ahead file removed": func(t *testing.T, path string) { mustRemove(t, path+"-wal") },
	} {
		t.Run(name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "data")
			if err := os.Mkdir(dir, 0o700); err != nil {
				t.Fatal(err)
			}
			path := filepath.Join(dir, "ledger.db")
			l := mustOpen(t, path)
			mustAppend(t, l, notes(1, 2)...)
			take(t, path)
			if err := l.Append(notes(3, 3)); !errors.Is(err, ErrMoved) || !l.Failed() {
				t.Fatalf("Append = %v, failed %v; want ErrMoved and a failed ledger", err, l.Failed())
			}
			if last, _ := l.Last(); last.Seq != 2 {
				t.Fatalf("Last is row %d; want 2", last.Seq)
			}
		})
	}
}
