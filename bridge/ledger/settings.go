package ledger

import (
	"context"
	"database/sql"
	"fmt"
	"net/url"
	"strconv"
	"strings"
)

// oldestEngine is the first SQLite release that this package relies on (H-06).
var oldestEngine = [3]int{3, 51, 3}

const busyMilliseconds = 5000

// setting is one PRAGMA as it goes into the connection string and as it must read back.
type setting struct{ name, ask, reads string }

// settings of every connection. They stand in the connection string, so that a connection which database/sql
// opens by itself has them as well.
var settings = []setting{
	{"busy_timeout", strconv.Itoa(busyMilliseconds), strconv.Itoa(busyMilliseconds)},
	{"foreign_keys", "1", "1"},
	{"synchronous", "FULL", "2"},
}

var writeSettings = append([]setting{{"journal_mode", "wal", "wal"}}, settings...)

var readSettings = append([]setting{{"query_only", "1", "1"}}, settings...)

// dsn gives the connection string. mode is SQLite's: rw or ro; neither creates a file.
func dsn(path, mode string, list []setting) string {
	q := url.Values{"mode": {mode}, "_txlock": {"immediate"}}
	for _, s := range list {
		q.Add("_pragma", s.name+"("+s.ask+")")
	}
	return (&url.URL{Scheme: "file", Path: path, RawQuery: q.Encode()}).String()
}

// connect opens a pool of one connection and reads its settings back.
func connect(path, mode string, list []setting) (*sql.DB, error) {
	db, err := sql.Open("sqlite", dsn(path, mode, list))
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	if err := checkSettings(db, list); err != nil {
		_ = db.Close() // nothing was written
		return nil, err
	}
	return db, nil
}

func checkSettings(db *sql.DB, list []setting) error {
	for _, s := range list {
		var got string
		if err := db.QueryRowContext(context.Background(), "PRAGMA "+s.name).Scan(&got); err != nil {
			return fmt.Errorf("reading %s back: %w", s.name, err)
		}
		if !strings.EqualFold(got, s.reads) {
			return fmt.Errorf("the store's %s is %q, must be %q: the file system may not support it, use a local disk", s.name, got, s.reads)
		}
	}
	var version string
	if err := db.QueryRowContext(context.Background(), "SELECT sqlite_version()").Scan(&version); err != nil {
		return err
	}
	return checkEngine(version)
}

func checkEngine(version string) error {
	var v [3]int
	if _, err := fmt.Sscanf(version, "%d.%d.%d", &v[0], &v[1], &v[2]); err != nil {
		return fmt.Errorf("the store's engine has an odd version %q", version)
	}
	for i, least := range oldestEngine {
		if v[i] > least {
			return nil
		}
		if v[i] < least {
			return fmt.Errorf("the store's engine is %s, must be %d.%d.%d or newer", version, oldestEngine[0], oldestEngine[1], oldestEngine[2])
		}
	}
	return nil
}
