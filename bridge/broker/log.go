package broker

import (
	"context"
	"log/slog"
	"sync"
	"time"
)

// Log lines of the library are limited to logBurst in logWindow, so that a bad client cannot fill the log.
const (
	logBurst  = 20
	logWindow = time.Minute
)

// quietLog passes warnings and errors of the broker library on. It keeps only attributes that are known to
// be harmless: the library also logs whole packets, and a CONNECT holds a password.
type quietLog struct {
	to    slog.Handler
	limit *logLimit
}

var harmless = map[string]bool{"error": true, "client": true, "listener": true, "remote": true}

func newQuietLog(to slog.Handler) slog.Handler {
	return quietLog{to: to, limit: &logLimit{}}
}

func (q quietLog) Enabled(ctx context.Context, level slog.Level) bool {
	return level >= slog.LevelWarn && q.to.Enabled(ctx, level)
}

func (q quietLog) Handle(ctx context.Context, r slog.Record) error {
	pass, suppressed := q.limit.take(r.Time)
	if !pass {
		return nil
	}
	message := r.Message
	if message == "" {
		message = "connection ended"
	}
	kept := slog.NewRecord(r.Time, r.Level, "broker: "+message, r.PC)
	r.Attrs(func(a slog.Attr) bool {
		if harmless[a.Key] {
			kept.AddAttrs(a)
		}
		return true
	})
	if suppressed > 0 {
		kept.AddAttrs(slog.Int("lines_left_out", suppressed))
	}
	return q.to.Handle(ctx, kept)
}

func (q quietLog) WithAttrs(attrs []slog.Attr) slog.Handler {
	var kept []slog.Attr
	for _, a := range attrs {
		if harmless[a.Key] {
			kept = append(kept, a)
		}
	}
	return quietLog{to: q.to.WithAttrs(kept), limit: q.limit}
}

// WithGroup drops the group: nothing that the library logs needs one.
func (q quietLog) WithGroup(string) slog.Handler { return q }

// logLimit counts lines in windows.
type logLimit struct {
	mu         sync.Mutex
	began      time.Time
	passed     int
	suppressed int
}

// take says whether a line at now may pass, and how many were left out before it.
func (l *logLimit) take(now time.Time) (pass bool, suppressed int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.began.IsZero() || now.Sub(l.began) >= logWindow || now.Before(l.began) {
		l.began, l.passed = now, 0
	}
	if l.passed >= logBurst {
		l.suppressed++
		return false, 0
	}
	l.passed++
	suppressed, l.suppressed = l.suppressed, 0
	return true, suppressed
}
