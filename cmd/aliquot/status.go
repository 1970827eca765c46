package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/screen"
)

// viewing holds the flags of the commands that show a site.
type viewing struct {
	Format string `help:"text or json." enum:"text,json" default:"text"`
	Width  int    `help:"Columns, 60 to 160; left out, those of the terminal, else 80." placeholder:"80"`
}

func (v viewing) width(std stream) int {
	if v.Width > 0 {
		return v.Width
	}
	if f, ok := std.out.(*os.File); ok {
		if n, _ := terminalSize(f); n > 0 {
			return n
		}
	}
	return screen.Ordinary
}

// statusJSON is the answer of status, and a line of watch, for machines.
type statusJSON struct {
	At      time.Time        `json:"at"`
	Service screen.Service   `json:"service"`   // online, offline, or empty: never heard
	Live    bool             `json:"live"`      // what follows can be taken for the present
	Sign    *time.Time       `json:"last_sign"` // of life
	Broker  string           `json:"broker"`    // why it is not there, or empty
	Site    machine.SiteView `json:"site"`
}

func asJSON(s screen.Seen) statusJSON {
	out := statusJSON{At: s.At.UTC(), Service: s.Service, Live: s.Live(), Broker: s.Link, Site: s.View}
	if !s.Sign.IsZero() {
		sign := s.Sign.UTC()
		out.Sign = &sign
	}
	return out
}

type statusCommand struct {
	viewing
}

// Run shows the site once. The exit code says whether what it shows is the present.
func (c statusCommand) Run(ctx context.Context, std stream, g *Globals) error {
	l, w, err := lookAt(ctx, g)
	if err != nil {
		return err
	}
	defer w.stop()
	if err := w.gather(ctx); err != nil {
		return err
	}
	s := w.seen(time.Now())
	if c.Format == "json" {
		err = writeJSON(std.out, asJSON(s))
	} else {
		_, err = io.WriteString(std.out, screen.Site(s, c.width(std), l.Zone))
	}
	if err == nil && !s.Live() {
		return failure{exitNoReply, errors.New("")} // the page says why
	}
	return err
}

type watchCommand struct {
	viewing
}

// redrawEvery bounds how often a page is drawn anew; freshEvery is how often it is for the sake of its ages alone.
const (
	redrawEvery = 500 * time.Millisecond
	freshEvery  = 10 * time.Second
)

// Run shows the site until it is interrupted: on a terminal the page, drawn anew when something changes; in a pipe one
// line for each change.
func (c watchCommand) Run(ctx context.Context, std stream, g *Globals) error {
	l, w, err := lookAt(ctx, g)
	if err != nil {
		return err
	}
	defer w.stop()
	show := c.painter(std, l)
	fresh := time.NewTicker(freshEvery)
	defer fresh.Stop()
	for ctx.Err() == nil {
		if w.link == "" {
			if err := w.gather(ctx); err != nil {
				break
			}
		}
		if err := show(w.seen(time.Now())); err != nil {
			return fail(exitFailed, "writing: %w", err)
		}
		if err := w.follow(ctx, fresh.C, show); err != nil {
			return fail(exitFailed, "writing: %w", err)
		}
	}
	return nil // to be interrupted is how this ends
}

// follow shows what changes, until the connection goes or comes: then what is retained has to be heard anew.
func (w *viewer) follow(ctx context.Context, fresh <-chan time.Time, show func(screen.Seen) error) error {
	var due <-chan time.Time
	for {
		select {
		case n := <-w.news:
			if w.take(n) && due == nil {
				due = time.After(redrawEvery)
			}
			if n.up {
				return nil
			}
		case <-due:
			due = nil
			if err := show(w.seen(time.Now())); err != nil {
				return err
			}
		case <-fresh:
			if err := show(w.seen(time.Now())); err != nil {
				return err
			}
		case <-ctx.Done():
			return nil
		}
	}
}

// painter gives what is done with each look at the site.
func (c watchCommand) painter(std stream, l loaded) func(screen.Seen) error {
	file, _ := std.out.(*os.File)
	switch {
	case c.Format == "json":
		return jsonLines(std.out)
	case file != nil && isTerminal(file):
		return func(s screen.Seen) error {
			_, lines := terminalSize(file)
			// Home, the page, and what stands below it wiped: no flicker, and no colour.
			_, err := io.WriteString(file, "\x1b[H\x1b[2J"+screen.Fit(screen.Site(s, c.width(std), l.Zone), lines-2)+"Ctrl-C ends this; the service goes on.\n")
			return err
		}
	}
	return changeLog(std.out, l.Zone)
}

// jsonLines writes a line whenever something but the time is different.
func jsonLines(w io.Writer) func(screen.Seen) error {
	last := ""
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	return func(s screen.Seen) error {
		line := asJSON(s)
		line.At, line.Sign, line.Site.At = time.Time{}, nil, time.Time{}
		now, err := json.Marshal(line)
		if err != nil || string(now) == last {
			return err
		}
		last = string(now)
		return e.Encode(asJSON(s))
	}
}

// changeLog writes one line for each thing that became different.
func changeLog(w io.Writer, zone *time.Location) func(screen.Seen) error {
	var last *screen.Seen
	return func(s screen.Seen) error {
		stamp := s.At.In(zone).Format("2006-01-02 15:04:05")
		lines := []string{fmt.Sprintf("watching %s: the service is %s; %s, %s", s.View.Site, orNever(s.Service), count(len(s.View.Channels), "channel"), count(len(s.View.Alerts), "alert"))}
		if last != nil {
			lines = screen.Changes(*last, s, zone)
		}
		last = &s
		for _, text := range lines {
			if _, err := fmt.Fprintf(w, "%s  %s\n", stamp, text); err != nil {
				return err
			}
		}
		return nil
	}
}

func orNever(s screen.Service) string {
	if s == screen.Unheard {
		return "not heard yet"
	}
	return string(s)
}
