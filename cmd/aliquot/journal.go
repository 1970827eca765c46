package main

import (
	"bytes"
	"context"
	"io"
	"log/slog"
	"sync"
)

// journalHandler writes lines for a service manager's journal: the priority in front as `<3>`, no time.
type journalHandler struct {
	inner slog.Handler
	buf   *bytes.Buffer
	mu    *sync.Mutex
	w     io.Writer
}

func newJournalHandler(w io.Writer, o *slog.HandlerOptions) *journalHandler {
	buf := &bytes.Buffer{}
	withoutTime := *o
	withoutTime.ReplaceAttr = func(groups []string, a slog.Attr) slog.Attr {
		if len(groups) == 0 && (a.Key == slog.TimeKey || a.Key == slog.LevelKey) {
			return slog.Attr{}
		}
		return a
	}
	return &journalHandler{inner: slog.NewTextHandler(buf, &withoutTime), buf: buf, mu: &sync.Mutex{}, w: w}
}

// priority is the syslog number of a level.
func priority(l slog.Level) string {
	switch {
	case l >= slog.LevelError:
		return "<3>"
	case l >= slog.LevelWarn:
		return "<4>"
	case l >= slog.LevelInfo:
		return "<6>"
	}
	return "<7>"
}

func (h *journalHandler) Enabled(ctx context.Context, l slog.Level) bool {
	return h.inner.Enabled(ctx, l)
}

func (h *journalHandler) Handle(ctx context.Context, r slog.Record) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.buf.Reset()
	h.buf.WriteString(priority(r.Level))
	if err := h.inner.Handle(ctx, r); err != nil {
		return err
	}
	_, err := h.w.Write(h.buf.Bytes())
	return err
}

func (h *journalHandler) with(inner slog.Handler) slog.Handler {
	next := *h
	next.inner = inner
	return &next
}

func (h *journalHandler) WithAttrs(a []slog.Attr) slog.Handler { return h.with(h.inner.WithAttrs(a)) }
func (h *journalHandler) WithGroup(n string) slog.Handler      { return h.with(h.inner.WithGroup(n)) }
