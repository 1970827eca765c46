package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
	alerting "aliquot/bridge/notify"
)

// receiver is somebody who is told of alerts by HTTP. It takes nothing while it is shut.
type receiver struct {
	*httptest.Server
	mu       sync.Mutex
	shut     bool
	refused  int
	messages []alerting.Message
	tokens   map[string]bool
}

func newReceiver(t *testing.T) *receiver {
	t.Helper()
	r := &receiver{tokens: map[string]bool{}}
	r.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, q *http.Request) {
		body, _ := io.ReadAll(q.Body)
		r.mu.Lock()
		defer r.mu.Unlock()
		var m alerting.Message
		if r.shut || json.Unmarshal(body, &m) != nil {
			r.refused++
			w.WriteHeader(http.StatusServiceUnavailable)
			return
		}
		r.tokens[q.Header.Get("Authorization")] = true
		r.messages = append(r.messages, m)
	}))
	t.Cleanup(r.Close)
	return r
}

func (r *receiver) set(shut bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.shut = shut
}

// find gives the first message about an alert in a state.
func (r *receiver) find(alert string, state alerting.State) (m alerting.Message, refused int, ok bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, m := range r.messages {
		if m.Alert == alert && m.State == state {
			return m, r.refused, true
		}
	}
	return m, r.refused, false
}

// told reads what a command wrote down.
func told(t *testing.T, path string) (out []alerting.Message) {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		return nil
	}
	defer f.Close()
	for s := bufio.NewScanner(f); s.Scan(); {
		var m alerting.Message
		if err := json.Unmarshal(s.Bytes(), &m); err != nil {
			t.Fatalf("the command got %q: %v", s.Text(), err)
		}
		out = append(out, m)
	}
	return out
}

// eventually waits for something that happens in another process.
func eventually(t *testing.T, what string, done func() bool) {
	t.Helper()
	for late := time.Now().Add(patience); !done(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(late) {
			t.Fatalf("not seen within %s: %s", patience, what)
		}
	}
}

// TestH41AlertsReachTheKeeper runs the service with a webhook that is shut at first and with a command (INV-13).
func TestH41AlertsReachTheKeeper(t *testing.T) {
	t.Parallel()
	hook, out := newReceiver(t), filepath.Join(t.TempDir(), "told")
	hook.set(true)
	script := writeFile(t, "tell", "#!/bin/sh\ncat >> \"$1\"\n")
	if err := os.Chmod(script, 0o700); err != nil {
		t.Fatal(err)
	}
	alerts := fmt.Sprintf(`{webhook: {url: "%s/tell?secret", token_file: %q}, command: {argv: [%q, %q], level: critical}}`,
		hook.URL, writeFile(t, "token", "abc\n"), script, out)
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), "told", func(q *quay) { q.Alerts = alerts })
	r.commission()
	r.nodes()
	p := r.daemon("")
	r.owns(p)
	r.keeper.say(r.quay.Site+"/board/1/run", foreignRun("FOREIGN", 5), false)

	const alert = "lockout-alk-fault"
	eventually(t, "the command is told of "+alert, func() bool {
		for _, m := range told(t, out) {
			if m.Alert == alert && m.State == alerting.Raised && m.Level == machine.Critical && m.Site == "told" && m.Text != "" {
				return true
			}
		}
		return false
	})
	eventually(t, "the shut webhook was tried", func() bool { _, refused, _ := hook.find("", ""); return refused > 0 })
	if a := r.ask(machine.VerbHold, `"all":true`); !a.OK {
		t.Errorf("the service does not answer while its webhook is shut: %s", a.Text)
	}
	hook.set(false)
	eventually(t, "the webhook is told of "+alert, func() bool { _, _, ok := hook.find(alert, alerting.Raised); return ok })
	if a := r.ask(machine.VerbClear, `"channel":"alk","code":"fault"`); !a.OK {
		t.Fatalf("clearing the fault: %s", a.Text)
	}
	eventually(t, "the webhook is told that it is over", func() bool { _, _, ok := hook.find(alert, alerting.Cleared); return ok })
	r.checkTold(p, hook, out)
}

// checkTold looks at what must not have happened, and at the counts.
func (r *rig) checkTold(p *process, hook *receiver, out string) {
	r.t.Helper()
	for _, m := range told(r.t, out) {
		if m.Level != machine.Critical {
			r.t.Errorf("the command was told of %s of level %s; it wants critical ones", m.Alert, m.Level)
		}
	}
	hook.mu.Lock()
	defer hook.mu.Unlock()
	if len(hook.tokens) != 1 || !hook.tokens["Bearer abc"] {
		r.t.Errorf("the webhook got the tokens %v", hook.tokens)
	}
	_, page := p.get("/metrics")
	for _, part := range []string{`aliquot_notification_failures_total{site="told",way="webhook"} ` + fmt.Sprint(hook.refused),
		`aliquot_notification_failures_total{site="told",way="command"} 0`, `aliquot_notifications_dropped_total{site="told",way="webhook"} 0`} {
		if !contains(page, part+"\n") {
			r.t.Errorf("/metrics does not have %s", part)
		}
	}
	if said := withoutWarnings(p.out.text()); contains(said, "secret") || contains(said, "abc") || !contains(said, "an alert could not be told") {
		r.t.Errorf("the log says nothing of the shut webhook, or too much")
	}
}

func TestNotifyCommand(t *testing.T) {
	hook, out := newReceiver(t), filepath.Join(t.TempDir(), "told")
	script := writeFile(t, "tell", "#!/bin/sh\ncat > \"$1\"\n")
	if err := os.Chmod(script, 0o700); err != nil {
		t.Fatal(err)
	}
	both := fmt.Sprintf(`{webhook: {url: %q, level: critical}, command: {argv: [%q, %q]}}`, hook.URL, script, out)
	for _, c := range []struct {
		name, alerts string
		args         []string
		code         int
		want         string // in what it prints
	}{
		{"nobody to tell", "", []string{"--test"}, exitFailed, "no alerts.webhook and no alerts.command"},
		{"no flag", both, nil, exitUsage, "nothing was sent"},
		{"both", both, []string{"--test"}, exitOK, "webhook: told"},
		{"one fails", `{webhook: {url: "http://127.0.0.1:1/"}, command: {argv: ["` + script + `", "` + out + `"]}}`, []string{"--test"}, exitFailed, "webhook: not told: "},
	} {
		t.Run(c.name, func(t *testing.T) {
			q := newQuay(t, nil, "notified")
			q.Alerts = c.alerts
			got := command(t, append([]string{"notify", "-c", q.write(t, "site.yaml")}, c.args...)...)
			if got.code != c.code || !strings.Contains(got.out+got.err, c.want) {
				t.Errorf("%s\nwant code %d and %q", got, c.code, c.want)
			}
		})
	}
	if m, _, ok := hook.find("test", alerting.Test); !ok || m.Site != "notified" || len(hook.messages) != 1 {
		t.Errorf("the webhook got %v; want one test message", hook.messages)
	}
	if m := told(t, out); len(m) != 1 || m[0].State != alerting.Test {
		t.Errorf("the command got %v; want one test message", m)
	}
}
