package ledger

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"aliquot/bridge/machine"
)

// KeepLeast is how long every row stays as it was written, counted back from the newest one (INV-12).
const KeepLeast = 400 * 24 * time.Hour

const (
	// pieceRows is how many rows one pruning looks at: a start must not take minutes, nor half of a small computer's memory.
	pieceRows = 20_000
	// pruneLeast is how many rows must go for a pruning to be worth a file.
	pruneLeast = 4000
)

// Pruned is one pruning: rows that were exported, and that stand in the ledger as sums.
type Pruned struct {
	First, Last int64 // the rows that were looked at
	Gone, Sums  int64 // rows that went, and rows that came instead
	From, Until time.Time
	File        string // beside the ledger
	SHA256      string // of that file
}

// Prune shortens the oldest part of the ledger that no pruning has looked at yet, if what it holds is older than keep: rows
// that machine.Condenser can sum are written to a file beside the ledger, synced, read back and compared; only then do their
// sums take their place, in one transaction. zone says where a day ends. false: there is not enough to do, or the ledger is in doubt. After an error in
// front of the transaction the ledger is as it was and in working order; after one in it, it has failed.
func (l *Ledger) Prune(keep time.Duration, zone *time.Location) (Pruned, bool, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	p := pruning{l: l, keep: keep, zone: zone, rows: pieceRows, least: pruneLeast}
	done, err := p.run(p.steps())
	if err != nil {
		return Pruned{}, false, fmt.Errorf("pruning the ledger: %w", err)
	}
	return p.Pruned, done, nil
}

// pruning is a Prune under way.
type pruning struct {
	Pruned
	l     *Ledger
	keep  time.Duration
	zone  *time.Location
	rows  int
	least int

	gone []storedRow
	sums []machine.Row
	idle bool // there is nothing to do
}

// storedRow is a row as it stands in the database, and as it is exported, one a line.
type storedRow struct {
	Seq     int64           `json:"seq"`
	ID      string          `json:"id,omitempty"`
	At      string          `json:"at"`
	Elapsed int64           `json:"elapsed_ms"`
	Trusted bool            `json:"trusted"`
	By      string          `json:"by,omitempty"`
	Kind    string          `json:"kind"`
	Body    json.RawMessage `json:"body"`
}

// steps are what a pruning does, in the order in which each may be the last before a power cut.
func (p *pruning) steps() []func() error {
	return []func() error{p.check, p.choose, p.room, p.export, p.compare, p.publish, p.replace, p.fold}
}

func (p *pruning) run(steps []func() error) (done bool, err error) {
	for _, step := range steps {
		if err := step(); err != nil {
			return false, errors.Join(err, p.tidy())
		}
		if p.idle {
			return false, nil
		}
	}
	return true, nil
}

func (p *pruning) part() string { return filepath.Join(filepath.Dir(p.l.path), p.File+".part") }

func (p *pruning) tidy() error {
	if p.File == "" {
		return nil
	}
	if err := os.Remove(p.part()); err != nil && !os.IsNotExist(err) {
		return err
	}
	return nil
}

// check leaves a ledger alone that may not be the newest.
func (p *pruning) check() error {
	if err := p.l.checkWritable(); err != nil {
		return err
	}
	if p.keep < KeepLeast {
		return fmt.Errorf("rows of the last %d days are never touched, and %d were to be kept", int(KeepLeast.Hours()/24), int(p.keep.Hours()/24))
	}
	p.idle = !p.l.mayMark
	return nil
}

// choose finds what may go.
func (p *pruning) choose() error {
	var before sql.NullInt64
	if err := p.l.read.QueryRowContext(context.Background(), "SELECT max(last) FROM pruned").Scan(&before); err != nil {
		return err
	}
	p.First = before.Int64 + 1
	newest, err := p.newest()
	if p.idle = newest.IsZero(); err != nil || p.idle {
		return err
	}
	d := machine.NewCondenser(p.zone)
	stop, taken := errors.New("seen enough"), 0
	err = p.l.each(p.First, func(r machine.Row) error {
		switch {
		case taken < p.rows && (p.Last == 0 || r.Seq == p.Last+1) && (!r.Trusted || newest.Sub(r.At) >= p.keep):
			d.Add(r)
			taken++
			p.Last = r.Seq
			p.note(r)
			return nil
		case p.Last == 0 || r.Trusted && r.At.Sub(p.Until) > machine.CondenseAhead:
			return stop
		}
		d.Look(r)
		return nil
	})
	if err != nil && !errors.Is(err, stop) {
		return err
	}
	c := d.Done()
	if p.idle = len(c.Gone) < p.least; p.idle {
		return nil
	}
	p.sums, p.Sums = c.Sums, int64(len(c.Sums))
	p.File = fmt.Sprintf("%s.rows-%d-%d.jsonl.gz", filepath.Base(p.l.path), p.First, p.Last)
	return p.fetch(c.Gone)
}

// newest is the date of the newest row that bears one which was believed; zero if there is none.
func (p *pruning) newest() (time.Time, error) {
	var at string
	err := p.l.read.QueryRowContext(context.Background(), "SELECT at FROM rows WHERE trusted = 1 ORDER BY seq DESC LIMIT 1").Scan(&at)
	if errors.Is(err, sql.ErrNoRows) {
		return time.Time{}, nil
	}
	if err != nil {
		return time.Time{}, err
	}
	return time.Parse(time.RFC3339Nano, at)
}

func (p *pruning) note(r machine.Row) {
	if !r.Trusted {
		return
	}
	if p.From.IsZero() {
		p.From = r.At
	}
	p.Until = r.At
}

// fetch reads the rows that go, as they are stored.
func (p *pruning) fetch(seqs []int64) error {
	going := make(map[int64]bool, len(seqs))
	for _, seq := range seqs {
		going[seq] = true
	}
	list, err := p.l.read.QueryContext(context.Background(), selectRows+"WHERE seq BETWEEN ? AND ? ORDER BY seq", p.First, p.Last)
	if err != nil {
		return err
	}
	defer func() { _ = list.Close() }() // list.Err below has every reading error
	for list.Next() {
		var r storedRow
		var id sql.NullString
		var body string
		if err := list.Scan(&r.Seq, &id, &r.At, &r.Elapsed, &r.Trusted, &r.By, &r.Kind, &body); err != nil {
			return err
		}
		if going[r.Seq] {
			r.ID, r.Body = id.String, json.RawMessage(body)
			p.gone = append(p.gone, r)
		}
	}
	if p.Gone = int64(len(p.gone)); p.Gone != int64(len(seqs)) {
		return fmt.Errorf("%d rows were read where %d are to go", p.Gone, len(seqs))
	}
	return list.Err()
}

// room wants space for the file and for the database's log besides what is always left free.
func (p *pruning) room() error {
	size := int64(0)
	for _, r := range p.gone {
		size += int64(len(r.Body)) + 500
	}
	if err := p.l.files.check(); err != nil {
		return err
	}
	return checkSpace(p.l.path, p.l.minFree+4*size)
}

// export writes the rows that go.
func (p *pruning) export() (err error) {
	f, err := os.OpenFile(p.part(), os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	sum := sha256.New()
	zip := gzip.NewWriter(io.MultiWriter(f, sum))
	lines := json.NewEncoder(zip)
	lines.SetEscapeHTML(false)
	for _, r := range p.gone {
		if err := lines.Encode(r); err != nil {
			return err
		}
	}
	if err := zip.Close(); err != nil {
		return err
	}
	p.SHA256 = hex.EncodeToString(sum.Sum(nil))
	return f.Sync()
}

// compare reads the file back: what it does not hold must not go.
func (p *pruning) compare() error {
	sum, err := p.reads(p.part())
	if err == nil && sum != p.SHA256 {
		err = errors.New("its bytes are others")
	}
	if err != nil {
		return fmt.Errorf("the exported file does not read back: %w; nothing was removed", err)
	}
	return nil
}

// reads says whether a file holds what goes, and gives its checksum.
func (p *pruning) reads(path string) (sha string, err error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer func() { _ = f.Close() }() // read only
	sum := sha256.New()
	all := io.TeeReader(f, sum)
	if err := p.compareLines(all); err != nil {
		return "", err
	}
	_, err = io.Copy(io.Discard, all)
	return hex.EncodeToString(sum.Sum(nil)), err
}

func (p *pruning) compareLines(from io.Reader) error {
	zip, err := gzip.NewReader(bufio.NewReader(from))
	if err != nil {
		return err
	}
	lines := json.NewDecoder(zip)
	for _, want := range p.gone {
		var got storedRow
		if err := lines.Decode(&got); err != nil {
			return fmt.Errorf("row %d: %w", want.Seq, err)
		}
		if !got.is(want) {
			return fmt.Errorf("row %d reads otherwise", want.Seq)
		}
	}
	if lines.More() {
		return errors.New("there is more behind the last row")
	}
	_, err = io.Copy(io.Discard, zip) // its checksum stands at the end
	return err
}

func (r storedRow) is(o storedRow) bool {
	return r.Seq == o.Seq && r.ID == o.ID && r.At == o.At && r.Elapsed == o.Elapsed && r.Trusted == o.Trusted && r.By == o.By && r.Kind == o.Kind && bytes.Equal(r.Body, o.Body)
}

// publish gives the file its name. One of an earlier attempt holds the same rows; one that does not is never overwritten.
func (p *pruning) publish() (err error) {
	path := filepath.Join(filepath.Dir(p.l.path), p.File)
	if _, err := os.Lstat(path); err == nil {
		if p.SHA256, err = p.reads(path); err != nil {
			return fmt.Errorf("%s is there already and holds other rows (%w): move it elsewhere", path, err)
		}
		return p.tidy()
	}
	if err := os.Rename(p.part(), path); err != nil {
		return err
	}
	return syncDir(filepath.Dir(path))
}

// replace puts the sums in the rows' place.
func (p *pruning) replace() error {
	err := inTransaction(p.l.write, func(tx *sql.Tx) error { return p.exchange(context.Background(), tx) })
	if err != nil {
		return p.l.fail(err)
	}
	return nil
}

func (p *pruning) exchange(ctx context.Context, tx *sql.Tx) error {
	if _, err := tx.ExecContext(ctx, "INSERT INTO pruned (first, last, gone, sums, since, until, file, sha256) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
		p.First, p.Last, p.Gone, p.Sums, p.From.UTC().Format(time.RFC3339Nano), p.Until.UTC().Format(time.RFC3339Nano), p.File, p.SHA256); err != nil {
		return err
	}
	remove, err := tx.PrepareContext(ctx, "DELETE FROM rows WHERE seq = ?")
	if err != nil {
		return err
	}
	for _, r := range p.gone {
		if _, err := remove.ExecContext(ctx, r.Seq); err != nil {
			return errors.Join(fmt.Errorf("row %d: %w", r.Seq, err), remove.Close())
		}
	}
	if err := remove.Close(); err != nil {
		return err
	}
	insert, err := tx.PrepareContext(ctx, insertRow)
	if err != nil {
		return err
	}
	for _, r := range p.sums {
		if err := insertOne(ctx, insert, r); err != nil {
			return errors.Join(err, insert.Close())
		}
	}
	return insert.Close()
}

// fold moves the database's log into it: it is as large as what went. A reader that stands in the way is no failure.
func (p *pruning) fold() error {
	_, _ = p.l.write.ExecContext(context.Background(), "PRAGMA wal_checkpoint(PASSIVE)")
	return nil
}

// Prunings lists what was pruned, oldest first.
func (l *Ledger) Prunings() ([]Pruned, error) {
	l.mu.Lock()
	closed := l.closed
	l.mu.Unlock()
	if closed {
		return nil, ErrClosed
	}
	list, err := l.read.QueryContext(context.Background(), "SELECT first, last, gone, sums, since, until, file, sha256 FROM pruned ORDER BY last")
	if err != nil {
		return nil, fmt.Errorf("reading what was pruned: %w", err)
	}
	defer func() { _ = list.Close() }() // list.Err below has every reading error
	var out []Pruned
	for list.Next() {
		var p Pruned
		var since, until string
		if err := list.Scan(&p.First, &p.Last, &p.Gone, &p.Sums, &since, &until, &p.File, &p.SHA256); err != nil {
			return nil, err
		}
		p.From, _ = time.Parse(time.RFC3339Nano, since)
		p.Until, _ = time.Parse(time.RFC3339Nano, until)
		out = append(out, p)
	}
	return out, list.Err()
}
