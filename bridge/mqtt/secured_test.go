package mqtt_test

import (
	"bytes"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"aliquot/bridge/broker"
	"aliquot/bridge/mqtt"
	"aliquot/bridge/mqtt/mosquittotest"
)

func file(t *testing.T, name, content string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// secret is a password that must show up nowhere.
const secret = "heron-lantern-42"

type logBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *logBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *logBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// once makes the client try a single time within any test.
func once() mqtt.Timing {
	timing := quick()
	timing.BackoffMin, timing.BackoffMax = time.Minute, time.Minute
	return timing
}

func refusedFor(t *testing.T, o mqtt.Options, want ...string) {
	t.Helper()
	var log logBuffer
	o.Logger = slog.New(slog.NewTextHandler(&log, &slog.HandlerOptions{Level: slog.LevelDebug}))
	o.Timing = once()
	r := start(t, o)
	err := wait(t, r.refused, "OnRefused")
	r.stop()
	for _, w := range want {
		if !strings.Contains(err.Error(), w) {
			t.Errorf("reason %q; want it to say %q", err, w)
		}
	}
	if !strings.Contains(log.String(), "no connection") {
		t.Errorf("log %q; want a line about the refusal", log.String())
	}
	if strings.Contains(err.Error()+log.String(), secret) {
		t.Errorf("the password is in %q or in the log %q", err, log.String())
	}
}

func TestPasswords(t *testing.T) {
	s := mosquittotest.Start(t, mosquittotest.Options{Users: map[string]string{"reef": secret}})
	right := file(t, "right", secret+"\r\n")
	start(t, mqtt.Options{Broker: s.URL, Username: "reef", PasswordFile: right}).waitUp()

	wrong := file(t, "wrong", secret+"x")
	refusedFor(t, mqtt.Options{Broker: s.URL, Username: "reef", PasswordFile: wrong}, `refuses the user "reef"`, "wrong user name or password")
	refusedFor(t, mqtt.Options{Broker: s.URL}, "refuses clients without a user name and password")
	refusedFor(t, mqtt.Options{Broker: s.URL, Username: "reef", PasswordFile: right + ".none"}, "reading the password file", "no such file")
	refusedFor(t, mqtt.Options{Broker: s.URL, Username: "reef", PasswordFile: file(t, "empty", "\n")}, "is empty")
	refusedFor(t, mqtt.Options{Broker: s.URL, Username: "reef", PasswordFile: file(t, "two", secret+"\nb\n")}, "more than one line")
	refusedFor(t, mqtt.Options{Broker: s.URL, Username: "reef", PasswordFile: t.TempDir()}, "no ordinary file")
	refusedFor(t, mqtt.Options{Broker: s.URL, Username: "reef", PasswordFile: file(t, "long", strings.Repeat(secret, 300))}, "no ordinary file")
}

func TestRotatedPasswordWorksWithoutRestart(t *testing.T) {
	check := func(t *testing.T, url string, rotate func(password string)) {
		path := file(t, "password", "old-one")
		p := mosquittotest.NewProxy(t, strings.TrimPrefix(url, "mqtt://"))
		r := start(t, mqtt.Options{Broker: p.URL(), Username: "reef", PasswordFile: path}).waitUp()
		rotate("new-one")
		p.Cut()
		wait(t, r.downs, "OnDown")
		for { // the broker's restart may show first
			if err := wait(t, r.refused, "a refusal of the old password"); strings.Contains(err.Error(), "wrong user name or password") {
				break
			}
		}
		if err := os.WriteFile(path, []byte("new-one\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		r.waitUp()
	}
	t.Run("mosquitto", func(t *testing.T) {
		s := mosquittotest.Start(t, mosquittotest.Options{Users: map[string]string{"reef": "old-one"}})
		check(t, s.URL, func(password string) {
			s.SetUsers(map[string]string{"reef": password})
			s.Restart()
		})
	})
	t.Run("embedded", func(t *testing.T) {
		users := file(t, "users", userLine(t, "reef", "old-one"))
		b := startEmbedded(t, broker.Options{Listen: "127.0.0.1:0", UsersFile: users})
		check(t, "mqtt://"+b.Addr(), func(password string) {
			if err := os.WriteFile(users, []byte(userLine(t, "reef", password)), 0o600); err != nil {
				t.Fatal(err)
			}
		})
	})
}

func userLine(t *testing.T, name, password string) string {
	t.Helper()
	line, err := broker.UserLine(name, password)
	if err != nil {
		t.Fatal(err)
	}
	return line + "\n"
}

func startEmbedded(t *testing.T, o broker.Options) *broker.Broker {
	t.Helper()
	b, err := broker.Start(o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := b.Close(); err != nil {
			t.Error(err)
		}
	})
	return b
}

func TestTLS(t *testing.T) {
	s := mosquittotest.Start(t, mosquittotest.Options{TLS: true, Users: map[string]string{"reef": secret}})
	password := file(t, "password", secret)
	options := func(tls *mqtt.TLS) mqtt.Options {
		return mqtt.Options{Broker: s.URL, Username: "reef", PasswordFile: password, TLS: tls, Subscriptions: subs("a")}
	}
	r := start(t, options(&mqtt.TLS{CAFile: s.CAFile})).waitUp()
	r.publish("a", "x", 1, false)
	r.want("a", "x")
	start(t, options(&mqtt.TLS{CAFile: s.CAFile, ServerName: "localhost"})).waitUp()

	other := mosquittotest.NewAuthority(t, "somebody else")
	foreign := file(t, "foreign.pem", string(other.PEM))
	refusedFor(t, options(nil), "signed by no authority that this system knows")
	refusedFor(t, options(&mqtt.TLS{CAFile: foreign}), "not signed by the authority in "+foreign)
	refusedFor(t, options(&mqtt.TLS{CAFile: s.CAFile, ServerName: "broker.example"}), "for another name", "broker.example")
	refusedFor(t, options(&mqtt.TLS{CAFile: file(t, "ca", "no certificate")}), "holds no certificate in PEM form")
	refusedFor(t, options(&mqtt.TLS{CAFile: s.CAFile + ".none"}), "reading the certificate authority", "no such file")

	plain := options(nil)
	plain.Broker = strings.Replace(s.URL, "mqtts", "mqtt", 1)
	refusedFor(t, plain, "closed the connection")
}

func TestTLSOnAPlainPort(t *testing.T) {
	s := mosquittotest.Start(t, mosquittotest.Options{})
	refusedFor(t, mqtt.Options{Broker: strings.Replace(s.URL, "mqtt", "mqtts", 1)}, "broker mqtts://127.0.0.1:")
}

func TestClientCertificate(t *testing.T) {
	s := mosquittotest.Start(t, mosquittotest.Options{TLS: true, ClientCert: true})
	tls := mqtt.TLS{CAFile: s.CAFile, CertFile: s.CertFile, KeyFile: s.KeyFile}
	start(t, mqtt.Options{Broker: s.URL, TLS: &tls}).waitUp()

	refusedFor(t, mqtt.Options{Broker: s.URL, TLS: &mqtt.TLS{CAFile: s.CAFile}}, "it may want a client certificate")
	refusedFor(t, mqtt.Options{Broker: s.URL, TLS: &mqtt.TLS{CAFile: s.CAFile, CertFile: s.CertFile, KeyFile: s.CAFile}}, "reading the client certificate")
}

// mosquitto grants a subscription that its access rules forbid; only the round trip shows it.
func TestAccessRulesThatHideOurOwnTopic(t *testing.T) {
	s := mosquittotest.Start(t, mosquittotest.Options{
		Users: map[string]string{"reef": secret},
		ACL:   "user reef\ntopic readwrite reef/#\ntopic write hidden/ping\n",
	})
	password := file(t, "password", secret)
	start(t, mqtt.Options{Broker: s.URL, Username: "reef", PasswordFile: password, PingTopic: "reef/ping"}).waitUp()
	for _, topic := range []string{"hidden/ping", "elsewhere/ping"} {
		refusedFor(t, mqtt.Options{Broker: s.URL, Username: "reef", PasswordFile: password, PingTopic: topic},
			"an own message on "+topic+" did not come back", "access rules must allow")
	}
}

func TestRefusedSubscriptionIsNamed(t *testing.T) {
	b := startEmbedded(t, broker.Options{Listen: "127.0.0.1:0", Rules: []broker.Rule{{Filter: "reef/#", Access: broker.ReadWrite}}})
	refusedFor(t, mqtt.Options{Broker: "mqtt://" + b.Addr(), Subscriptions: subs("reef/ask/#", "node/a/run")},
		"refuses the subscription to node/a/run")
}

func TestFrozenBrokerIsLeft(t *testing.T) {
	s := mosquittotest.Start(t, mosquittotest.Options{})
	timing := quick()
	timing.PingEvery = 100 * time.Millisecond
	timing.ConnectTimeout = 300 * time.Millisecond
	r := start(t, mqtt.Options{Broker: s.URL, PingTopic: "reef/ping", Subscriptions: subs("reef/x"), Timing: timing}).waitUp()
	s.Freeze()
	began := time.Now()
	d, err := r.client.Publish(mqtt.Message{Topic: "reef/x", Payload: []byte("run"), QoS: 1}, 100*time.Millisecond)
	if took := time.Since(began); d != mqtt.Unknown || err == nil || took > 2*time.Second {
		t.Errorf("Publish to a frozen broker = %v, %v after %v; want unknown in about 100ms", d, err, took)
	}
	wait(t, r.downs, "OnDown")
	s.Kill()
	s.Restart()
	r.waitUp().publish("reef/x", "mark", 1, false)
	r.want("reef/x", "mark")
}
