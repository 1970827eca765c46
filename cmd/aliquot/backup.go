package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"aliquot/bridge/ledger"
)

// ledgerCopy is what the commands about copies of the ledger say, as JSON too.
type ledgerCopy struct {
	Site   string     `json:"site"`
	File   string     `json:"file"`
	Bytes  int64      `json:"bytes"`
	Rows   int64      `json:"rows"`
	Newest *time.Time `json:"newest,omitempty"`
	Kept   string     `json:"kept,omitempty"` // where the ledger is that a restored copy replaced
}

func newLedgerCopy(site, file string, c ledger.Contents) ledgerCopy {
	out := ledgerCopy{Site: site, File: file, Bytes: c.Bytes, Rows: c.Rows}
	if !c.Newest.IsZero() {
		at := c.Newest.UTC()
		out.Newest = &at
	}
	return out
}

// words tell what a copy holds.
func (c ledgerCopy) words(zone *time.Location) string {
	text := fmt.Sprintf("%s, %.1f MB", count(int(c.Rows), "row"), float64(c.Bytes)/1e6)
	if c.Newest != nil {
		text += ", the newest of " + c.Newest.In(zone).Format("2006-01-02 15:04:05 MST")
	}
	return text
}

func (c ledgerCopy) tell(w io.Writer, format, text string) error {
	if format == "json" {
		return json.NewEncoder(w).Encode(c)
	}
	_, err := fmt.Fprintln(w, text)
	return err
}

type backupCommand struct {
	File    string `arg:"" help:"Where to, on another disk or another machine's."`
	Replace bool   `help:"Put it in the place of an earlier copy of that name, once it is whole."`
	Format  string `help:"text or json." enum:"text,json" default:"text"`
}

// Run copies the ledger beside a running service and reads the copy back.
func (b backupCommand) Run(std stream, g *Globals) error {
	l, err := load(g.Config)
	if err != nil {
		return err
	}
	if _, err := os.Lstat(b.File); err == nil && !b.Replace {
		return fail(exitFailed, "%s is there already: give another name, or --replace", b.File)
	}
	book, err := ledger.Open(ledger.Options{Path: l.Ledger.Path, ReadOnly: true})
	if err != nil {
		return fail(exitLedger, "%w", err)
	}
	if err := errors.Join(book.Backup(b.File), book.Close()); err != nil {
		return fail(exitFailed, "%w", err)
	}
	c, err := ledger.Look(b.File)
	if err != nil {
		return fail(exitFailed, "the copy cannot be read back: %w", err)
	}
	out := newLedgerCopy(l.Name, b.File, c)
	return out.tell(std.out, b.Format, fmt.Sprintf("%s: copied to %s and read back, %s", l.Name, b.File, out.words(l.Zone)))
}

type restoreCommand struct {
	File   string `arg:"" help:"A copy that aliquot backup made." type:"existingfile"`
	Format string `help:"text or json." enum:"text,json" default:"text"`
}

// Run puts a copy in the ledger's place. The service must not run; what it does next is decided by the machine (H-40).
func (r restoreCommand) Run(std stream, g *Globals) error {
	l, err := load(g.Config)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(l.Ledger.Path), 0o750); err != nil {
		return fail(exitLedger, "the ledger's folder: %w", err)
	}
	done, err := ledger.Restore(r.File, l.Ledger.Path, time.Now())
	if err != nil {
		return fail(exitLedger, "%w", err)
	}
	out := newLedgerCopy(l.Name, r.File, done.Contents)
	out.Kept = done.Kept
	text := fmt.Sprintf("%s: %s is the ledger now, %s.\n", l.Name, r.File, out.words(l.Zone))
	if done.Kept != "" {
		text += "What stood there is kept: " + done.Kept + "\n"
	}
	return out.tell(std.out, r.Format, text+
		"The copy does not know what was dosed since it was made. Start the service: it doses nothing until\n"+
		"you say `aliquot accept ledger`. Wait 24 h before, so that no cap is given twice; then test the water.")
}
