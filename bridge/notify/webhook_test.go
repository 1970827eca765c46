package notify

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"encoding/pem"
	"fmt"
	"io"
	"log"
	"math/big"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// token writes a token file.
func token(t *testing.T, content string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "token")
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestWebhookPosts(t *testing.T) {
	var got string
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		got = fmt.Sprintf("%s %s %s %s %s %s", r.Method, r.URL, r.Header.Get("Content-Type"), r.Header.Get("Authorization"), r.UserAgent(), body)
		w.WriteHeader(http.StatusAccepted)
	}))
	defer s.Close()
	w := NewWebhook(WebhookOptions{URL: s.URL + "/tell?to=keeper", TokenFile: token(t, " abc-123\n"), Timeout: 5 * time.Second, Version: "1.2"})
	if err := w.Deliver(t.Context(), []byte(`{"v":1}`)); err != nil {
		t.Fatal(err)
	}
	if want := `POST /tell?to=keeper application/json Bearer abc-123 aliquot/1.2 {"v":1}`; got != want {
		t.Errorf("the receiver got %s; want %s", got, want)
	}
}

func TestWebhookFails(t *testing.T) {
	elsewhere := 0
	other := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { elsewhere++ }))
	defer other.Close()
	release := make(chan struct{})
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch r.URL.Path {
		case "/moved":
			http.Redirect(w, r, other.URL, http.StatusTemporaryRedirect)
		case "/slow":
			<-release
		case "/cut":
			c, _, err := w.(http.Hijacker).Hijack()
			if err == nil {
				c.Close()
			}
		case "/endless":
			for r.Context().Err() == nil {
				if _, err := w.Write(make([]byte, 4096)); err != nil {
					return
				}
			}
		default:
			w.WriteHeader(http.StatusUnauthorized)
		}
	}))
	defer s.Close()
	defer close(release)
	shut, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	nobody := "http://" + shut.Addr().String()
	shut.Close()
	for _, c := range []struct {
		name, url, token, want string // want is empty where it is taken
	}{
		{"refused", s.URL + "/secret-path", "", "the receiver answers 401 Unauthorized"},
		{"a redirect", s.URL + "/moved", "", "is not followed"},
		{"slow", s.URL + "/slow", "", "did not answer in time"},
		{"cut off", s.URL + "/cut", "", "EOF"},
		{"nobody listens", nobody + "/secret-path", "", "refused"},
		{"no token file", s.URL, filepath.Join(t.TempDir(), "none"), "the token file"},
		{"an empty token", s.URL, token(t, "\n"), "one token"},
		{"two tokens", s.URL, token(t, "abc\ndef\n"), "one token"},
		{"a huge token", s.URL, token(t, strings.Repeat("x", maxToken+1)), "one token"},
		{"an answer without end", s.URL + "/endless", "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			began := time.Now()
			err := NewWebhook(WebhookOptions{URL: c.url, TokenFile: c.token, Timeout: 300 * time.Millisecond}).Deliver(t.Context(), []byte("{}"))
			if took := time.Since(began); took > 5*time.Second {
				t.Errorf("it took %s", took)
			}
			if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
				t.Fatalf("error %v; want %q", err, c.want)
			}
			if err != nil && strings.Contains(err.Error(), "secret-path") {
				t.Errorf("the error repeats the address: %v", err)
			}
		})
	}
	if elsewhere != 0 {
		t.Errorf("the redirect was followed %d times", elsewhere)
	}
}

func TestWebhookEndsWithItsContext(t *testing.T) {
	release := make(chan struct{})
	s := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { <-release }))
	defer s.Close()
	defer close(release)
	ctx, cancel := context.WithCancel(t.Context())
	time.AfterFunc(50*time.Millisecond, cancel)
	began := time.Now()
	if err := NewWebhook(WebhookOptions{URL: s.URL, Timeout: time.Minute}).Deliver(ctx, nil); err == nil || time.Since(began) > 10*time.Second {
		t.Errorf("error %v after %s; want one at once", err, time.Since(began))
	}
}

// A receiver in the house with a certificate of its own is believed where its authority is named, and only there.
func TestWebhookAuthority(t *testing.T) {
	told := 0
	s := httptest.NewTLSServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { told++ }))
	defer s.Close()
	s.Config.ErrorLog = log.New(io.Discard, "", 0)
	own := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: s.Certificate().Raw})
	_, port, err := net.SplitHostPort(s.Listener.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ name, url, ca, want string }{
		{"named", s.URL, token(t, string(own)), ""},
		{"not named", s.URL, "", "name the authority's file as alerts.webhook.ca_file"},
		{"another one", s.URL, token(t, foreignAuthority(t)), "not signed by an authority in "},
		{"another name", "https://localhost:" + port, token(t, string(own)), "for another name"},
		{"no certificate", s.URL, token(t, "hello"), "must hold certificates in PEM form"},
		{"too long", s.URL, token(t, string(own)+strings.Repeat("\n", maxCA)), "must hold certificates in PEM form"},
		{"no file", s.URL, "/nowhere/ca.pem", "no such file"},
	} {
		t.Run(c.name, func(t *testing.T) {
			before := told
			err := NewWebhook(WebhookOptions{URL: c.url, CAFile: c.ca, Timeout: 5 * time.Second}).Deliver(t.Context(), []byte("{}"))
			switch {
			case c.want == "" && (err != nil || told != before+1):
				t.Errorf("told %d, error %v", told-before, err)
			case c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want) || told != before):
				t.Errorf("told %d, error %v; want it to say %q", told-before, err, c.want)
			}
		})
	}
}

// foreignAuthority is a certificate that signed nothing here.
func foreignAuthority(t *testing.T) string {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{SerialNumber: big.NewInt(1), NotAfter: time.Now().Add(time.Hour), IsCA: true, BasicConstraintsValid: true}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	return string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}))
}
