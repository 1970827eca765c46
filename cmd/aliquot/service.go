package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"time"

	"aliquot/bridge"
	"aliquot/bridge/broker"
	"aliquot/bridge/ledger"
	"aliquot/bridge/machine"
	"aliquot/bridge/metrics"
	"aliquot/bridge/mqtt"
	alerting "aliquot/bridge/notify"
	"aliquot/bridge/topics"
	"aliquot/bridge/web"
	"aliquot/safety"
)

// serviceOptions say how a site is run. What is left out is the real thing.
type serviceOptions struct {
	site   loaded
	clock  bridge.Clock
	trust  *safety.ClockTrust // a virtual clock is declared trusted
	logger *slog.Logger
	turned func(ledgerGood bool) // called at each turn of the loop; nil: nobody watches
	// wrap puts something around the parts: a clock that slows down, a test that kills the process.
	wrap func(bridge.Options) bridge.Options
}

// service is a running site: everything between the ledger's lock and the page.
type service struct {
	bridge *bridge.Bridge
	broker *broker.Broker // nil: an outside one
	page   *web.Server    // nil: none
	ended  chan error
}

// startService opens everything in the order of safety: lock, ledger, broker, connection, loop. On an error what
// was opened is closed again.
func startService(ctx context.Context, o serviceOptions) (s *service, err error) {
	var undo teardown
	defer func() {
		if err != nil {
			err = errors.Join(err, undo.run())
		}
	}()
	book, state, lost, err := openBook(o)
	if err != nil {
		return nil, err
	}
	undo.add("closing the ledger", book.Close)
	s = &service{ended: make(chan error, 1)}
	if e := o.site.MQTT.Embedded; e != nil {
		if s.broker, err = startBroker(o.site, o.logger); err != nil {
			return nil, err
		}
		undo.add("stopping the broker", s.broker.Close)
	}
	if err = s.connect(ctx, o, book, state, lost, &undo); err != nil {
		return nil, err
	}
	return s, nil
}

// pageWait is how long requests under way may keep the page open at the end.
const pageWait = 2 * time.Second

func (s *service) latest() (web.Snapshot, bool) {
	v, ok := s.bridge.View()
	return web.Snapshot{View: v, Turned: s.bridge.Turned()}, ok
}

// connect starts the connection, the loop and the page.
func (s *service) connect(ctx context.Context, o serviceOptions, book *ledger.Ledger, state machine.State, lost string, undo *teardown) error {
	site := machineSite(o.site.Site)
	counters := metrics.New(*site)
	counters.AddRuntime()
	link := &link{}
	parts := bridge.Options{Site: site, State: state, Instance: randomName(), LedgerLost: lost, Layout: o.site.layout(),
		Nodes: o.site.codecs, Probes: probeInputs(o.site.Site), Levels: levelInputs(o.site.Site), Ledger: book, Link: link, Metrics: counters, Clock: o.clock, Logger: o.logger, Turned: o.turned}
	parts.Retained, parts.Announcer = book, o.site.announcer()
	if notifier := s.startNotifier(o, counters); notifier != nil {
		undo.add("ending what tells alerts", notifier.Close)
		parts.Notifier = notifier
	}
	if o.wrap != nil {
		parts = o.wrap(parts)
	}
	s.bridge = bridge.New(parts)
	var err error
	if link.client, err = mqtt.New(s.clientOptions(o, counters)); err != nil {
		return fail(exitConfig, "%w", err)
	}
	token, err := pageToken(o.site)
	if err != nil {
		return err
	}
	pictures := &painter{site: o.site, book: book, view: s.bridge.View, logger: o.logger}
	undo.add("drawing for the page", pictures.close)
	s.page = web.New(web.Options{Latest: s.latest, Metrics: counters.Handler(), Pictures: pictures.pictures, PictureStyle: pictureStyle, Token: token, Zone: o.site.Zone, Logger: o.logger})
	if err = s.page.Start(o.site.HTTP.Listen); err != nil {
		return fail(exitFailed, "%w", err)
	}
	undo.add("closing the page", func() error {
		closing, cancel := context.WithTimeout(context.WithoutCancel(ctx), pageWait)
		defer cancel()
		return s.page.Close(closing)
	})
	go func() { s.ended <- s.live(ctx, link.client, undo) }()
	return nil
}

// pageToken is what whoever asks for the page must know; empty if nothing.
func pageToken(l loaded) (string, error) {
	if l.HTTP.TokenFile == "" {
		return "", nil
	}
	token, err := alerting.ReadToken(l.HTTP.TokenFile)
	if err != nil {
		return "", fail(exitConfig, "http.token_file: %w", err)
	}
	return token, nil
}

// live runs until the context ends or the machine fails, then takes everything down: pumps are stopped while
// there still is a connection, the connection goes last but one, the ledger last.
func (s *service) live(ctx context.Context, client *mqtt.Client, undo *teardown) error {
	connection, disconnect := context.WithCancel(context.WithoutCancel(ctx))
	gone := make(chan struct{})
	go func() {
		defer close(gone)
		_ = client.Run(connection)
	}()
	err := s.bridge.Run(ctx)
	disconnect()
	<-gone
	return errors.Join(err, undo.run())
}

func (s *service) clientOptions(o serviceOptions, counters *metrics.Metrics) mqtt.Options {
	c := brokerOptions(o.site, "aliquot-"+o.site.Name)
	if s.broker != nil {
		c.Broker = "mqtt://" + s.broker.Addr()
	}
	c.Logger = o.logger
	c.Will = mqtt.Message(wireMessage(o.site.layout().Will()))
	c.PingTopic = o.site.layout().Ping()
	for _, f := range s.bridge.Subscriptions() {
		c.Subscriptions = append(c.Subscriptions, mqtt.Subscription{Filter: f.Topic, QoS: f.QoS})
	}
	c.OnMessage = func(m mqtt.Message) {
		s.bridge.Deliver(bridge.Message{Topic: m.Topic, Payload: m.Payload, QoS: m.QoS, Retained: m.Retained})
	}
	c.OnUp = s.bridge.LinkUp
	c.OnDown = func(error) {
		counters.ConnectionLost()
		s.bridge.LinkDown()
	}
	return c
}

func wireMessage(m topics.Message) mqtt.Message {
	return mqtt.Message{Topic: m.Topic, Payload: m.Payload, QoS: m.QoS, Retained: m.Retained}
}

// link makes a bridge.Link of the client.
type link struct{ client *mqtt.Client }

func (l *link) Open() bool { return l.client.Open() }

func (l *link) Publish(m bridge.Message, wait time.Duration) (bool, error) {
	d, err := l.client.Publish(outgoing(m), wait)
	return d != mqtt.NotHanded, err
}

func (l *link) Post(m bridge.Message, wait time.Duration) (<-chan struct{}, error) {
	settled, _, err := l.client.Post(outgoing(m), wait)
	return settled, err
}

func outgoing(m bridge.Message) mqtt.Message {
	return mqtt.Message{Topic: m.Topic, Payload: m.Payload, QoS: m.QoS, Retained: m.Retained}
}

// openBook locks and opens the ledger and folds it.
func openBook(o serviceOptions) (*ledger.Ledger, machine.State, string, error) {
	path := o.site.Ledger.Path
	if err := os.MkdirAll(filepath.Dir(path), 0o750); err != nil {
		return nil, machine.State{}, "", fail(exitLedger, "the ledger's folder: %w", err)
	}
	book, err := ledger.Open(ledger.Options{Path: path})
	if err != nil {
		return nil, machine.State{}, "", fail(exitLedger, "%w", err)
	}
	if err := pruneBook(book, o); err != nil {
		return nil, machine.State{}, "", errors.Join(fail(exitLedger, "%w", err), book.Close())
	}
	state, err := foldBook(book, o)
	if err != nil {
		return nil, machine.State{}, "", errors.Join(fail(exitLedger, "%w", err), book.Close())
	}
	return book, state, lostText(book.Report()), nil
}

// pruneFor is how long a start goes on pruning before it leaves the rest to the next one: the service manager waits for it.
const pruneFor = 20 * time.Second

// pruneBook sums rows older than the keeper's choice. One that fails before anything was removed is no reason not to dose.
func pruneBook(book *ledger.Ledger, o serviceOptions) error {
	if o.site.Ledger.Keep == 0 || o.logger == nil {
		return nil
	}
	for began := time.Now(); time.Since(began) < pruneFor; {
		p, done, err := book.Prune(o.site.Ledger.Keep, o.site.Zone)
		switch {
		case err != nil && book.Failed():
			return err
		case err != nil:
			o.logger.Warn("old rows stay in the ledger for now", "error", err)
			return nil
		case !done:
			return nil
		}
		o.logger.Info("old rows were exported and summed", "rows", p.Gone, "sums", p.Sums, "until", p.Until.Format(time.RFC3339), "file", p.File)
	}
	return nil
}

func foldBook(book *ledger.Ledger, o serviceOptions) (machine.State, error) {
	site := machineSite(o.site.Site)
	if o.trust != nil {
		site.ClockTrust = *o.trust
	}
	fold := machine.NewFold(site)
	err := book.Each(1, func(r machine.Row) error {
		fold.Add(r)
		return nil
	})
	return fold.State(), err
}

// lostText says why a ledger may know less than was dosed.
func lostText(r ledger.Report) string {
	switch {
	case r.Restored:
		return "a copy was put in the ledger's place, and what was dosed since it was made is not in it; wait 24 h, then say: accept ledger"
	case r.BehindMark:
		return fmt.Sprintf("the ledger has %d rows, but %d were written once: an older copy was put back, and what was dosed since is not in it; wait 24 h, then say: accept ledger", r.Rows, r.MarkSeq)
	case r.MarkMissing:
		return "the ledger's high-water file is missing, so that nobody can tell whether rows are lost; wait 24 h, then say: accept ledger"
	}
	return ""
}

func startBroker(l loaded, logger *slog.Logger) (*broker.Broker, error) {
	o := broker.Options{Listen: l.MQTT.Embedded.Listen, UsersFile: l.MQTT.Embedded.UsersFile, Logger: logger}
	for _, c := range l.codecs {
		for _, t := range c.CommandTopics() {
			o.NeverRetain = append(o.NeverRetain, t.Topic)
		}
	}
	b, err := broker.Start(o)
	if err != nil {
		return nil, fail(exitFailed, "%w", err)
	}
	logger.Info("the embedded broker listens", "address", b.Addr())
	return b, nil
}

// teardown undoes steps, the last one first, each once.
type teardown struct {
	steps []undoStep
}

type undoStep struct {
	name string
	do   func() error
}

func (t *teardown) add(name string, do func() error) { t.steps = append(t.steps, undoStep{name, do}) }

func (t *teardown) run() error {
	var errs []error
	for i := len(t.steps) - 1; i >= 0; i-- {
		if err := t.steps[i].do(); err != nil {
			errs = append(errs, fmt.Errorf("%s: %w", t.steps[i].name, err))
		}
	}
	t.steps = nil
	return errors.Join(errs...)
}

// newLogger writes to the service's standard output; under a service manager with a journal the level stands in
// front of the line and the time is the journal's.
func newLogger(std stream, format, level string) *slog.Logger {
	var threshold slog.Level
	if err := threshold.UnmarshalText([]byte(strings.ToUpper(level))); err != nil {
		threshold = slog.LevelInfo
	}
	o := &slog.HandlerOptions{Level: threshold}
	if format == "json" {
		return slog.New(slog.NewJSONHandler(std.out, o))
	}
	if os.Getenv("JOURNAL_STREAM") != "" {
		return slog.New(newJournalHandler(std.out, o))
	}
	return slog.New(slog.NewTextHandler(std.out, o))
}
