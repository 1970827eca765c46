// Package mosquittotest starts a real mosquitto on a free loopback port for a test, with its own temporary
// configuration, and takes it down with the test. It is test support: nothing but tests may import it.
//
// Without the program a test is skipped with the reason, or fails if the environment variable CI is set.
package mosquittotest

import (
	"bytes"
	"crypto/pbkdf2"
	"crypto/rand"
	"crypto/sha512"
	"encoding/base64"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"aliquot/bridge/needed"
)

// Options describes the broker.
type Options struct {
	Users map[string]string // name: password; none: everybody may connect
	ACL   string            // content of the access file of mosquitto.conf(5); empty: everything is allowed
	TLS   bool              // mqtts, with a certificate for 127.0.0.1 and localhost from a new authority
	// ClientCert asks each client for a certificate of the same authority. Only with TLS.
	ClientCert bool
	// Persistence keeps sessions and retained messages on disk over Stop and Restart.
	Persistence bool
	Port        int    // 0: a free one
	Extra       string // further lines of mosquitto.conf(5), such as a bridge
}

// Server is a running mosquitto.
type Server struct {
	URL  string // mqtt://127.0.0.1:port or mqtts://…
	Addr string // 127.0.0.1:port
	Dir  string // its temporary directory
	// With TLS: the authority's certificate, and a client certificate and key signed by it. PEM files.
	CAFile, CertFile, KeyFile string

	t       testing.TB
	program string
	log     lockedBuffer

	mu   sync.Mutex
	cmd  *exec.Cmd
	done chan struct{} // closed when cmd has ended
}

// startTime is how long mosquitto may take to listen.
const startTime = 10 * time.Second

// Start starts mosquitto and waits until it listens. It is stopped when the test ends.
func Start(t testing.TB, o Options) *Server {
	t.Helper()
	s := &Server{t: t, program: needed.Program(t, "mosquitto", "mosquitto", "/usr/sbin/mosquitto", "/usr/local/sbin/mosquitto"), Dir: t.TempDir()}
	if o.Port == 0 {
		o.Port = FreePort(t)
	}
	s.Addr = net.JoinHostPort("127.0.0.1", strconv.Itoa(o.Port))
	s.URL = "mqtt://" + s.Addr
	if o.TLS {
		s.URL = "mqtts://" + s.Addr
		s.makeCertificates()
	}
	s.SetUsers(o.Users)
	s.write("mosquitto.conf", s.configuration(o))
	if o.ACL != "" {
		s.write("acl", o.ACL)
	}
	t.Cleanup(s.Kill)
	s.Restart()
	return s
}

// FreePort gives a loopback port that nothing listened on a moment ago.
func FreePort(t testing.TB) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatalf("looking for a free port: %v", err)
	}
	defer func() { _ = l.Close() }()
	addr, ok := l.Addr().(*net.TCPAddr)
	if !ok {
		t.Fatalf("a listener at %v is no TCP listener", l.Addr())
	}
	return addr.Port
}

func (s *Server) path(name string) string { return filepath.Join(s.Dir, name) }

func (s *Server) write(name, content string) {
	s.t.Helper()
	if err := os.WriteFile(s.path(name), []byte(content), 0o600); err != nil {
		s.t.Fatalf("writing %s: %v", name, err)
	}
}

func (s *Server) configuration(o Options) string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line("per_listener_settings true")
	if os.Getuid() == 0 {
		line("user root") // else it would change to a user that cannot read the temporary directory
	}
	line("persistence %t", o.Persistence)
	line("persistence_location %s/", s.Dir)
	line("log_dest stderr")
	line("log_type error")
	line("log_type warning")
	line("log_type notice")
	line("listener %d 127.0.0.1", o.Port)
	line("allow_anonymous %t", len(o.Users) == 0)
	if len(o.Users) > 0 {
		line("password_file %s", s.path("passwords"))
	}
	if o.ACL != "" {
		line("acl_file %s", s.path("acl"))
	}
	if o.TLS {
		line("cafile %s", s.CAFile)
		line("certfile %s", s.path("server.pem"))
		line("keyfile %s", s.path("server.key"))
		line("require_certificate %t", o.ClientCert)
	}
	b.WriteString(o.Extra)
	return b.String()
}

// SetUsers writes the password file anew and tells a running mosquitto to read it, which it does a little later.
func (s *Server) SetUsers(users map[string]string) {
	s.t.Helper()
	names := make([]string, 0, len(users))
	for name := range users {
		names = append(names, name)
	}
	sort.Strings(names)
	var b strings.Builder
	for _, name := range names {
		b.WriteString(name + ":" + hash(s.t, users[name]) + "\n")
	}
	s.write("passwords", b.String())
	s.signal(syscall.SIGHUP)
}

// hash makes what mosquitto_passwd of version 2 makes: PBKDF2 with HMAC-SHA-512, 101 iterations.
func hash(t testing.TB, password string) string {
	t.Helper()
	const rounds = 101
	salt := make([]byte, 12)
	_, _ = rand.Read(salt)
	key, err := pbkdf2.Key(sha512.New, password, salt, rounds, 64)
	if err != nil {
		t.Fatalf("hashing a password: %v", err)
	}
	return fmt.Sprintf("$7$%d$%s$%s", rounds,
		base64.StdEncoding.EncodeToString(salt), base64.StdEncoding.EncodeToString(key))
}

// Restart starts mosquitto on the same port, after stopping it if it runs.
func (s *Server) Restart() {
	s.t.Helper()
	s.Stop()
	s.mu.Lock()
	s.cmd = exec.Command(s.program, "-c", s.path("mosquitto.conf"))
	s.cmd.Stderr = &s.log
	s.done = make(chan struct{})
	cmd, done := s.cmd, s.done
	err := cmd.Start()
	s.mu.Unlock()
	if err != nil {
		s.t.Fatalf("starting %s: %v", s.program, err)
	}
	go func() {
		_ = cmd.Wait() // its exit code says nothing that its log does not
		close(done)
	}()
	s.waitUntilItListens(done)
}

func (s *Server) waitUntilItListens(done <-chan struct{}) {
	s.t.Helper()
	for deadline := time.Now().Add(startTime); time.Now().Before(deadline); {
		select {
		case <-done:
			s.t.Fatalf("mosquitto ended at once:\n%s", s.Log())
		case <-time.After(20 * time.Millisecond):
		}
		if conn, err := net.Dial("tcp", s.Addr); err == nil {
			_ = conn.Close()
			return
		}
	}
	s.t.Fatalf("mosquitto does not listen on %s after %v:\n%s", s.Addr, startTime, s.Log())
}

// Stop ends mosquitto in good order, as a service manager does. It waits for the end.
func (s *Server) Stop() { s.end(syscall.SIGTERM) }

// Kill ends mosquitto at once, as a power cut does. It waits for the end.
func (s *Server) Kill() { s.end(syscall.SIGKILL) }

// Freeze stops mosquitto from running without closing anything; Thaw lets it go on.
func (s *Server) Freeze() { s.signal(syscall.SIGSTOP) }

// Thaw undoes Freeze.
func (s *Server) Thaw() { s.signal(syscall.SIGCONT) }

func (s *Server) signal(sig os.Signal) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.cmd != nil && s.cmd.Process != nil {
		_ = s.cmd.Process.Signal(sig)
	}
}

func (s *Server) end(sig os.Signal) {
	s.signal(sig)
	s.mu.Lock()
	done := s.done
	s.cmd, s.done = nil, nil
	s.mu.Unlock()
	if done != nil {
		<-done
	}
}

// Log gives what mosquitto has written so far.
func (s *Server) Log() string { return s.log.String() }

type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}
