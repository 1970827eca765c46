package notify

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"strings"
	"time"
)

// WebhookOptions say where to post to.
type WebhookOptions struct {
	URL       string // http or https, without user and fragment
	TokenFile string // empty: no token; read anew at each attempt
	CAFile    string // PEM; empty: the authorities of the system; read anew at each attempt
	Timeout   time.Duration
	Version   string // of the program, for the receiver's log
}

// Webhook posts messages. It follows no redirect, uses no proxy and keeps no connection.
type Webhook struct{ o WebhookOptions }

const (
	maxToken  = 4 << 10
	maxAnswer = 4 << 10 // of an answer this much is read, and nothing of it is believed
	maxCA     = 1 << 20
)

// NewWebhook makes a webhook; nothing is opened yet.
func NewWebhook(o WebhookOptions) *Webhook { return &Webhook{o} }

// client is made for one attempt: a renewed file of authorities counts from the next one.
func (w *Webhook) client() (*http.Client, error) {
	transport := &http.Transport{DisableKeepAlives: true, MaxResponseHeaderBytes: 16 << 10}
	if w.o.CAFile != "" {
		authorities, err := readAuthorities(w.o.CAFile)
		if err != nil {
			return nil, err
		}
		transport.TLSClientConfig = &tls.Config{MinVersion: tls.VersionTLS12, RootCAs: authorities}
	}
	return &http.Client{
		Timeout:       w.o.Timeout,
		Transport:     transport,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}, nil
}

// Name of the way.
func (w *Webhook) Name() string { return "webhook" }

// Deliver posts a message. Any answer but one of 200 to 299 is an error. No error repeats the address or the token: both may
// be secrets.
func (w *Webhook) Deliver(ctx context.Context, payload []byte) error {
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, w.o.URL, bytes.NewReader(payload))
	if err != nil {
		return errors.New("the address cannot be used")
	}
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("User-Agent", "aliquot/"+w.o.Version)
	if w.o.TokenFile != "" {
		token, err := ReadToken(w.o.TokenFile)
		if err != nil {
			return err
		}
		r.Header.Set("Authorization", "Bearer "+token)
	}
	client, err := w.client()
	if err != nil {
		return err
	}
	answer, err := client.Do(r)
	if err != nil {
		return w.plainError(err)
	}
	defer answer.Body.Close()
	_, _ = io.CopyN(io.Discard, answer.Body, maxAnswer)
	switch code := answer.StatusCode; {
	case code >= 200 && code < 300:
		return nil
	case code >= 300 && code < 400:
		return fmt.Errorf("the receiver answers with a redirect (%d), which is not followed: put the address that it leads to into alerts.webhook.url", code)
	default:
		return fmt.Errorf("the receiver answers %d %s", code, http.StatusText(code))
	}
}

// plainError leaves the address out, and says the way out where a certificate is what is wrong.
func (w *Webhook) plainError(err error) error {
	var u *url.Error
	if !errors.As(err, &u) {
		return err
	}
	var unknown x509.UnknownAuthorityError
	var host x509.HostnameError
	switch {
	case u.Timeout():
		return errors.New("the receiver did not answer in time")
	case errors.As(err, &unknown) && w.o.CAFile != "":
		return fmt.Errorf("the receiver's certificate is not signed by an authority in %s (alerts.webhook.ca_file)", w.o.CAFile)
	case errors.As(err, &unknown):
		return errors.New("the receiver's certificate is signed by no authority that this system knows: name the authority's file as alerts.webhook.ca_file")
	case errors.As(err, &host):
		return errors.New("the receiver's certificate is for another name: use the name it is for in alerts.webhook.url")
	}
	return u.Err
}

// readAuthorities reads a file of certificates in PEM form.
func readAuthorities(path string) (*x509.CertPool, error) {
	text, err := readLimited(path, maxCA)
	if err != nil {
		return nil, fmt.Errorf("the file of authorities: %w", err)
	}
	pool := x509.NewCertPool()
	if len(text) > maxCA || !pool.AppendCertsFromPEM(text) {
		return nil, fmt.Errorf("the file of authorities %s must hold certificates in PEM form, at most %d bytes", path, maxCA)
	}
	return pool, nil
}

// readLimited reads a file, of a longer one a byte more than the limit.
func readLimited(path string, limit int64) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, limit+1))
}

// ReadToken reads a file that holds a token and nothing else: printable characters, at most 4 KiB.
func ReadToken(path string) (string, error) {
	b, err := readLimited(path, maxToken)
	if err != nil {
		return "", fmt.Errorf("the token file: %w", err)
	}
	token := strings.TrimSpace(string(b))
	if token == "" || len(b) > maxToken || strings.ContainsFunc(token, func(r rune) bool { return r <= ' ' || r > '~' }) {
		return "", fmt.Errorf("the token file %s must hold one token of printable characters and nothing else, at most %d bytes", path, maxToken)
	}
	return token, nil
}
