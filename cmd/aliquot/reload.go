package main

import (
	"context"
	"errors"
	"log/slog"
	"os"
	"os/signal"
	"slices"
	"syscall"
	"time"

	"aliquot/bridge"
	"aliquot/bridge/machine"
)

// reloads tells when a service is asked to read its configuration anew: by SIGHUP, unless a terminal is where it runs.
func reloads(ctx context.Context, std stream) <-chan os.Signal {
	if converses(std) {
		return nil
	}
	c := make(chan os.Signal, 1)
	signal.Notify(c, syscall.SIGHUP)
	context.AfterFunc(ctx, func() { signal.Stop(c) })
	return c
}

// keepRunning runs a site until the context ends. At a reload it begins anew with what the file says then: everything
// that a start checks is checked again, and every pump is told to stop between the two.
func keepRunning(ctx context.Context, o serviceOptions, l loaded, reload <-chan os.Signal) error {
	var before *loaded // what ran before l; nil: nothing did
	for {
		next, err := runUntilChanged(ctx, o, l, reload)
		if _, never := errors.AsType[cannotStart](err); never && before != nil && ctx.Err() == nil {
			o.logger.Error("the service cannot start with the changed configuration; the one before it stays in use", "error", err)
			l, before = *before, nil
			continue
		}
		if err != nil || next == nil {
			return err
		}
		ran := l
		before, l = &ran, *next
	}
}

// cannotStart is the error of a service that never ran.
type cannotStart struct{ error }

func (c cannotStart) Unwrap() error { return c.error }

// runUntilChanged runs a site until the context ends, or until a changed configuration was read: that one it gives.
func runUntilChanged(ctx context.Context, o serviceOptions, l loaded, reload <-chan os.Signal) (*loaded, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	o.site = l
	sayConfiguration(o.logger, l)
	s, err := startService(ctx, o)
	if err != nil {
		return nil, cannotStart{err}
	}
	o.logger.Info("the page is at", "address", "http://"+s.page.Addr())
	settled := time.NewTimer(settles)
	defer settled.Stop()
	for {
		select {
		case <-settled.C:
			if err := giveBack(); err != nil {
				o.logger.Debug("memory of the start was not given back", "error", err)
			}
			continue
		case err := <-s.ended:
			if err != nil {
				err = fail(exitFailed, "%w", err)
			}
			return nil, err
		case <-reload:
		}
		next := reread(o.logger, l)
		if next == nil {
			continue
		}
		awaitQuiet(ctx, s.bridge)
		cancel()
		return next, <-s.ended
	}
}

func sayConfiguration(logger *slog.Logger, l loaded) {
	for _, w := range l.warnings {
		logger.Warn(w.String())
	}
	for _, n := range l.NotYet {
		logger.Info("a key has no effect yet", "key", n.Path, "why", n.Why)
	}
}

// reread reads the configuration anew and says in what it differs; nil if it does not, or does not pass.
func reread(logger *slog.Logger, l loaded) *loaded {
	next, err := load(l.File)
	if err != nil {
		logger.Error("the configuration is not accepted; the one before it stays in use", "error", err)
		return nil
	}
	differences := next.Differences(l.Site)
	if len(differences) == 0 {
		logger.Info("the configuration is read again: nothing has changed", "file", l.File)
		return nil
	}
	for _, d := range differences {
		logger.Info("configuration", "change", d.String(), "line", d.At.Line)
	}
	logger.Info("the service begins anew with the changed configuration", "changes", len(differences))
	return &next
}

// quietWait is how long a reload waits for runs to end; what still runs then is stopped, and counts in full.
const quietWait = 5 * time.Minute

// running says whether any channel has a run under way.
func running(v machine.SiteView) bool {
	return slices.ContainsFunc(v.Channels, func(c machine.ChannelView) bool { return c.Running })
}

// awaitQuiet waits for a moment in which nothing runs.
func awaitQuiet(ctx context.Context, b *bridge.Bridge) {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for most := time.After(quietWait); ; {
		if v, ok := b.View(); !ok || !running(v) {
			return
		}
		select {
		case <-ctx.Done():
			return
		case <-most:
			return
		case <-tick.C:
		}
	}
}
