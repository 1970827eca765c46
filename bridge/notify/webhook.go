package notify

import (
	"bytes"
	"context"
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
	Timeout   time.Duration
	Version   string // of the program, for the receiver's log
}

// Webhook posts messages. It follows no redirect, uses no proxy and keeps no connection.
type Webhook struct {
	o      WebhookOptions
	client *http.Client
}

const (
	maxToken  = 4 << 10
	maxAnswer = 4 << 10 // of an answer this much is read, and nothing of it is believed
)

// NewWebhook makes a webhook; nothing is opened yet.
func NewWebhook(o WebhookOptions) *Webhook {
	return &Webhook{o: o, client: &http.Client{
		Timeout:       o.Timeout,
		Transport:     &http.Transport{DisableKeepAlives: true, MaxResponseHeaderBytes: 16 << 10},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}}
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
		token, err := readToken(w.o.TokenFile)
		if err != nil {
			return err
		}
		r.Header.Set("Authorization", "Bearer "+token)
	}
	answer, err := w.client.Do(r)
	if err != nil {
		return plainError(err)
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

// plainError leaves the address out.
func plainError(err error) error {
	var u *url.Error
	switch {
	case !errors.As(err, &u):
		return err
	case u.Timeout():
		return errors.New("the receiver did not answer in time")
	}
	return u.Err
}

// readToken reads a file that holds a token and nothing else.
func readToken(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", fmt.Errorf("the token file: %w", err)
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, maxToken+1))
	if err != nil {
		return "", fmt.Errorf("the token file: %w", err)
	}
	token := strings.TrimSpace(string(b))
	if token == "" || len(b) > maxToken || strings.ContainsFunc(token, func(r rune) bool { return r <= ' ' || r > '~' }) {
		return "", fmt.Errorf("the token file %s must hold one token of printable characters and nothing else, at most %d bytes", path, maxToken)
	}
	return token, nil
}
