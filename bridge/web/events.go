package web

import (
	"context"
	"fmt"
	"net/http"
	"sync/atomic"
	"time"
)

// events tells pages that are open when there is something new to show, as server-sent events. It never says what: a page
// then asks for itself again. Whoever does not take an event in time is dropped.
type events struct {
	latest func() (Snapshot, bool)
	ending context.Context // ends with the server
	open   atomic.Int32
}

const (
	maxWatchers = 24
	// watchEvery is how often it is looked whether something is new, eventGap the least time between two events.
	watchEvery = time.Second
	eventGap   = 5 * time.Second
	// aliveEvery keeps a silent connection from being taken for a dead one.
	aliveEvery = 20 * time.Second
)

func (e *events) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if e.open.Add(1) > maxWatchers {
		e.open.Add(-1)
		sendText(w, http.StatusServiceUnavailable, "%d pages are open already; this one does not follow by itself", maxWatchers)
		return
	}
	defer e.open.Add(-1)
	c := http.NewResponseController(w)
	say := func(text string) bool {
		if c.SetWriteDeadline(time.Now().Add(writeTimeout)) != nil {
			return false
		}
		if _, err := fmt.Fprint(w, text); err != nil {
			return false
		}
		return c.Flush() == nil
	}
	w.Header().Set("Content-Type", "text/event-stream")
	if !say("retry: 5000\n\n") {
		return
	}
	tick := time.NewTicker(watchEvery)
	defer tick.Stop()
	var shown, said time.Time
	if s, ok := e.latest(); ok {
		shown = s.View.At
	}
	said = time.Now()
	for {
		select {
		case <-r.Context().Done():
			return
		case <-e.ending.Done():
			return
		case <-tick.C:
		}
		s, ok := e.latest()
		quiet := time.Since(said)
		text := ""
		switch {
		case ok && !s.View.At.Equal(shown) && quiet >= eventGap:
			shown, text = s.View.At, "event: changed\ndata: "+s.View.At.UTC().Format(time.RFC3339)+"\n\n"
		case quiet >= aliveEvery:
			text = ": still here\n\n"
		default:
			continue
		}
		said = time.Now()
		if !say(text) {
			return
		}
	}
}
