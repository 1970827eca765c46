package ledger

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	sqlite3 "modernc.org/sqlite/lib"
)

// applicationID marks the file as a ledger: the bytes "aliq".
const applicationID = 0x616c6971

// migrations bring a ledger forward; the n-th one makes schema n of schema n−1. A released one is never changed:
// a new one is added behind it, with a ledger of that schema in testdata.
var migrations = []string{schema1, schema2, schema3, schema4}

// Rows are kept as they came. The triggers are the last line behind this package's own checks, for whoever
// opens the file with another tool (INV-12).
const schema1 = `
CREATE TABLE ledger_schema (number INTEGER NOT NULL) STRICT;
INSERT INTO ledger_schema (number) VALUES (0);
CREATE TABLE rows (
	seq     INTEGER PRIMARY KEY CHECK (seq > 0),
	id      TEXT UNIQUE CHECK (id <> ''),
	at      TEXT NOT NULL,
	elapsed INTEGER NOT NULL,
	trusted INTEGER NOT NULL CHECK (trusted IN (0, 1)),
	by      TEXT NOT NULL,
	kind    TEXT NOT NULL CHECK (kind <> ''),
	slot    TEXT UNIQUE CHECK (slot <> ''),
	ref     TEXT UNIQUE CHECK (ref <> ''),
	body    TEXT NOT NULL
) STRICT;
CREATE TRIGGER rows_in_order BEFORE INSERT ON rows
WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM rows)
BEGIN SELECT RAISE(ABORT, 'a row must follow the last one without a gap'); END;
CREATE TRIGGER rows_never_change BEFORE UPDATE ON rows
BEGIN SELECT RAISE(ABORT, 'rows of the ledger are never changed'); END;
CREATE TRIGGER rows_never_go BEFORE DELETE ON rows
BEGIN SELECT RAISE(ABORT, 'rows of the ledger are never removed'); END;
CREATE TABLE retained_topics (topic TEXT PRIMARY KEY CHECK (topic <> '')) STRICT;
`

// In layout 2 rows of starts and acceptances may hold the accepted bounds of the configuration, those of acceptances a
// channel, and rows of alerts the length of a silence. The tables are the same; an older program, which refuses fields that it does not know, is told
// so at once and not at the first such row.
const schema2 = `SELECT number FROM ledger_schema`

// In layout 3 old rows may be exported, and stand as sums (Prune). The database itself refuses to let go of what is younger than
// 400 days, counted back from the newest row of a clock that was believed, or was not entered as pruned before (INV-12).
const schema3 = `
CREATE TABLE pruned (
	first  INTEGER NOT NULL CHECK (first > 0),
	last   INTEGER PRIMARY KEY CHECK (last >= first),
	gone   INTEGER NOT NULL CHECK (gone > 0),
	sums   INTEGER NOT NULL CHECK (sums >= 0),
	since  TEXT NOT NULL,
	until  TEXT NOT NULL,
	file   TEXT NOT NULL CHECK (file <> ''),
	sha256 TEXT NOT NULL
) STRICT;
CREATE TRIGGER pruned_never_changes BEFORE UPDATE ON pruned
BEGIN SELECT RAISE(ABORT, 'what was pruned is never changed'); END;
CREATE TRIGGER pruned_never_goes BEFORE DELETE ON pruned
BEGIN SELECT RAISE(ABORT, 'what was pruned is never forgotten'); END;
DROP TRIGGER rows_in_order;
CREATE TRIGGER rows_in_order BEFORE INSERT ON rows
WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM rows) AND NOT (
	NEW.seq > 0 AND NEW.seq <= (SELECT coalesce(max(last), 0) FROM pruned) AND NEW.kind IN ('run_past', 'probe')
	AND NOT EXISTS (SELECT 1 FROM rows WHERE seq = NEW.seq))
BEGIN SELECT RAISE(ABORT, 'a row must follow the last one without a gap'); END;
DROP TRIGGER rows_never_go;
CREATE TRIGGER rows_never_go BEFORE DELETE ON rows
WHEN NOT (OLD.seq <= (SELECT coalesce(max(last), 0) FROM pruned)
	AND OLD.at < strftime('%Y-%m-%dT%H:%M:%S', (SELECT at FROM rows WHERE trusted = 1 ORDER BY seq DESC LIMIT 1), '-400 days'))
BEGIN SELECT RAISE(ABORT, 'rows of the ledger are never removed'); END;
`

// In layout 4 a row without a run's id, a slot or a reference has no place in their indexes: each is a page that a transaction
// writes. The table is made anew, since a constraint of a column cannot be taken off.
const schema4 = `
CREATE TABLE rows_by_seq (
	seq     INTEGER PRIMARY KEY CHECK (seq > 0),
	id      TEXT CHECK (id <> ''),
	at      TEXT NOT NULL,
	elapsed INTEGER NOT NULL,
	trusted INTEGER NOT NULL CHECK (trusted IN (0, 1)),
	by      TEXT NOT NULL,
	kind    TEXT NOT NULL CHECK (kind <> ''),
	slot    TEXT CHECK (slot <> ''),
	ref     TEXT CHECK (ref <> ''),
	body    TEXT NOT NULL
) STRICT;
INSERT INTO rows_by_seq SELECT seq, id, at, elapsed, trusted, by, kind, slot, ref, body FROM rows ORDER BY seq;
DROP TABLE rows;
ALTER TABLE rows_by_seq RENAME TO rows;
CREATE UNIQUE INDEX rows_id ON rows (id) WHERE id IS NOT NULL;
CREATE UNIQUE INDEX rows_slot ON rows (slot) WHERE slot IS NOT NULL;
CREATE UNIQUE INDEX rows_ref ON rows (ref) WHERE ref IS NOT NULL;
CREATE TRIGGER rows_in_order BEFORE INSERT ON rows
WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM rows) AND NOT (
	NEW.seq > 0 AND NEW.seq <= (SELECT coalesce(max(last), 0) FROM pruned) AND NEW.kind IN ('run_past', 'probe')
	AND NOT EXISTS (SELECT 1 FROM rows WHERE seq = NEW.seq))
BEGIN SELECT RAISE(ABORT, 'a row must follow the last one without a gap'); END;
CREATE TRIGGER rows_never_change BEFORE UPDATE ON rows
BEGIN SELECT RAISE(ABORT, 'rows of the ledger are never changed'); END;
CREATE TRIGGER rows_never_go BEFORE DELETE ON rows
WHEN NOT (OLD.seq <= (SELECT coalesce(max(last), 0) FROM pruned)
	AND OLD.at < strftime('%Y-%m-%dT%H:%M:%S', (SELECT at FROM rows WHERE trusted = 1 ORDER BY seq DESC LIMIT 1), '-400 days'))
BEGIN SELECT RAISE(ABORT, 'rows of the ledger are never removed'); END;
`

// inspect looks at an existing file without changing it: is it a ledger, is it whole, and which schema has it?
// Schema 0 is an empty database, as a power cut during the very first start may leave it.
func inspect(path string, newest int) (schema int, err error) {
	if err := checkSize(path); err != nil {
		return 0, err
	}
	db, err := connect(path, "ro", readSettings)
	if err != nil {
		return 0, unreadable(path, err)
	}
	defer func() { _ = db.Close() }() // read only
	schema, err = readSchema(db)
	if err != nil {
		return 0, unreadable(path, err)
	}
	if schema > newest {
		return 0, fmt.Errorf("%s: %w (layout %d, this program knows up to %d): install that version again, or restore the copy it made", path, ErrNewer, schema, newest)
	}
	return schema, quickCheck(path, db)
}

// smallestPage is the least size of a SQLite file that holds anything. A smaller one that is not empty would be
// taken for an empty database, and written over.
const smallestPage = 512

// firstPage is the size of a database of which no more than the first page was written.
const firstPage = 4096

// halfBegun says whether a database cannot be read before a journal beside it has been played back. Of a ledger there
// is such a journal in one moment only: while its very first start makes the first page of an empty file.
func halfBegun(err error) bool {
	_, extended := resultCode(err)
	return extended == sqlite3.SQLITE_READONLY_ROLLBACK
}

// undoFirstPage lets SQLite play the journal back, after a power cut in the very first start.
func undoFirstPage(path string) error {
	db, err := connect(path, "rw", settings)
	if err != nil {
		return unreadable(path, err)
	}
	var tables int
	err = db.QueryRowContext(context.Background(), "SELECT count(*) FROM sqlite_schema").Scan(&tables)
	if err := errors.Join(err, db.Close()); err != nil {
		return unreadable(path, err)
	}
	return nil
}

func checkSize(path string) error {
	info, err := os.Stat(path)
	if err != nil || info.Size() == 0 || info.Size() >= smallestPage || tornPage(path) {
		return err
	}
	return fmt.Errorf("%s: %w: %d bytes are too few", path, ErrForeign, info.Size())
}

// tornPage says whether a short file is the beginning of a first page, which the journal beside it will undo.
func tornPage(path string) bool {
	const magic = "SQLite format 3\x00" // SQLite's description of its file format, 1.3
	content, err := os.ReadFile(path)
	journal, noJournal := os.Stat(path + "-journal")
	return err == nil && noJournal == nil && journal.Size() > 0 && strings.HasPrefix(magic, string(content[:min(len(content), len(magic))]))
}

func readSchema(db *sql.DB) (int, error) {
	ctx := context.Background()
	var app, tables, schema int
	if err := db.QueryRowContext(ctx, "PRAGMA application_id").Scan(&app); err != nil {
		return 0, err
	}
	if err := db.QueryRowContext(ctx, "SELECT count(*) FROM sqlite_schema").Scan(&tables); err != nil {
		return 0, err
	}
	if app == 0 && tables == 0 {
		return 0, nil
	}
	if app != applicationID {
		return 0, fmt.Errorf("%w but some other program's database", ErrForeign)
	}
	if err := db.QueryRowContext(ctx, "SELECT number FROM ledger_schema").Scan(&schema); err != nil {
		return 0, err
	}
	return schema, nil
}

// quickCheck lets SQLite verify the file's structure. It reads the whole file.
func quickCheck(path string, db *sql.DB) error {
	var found string
	if err := db.QueryRowContext(context.Background(), "PRAGMA quick_check(1)").Scan(&found); err != nil {
		return unreadable(path, err)
	}
	if found != "ok" {
		return damaged(path, found)
	}
	return nil
}

// migrate brings the schema forward in one transaction, after a copy of the file as it was.
func migrate(path string, db *sql.DB, from int, steps []string) error {
	if from == len(steps) {
		return nil
	}
	if from > 0 {
		if err := copyInto(db, fmt.Sprintf("%s.schema%d.bak", path, from)); err != nil {
			return fmt.Errorf("copying the ledger before its update: %w", err)
		}
	}
	ctx := context.Background()
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	if err := applySteps(ctx, tx, from, steps); err != nil {
		return errors.Join(fmt.Errorf("updating the ledger from layout %d to %d: %w", from, len(steps), err), tx.Rollback())
	}
	return tx.Commit()
}

func applySteps(ctx context.Context, tx *sql.Tx, from int, steps []string) error {
	for _, step := range steps[from:] {
		if _, err := tx.ExecContext(ctx, step); err != nil {
			return err
		}
	}
	if _, err := tx.ExecContext(ctx, fmt.Sprintf("PRAGMA application_id = %d", applicationID)); err != nil {
		return err
	}
	_, err := tx.ExecContext(ctx, "UPDATE ledger_schema SET number = ?", len(steps))
	return err
}

// copyInto writes a consistent copy of the database, with what its -wal file holds. The copy appears under its
// name only when it is whole and synced.
func copyInto(db *sql.DB, target string) error {
	part := target + ".part"
	if err := os.Remove(part); err != nil && !os.IsNotExist(err) {
		return err
	}
	if err := createPrivate(part); err != nil {
		return err
	}
	if _, err := db.ExecContext(context.Background(), "VACUUM INTO ?", part); err != nil {
		return errors.Join(err, os.Remove(part))
	}
	if err := syncFile(part); err != nil {
		return err
	}
	if err := os.Rename(part, target); err != nil {
		return err
	}
	return syncDir(filepath.Dir(target))
}

// createPrivate makes an empty file that only its owner may read. SQLite gives -wal and -shm the same mode.
func createPrivate(path string) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	return f.Close()
}

func syncFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	err = f.Sync()
	return errors.Join(err, f.Close())
}
