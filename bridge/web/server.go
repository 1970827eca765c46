package web

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"sync"
	"time"

	"aliquot/bridge/machine"
)

// Snapshot is the state and when the state goroutine last turned.
type Snapshot struct {
	View   machine.SiteView // must not change any more
	Turned time.Time
}

// Options describes a server.
type Options struct {
	// Latest gives the latest snapshot, false if there is none yet. It is called from many goroutines and must
	// not block.
	Latest  func() (Snapshot, bool)
	Metrics http.Handler // for /metrics; nil: there is none
	// Pictures gives drawings of what the ledger holds, false while there are none. It must not block.
	Pictures     func() (Pictures, bool)
	PictureStyle string           // a style sheet for their classes
	Token        string           // whoever asks must know it; empty: everybody may
	Logger       *slog.Logger     // nil: slog.Default
	Zone         *time.Location   // for times on the page; nil: UTC
	Now          func() time.Time // nil: time.Now
}

// Pictures are drawings, each an SVG element of numbers and escaped text, made by whoever can read the ledger.
type Pictures struct {
	At     time.Time
	Day    string            // today's runs, given and planned
	Levels map[string]string // the last days of a quantity, by "system/quantity"
}

// Server answers on one address. Its one goroutine, and those of its connections, live from Start to Close.
type Server struct {
	options Options
	ending  context.CancelFunc

	mu       sync.Mutex
	http     *http.Server // nil: not started
	listener net.Listener
	done     chan struct{}
	failure  error // of the goroutine, readable once done is closed
	closed   bool
	closing  error // what Close gave
}

// New makes a server. It does nothing until Start.
func New(o Options) *Server {
	if o.Logger == nil {
		o.Logger = slog.Default()
	}
	return &Server{options: o}
}

// Limits of connections: nobody keeps one open by being slow.
const (
	headerTimeout = 5 * time.Second
	readTimeout   = 10 * time.Second
	writeTimeout  = 30 * time.Second
	idleTimeout   = 60 * time.Second
	maxHeader     = 16 << 10
)

// Start listens on an address such as 127.0.0.1:9480 and returns. A listener that breaks later is logged, and told
// by Close; the service goes on without its page.
func (s *Server) Start(listen string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.http != nil || s.closed {
		return errors.New("http: the server was started or closed before")
	}
	listener, err := net.Listen("tcp", listen)
	if err != nil {
		return fmt.Errorf("http: listening on %s: %w", listen, err)
	}
	s.listener, s.done = listener, make(chan struct{})
	ending, end := context.WithCancel(context.Background())
	s.ending = end
	s.http = &http.Server{Handler: Handler(ending, s.options), ReadHeaderTimeout: headerTimeout, ReadTimeout: readTimeout,
		WriteTimeout: writeTimeout, IdleTimeout: idleTimeout, MaxHeaderBytes: maxHeader,
		ErrorLog: slog.NewLogLogger(s.options.Logger.Handler(), slog.LevelWarn)}
	go s.serve()
	return nil
}

func (s *Server) serve() {
	defer close(s.done)
	if err := s.http.Serve(s.listener); !errors.Is(err, http.ErrServerClosed) {
		s.failure = fmt.Errorf("http: serving: %w", err)
		s.options.Logger.Error("the status page is gone", "error", err)
	}
}

// Addr gives the address that the server listens on, "" before Start.
func (s *Server) Addr() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.listener == nil {
		return ""
	}
	return s.listener.Addr().String()
}

// Close ends the server: requests under way get until ctx ends. It waits for the server's goroutine, and can be
// called before Start and again. The error is what went wrong since Start.
func (s *Server) Close(ctx context.Context) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed || s.http == nil {
		s.closed = true
		return s.closing
	}
	s.closed = true
	s.ending() // pages that follow would else hold the server open
	err := s.http.Shutdown(ctx)
	if err != nil {
		err = errors.Join(fmt.Errorf("http: closing: %w", err), s.http.Close())
	}
	<-s.done
	s.closing = errors.Join(err, s.failure)
	return s.closing
}
