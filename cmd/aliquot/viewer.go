package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"aliquot/bridge/mqtt"
	"aliquot/bridge/screen"
	"aliquot/bridge/topics"
)

// Waits of a viewer. Retained messages come in one burst behind a subscription: what has not come after a silence of
// quietIncomplete is not there.
const (
	quietComplete   = 250 * time.Millisecond
	quietIncomplete = time.Second
	gatherWait      = 5 * time.Second
	viewerRoom      = 8192
)

// viewer sees a site over the broker: it only reads.
type viewer struct {
	layout  topics.Layout
	picture topics.Picture
	link    string // why there is no connection; empty: there is one
	news    chan viewerNews
	stop    func()
}

// viewerNews is a message, or that the connection came or went.
type viewerNews struct {
	message *mqtt.Message
	up      bool
	why     error // of a connection that went or was refused
}

// lookAt reads the configuration and connects to its site's broker.
func lookAt(ctx context.Context, g *Globals) (loaded, *viewer, error) {
	l, err := load(g.Config)
	if err != nil {
		return l, nil, err
	}
	w, err := look(ctx, l)
	return l, w, err
}

// look connects to the site's broker with an identity of its own.
func look(ctx context.Context, l loaded) (*viewer, error) {
	w := &viewer{layout: l.layout(), news: make(chan viewerNews, viewerRoom)}
	w.picture.Layout = w.layout
	o := brokerOptions(l, "aliquot-"+l.Name+"-look-"+randomName())
	o.Logger = slog.New(slog.DiscardHandler)
	for _, f := range w.layout.PictureFilters() {
		o.Subscriptions = append(o.Subscriptions, mqtt.Subscription{Filter: f.Topic, QoS: f.QoS})
	}
	o.OnMessage = func(m mqtt.Message) { notify(w.news, viewerNews{message: &m}) }
	o.OnUp = func() { notify(w.news, viewerNews{up: true}) }
	o.OnDown = func(err error) { notify(w.news, viewerNews{why: orLost(err)}) }
	o.OnRefused = o.OnDown
	client, err := mqtt.New(o)
	if err != nil {
		return nil, fail(exitConfig, "%w", err)
	}
	running, cancel := context.WithCancel(ctx)
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		_ = client.Run(running)
	}()
	w.stop = func() { cancel(); <-ended }
	if err := w.first(ctx); err != nil {
		w.stop()
		return nil, fail(exitNoReply, "no connection to the broker: %w", err)
	}
	return w, nil
}

func orLost(err error) error {
	if err == nil {
		return errors.New("the connection is closed")
	}
	return err
}

// first waits for the first connection.
func (w *viewer) first(ctx context.Context) error {
	late := time.After(connectWait)
	for {
		select {
		case n := <-w.news:
			w.take(n)
			if n.up {
				return nil
			}
			if n.why != nil {
				return n.why
			}
		case <-late:
			return fmt.Errorf("it does not answer within %s", connectWait)
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// take adds what was heard. What is retained is told anew on each connection, and what was removed meanwhile is not: a
// new connection begins with an empty picture.
func (w *viewer) take(n viewerNews) (changed bool) {
	switch {
	case n.up:
		w.picture, w.link = topics.Picture{Layout: w.layout}, ""
	case n.why != nil:
		changed, w.link = w.link == "", n.why.Error()
	case n.message != nil:
		// What cannot be read is left out: the page then says less, and never something wrong.
		changed, _ = w.picture.Take(n.message.Topic, n.message.Payload)
	}
	return changed
}

// gather hears out what is retained.
func (w *viewer) gather(ctx context.Context) error {
	late := time.After(gatherWait)
	for {
		quiet := quietIncomplete
		if w.picture.Complete() {
			quiet = quietComplete
		}
		select {
		case n := <-w.news:
			w.take(n)
			if n.why != nil {
				return nil
			}
		case <-time.After(quiet):
			return nil
		case <-late:
			return nil
		case <-ctx.Done():
			return fail(exitFailed, "interrupted")
		}
	}
}

// seen is what the viewer knows at a moment.
func (w *viewer) seen(at time.Time) screen.Seen {
	return screen.Seen{At: at, Service: screen.Service(w.picture.Availability), Sign: w.picture.Sign, Link: w.link, View: w.picture.View()}
}
