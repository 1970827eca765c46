package broker

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"sync"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
)

// Limits of what a client may make the broker hold.
const (
	MaxPacket        = 64 << 10 // bytes
	maxInflight      = 256      // unacknowledged messages of one client
	maxPendingWrites = 1024     // messages waiting for one slow client; more are dropped
	maxSessionAge    = 3600     // seconds a session outlives its connection
	maxMessageAge    = 3600     // seconds a message may wait
	sysEvery         = 60       // seconds between the broker's own $SYS topics
)

// Options describes a broker.
type Options struct {
	Listen    string // host:port; port 0 takes a free one
	UsersFile string // see the package comment; empty: everybody, and loopback only
	// Rules say who may read and write what. None: everybody everything. With rules, what no rule allows is
	// forbidden.
	Rules []Rule
	// NeverRetain lists topic filters on which nothing is kept.
	NeverRetain []string
	Logger      *slog.Logger // gets warnings and errors; nil: nobody
}

func (o Options) check() error {
	var errs []error
	local, err := isLoopback(o.Listen)
	if err != nil {
		errs = append(errs, err)
	} else if !local && o.UsersFile == "" {
		errs = append(errs, fmt.Errorf("broker: listening on %q without a users file would let anybody run pumps; name a users file or listen on 127.0.0.1", o.Listen))
	}
	if o.UsersFile != "" {
		all, err := newUsers(o.UsersFile).read()
		if err != nil {
			errs = append(errs, err)
		} else if len(all) == 0 {
			errs = append(errs, fmt.Errorf("broker: the users file %s names nobody", o.UsersFile))
		}
	}
	for _, r := range o.Rules {
		if err := checkFilter(r.Filter); err != nil {
			errs = append(errs, err)
		}
		if r.User != "" && o.UsersFile == "" {
			errs = append(errs, fmt.Errorf("broker: a rule for the user %q without a users file; without one a name proves nothing", r.User))
		}
	}
	for _, f := range o.NeverRetain {
		if err := checkFilter(f); err != nil {
			errs = append(errs, err)
		}
	}
	return errors.Join(errs...)
}

// Broker is a running broker.
type Broker struct {
	server  *mochi.Server
	addr    string
	closing sync.Once
	err     error
}

// Start checks the options, listens and serves. The caller must Close the broker.
func Start(o Options) (*Broker, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	logger := slog.New(slog.DiscardHandler)
	if o.Logger != nil {
		logger = slog.New(newQuietLog(o.Logger.Handler()))
	}
	socket, err := net.Listen("tcp", o.Listen)
	if err != nil {
		return nil, fmt.Errorf("broker: %w", err)
	}
	server := mochi.New(&mochi.Options{
		Capabilities:           capabilities(),
		Logger:                 logger,
		SysTopicResendInterval: sysEvery,
	})
	b := &Broker{server: server, addr: socket.Addr().String()}
	err = errors.Join(
		server.AddHook(newRules(o, logger), nil),
		server.AddListener(listeners.NewNet("tcp", newGate(socket))),
	)
	if err == nil {
		err = server.Serve()
	}
	if err != nil {
		_ = socket.Close()
		return nil, fmt.Errorf("broker: %w", err)
	}
	return b, nil
}

func capabilities() *mochi.Capabilities {
	c := mochi.NewDefaultServerCapabilities()
	c.MaximumClients = maxConnections
	c.MaximumPacketSize = MaxPacket
	c.MaximumInflight = maxInflight
	c.ReceiveMaximum = maxInflight
	c.MaximumClientWritesPending = maxPendingWrites
	c.MaximumSessionExpiryInterval = maxSessionAge
	c.MaximumMessageExpiryInterval = maxMessageAge
	return c
}

// Addr gives host:port as it listens.
func (b *Broker) Addr() string { return b.addr }

// Close disconnects everybody and waits until the connections have ended. Again is harmless.
func (b *Broker) Close() error {
	b.closing.Do(func() { b.err = b.server.Close() })
	return b.err
}
