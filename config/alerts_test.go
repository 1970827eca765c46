package config

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"time"
)

// withAlerts is base.yaml with an entry for alerts.
func withAlerts(t *testing.T, entry string) (*Site, Problems, Problems) {
	t.Helper()
	data, err := os.ReadFile("../testdata/config/good/base.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return Parse("f", []byte(strings.TrimRight(string(data), "\n")+"\n"+entry+"\n"))
}

func TestAlertsDefaults(t *testing.T) {
	site, problems, _ := withAlerts(t, "")
	if site == nil || site.Alerts != nil {
		t.Fatalf("without the key: alerts are %v, problems %v; want none of both", site, problems)
	}
	site, problems, _ = withAlerts(t, `alerts: {webhook: {url: "https://example.org/a"}, command: {argv: [/bin/tell]}}`)
	if site == nil {
		t.Fatal(problems)
	}
	a := site.Alerts
	if a.Webhook.Timeout != 10*time.Second || a.Command.Timeout != 30*time.Second || a.Webhook.Level != WarningAlert || a.Command.Level != WarningAlert {
		t.Errorf("defaults are %+v and %+v; want 10 s and 30 s, from warnings on", a.Webhook, a.Command)
	}
	monday := time.Date(2027, 3, 1, 10, 0, 0, 0, time.UTC)
	if got := a.Test.Cron.Next(monday.Add(-time.Minute)); !got.Equal(monday) {
		t.Errorf("the first test message is at %s; want %s", got, monday)
	}
	if got := a.Test.Cron.Next(monday); !got.Equal(monday.AddDate(0, 0, 7)) {
		t.Errorf("the next test message is at %s; want a week later", got)
	}
}

func TestAlertsBounds(t *testing.T) {
	long := strings.Repeat("x", maxArgument+1)
	for _, c := range []struct {
		name, entry string
		ok          bool
	}{
		{"webhook, least time", `alerts: {webhook: {url: "https://example.org/a", timeout: 1s}}`, true},
		{"webhook, below it", `alerts: {webhook: {url: "https://example.org/a", timeout: 0.9s}}`, false},
		{"webhook, most time", `alerts: {webhook: {url: "https://example.org/a", timeout: 60s}}`, true},
		{"webhook, above it", `alerts: {webhook: {url: "https://example.org/a", timeout: 61s}}`, false},
		{"command, most time", `alerts: {command: {argv: [/bin/tell], timeout: 5m}}`, true},
		{"command, above it", `alerts: {command: {argv: [/bin/tell], timeout: 301s}}`, false},
		{"no address", `alerts: {webhook: {timeout: 5s}}`, false},
		{"no host", `alerts: {webhook: {url: "https:///a"}}`, false},
		{"a fragment", `alerts: {webhook: {url: "https://example.org/a#b"}}`, false},
		{"an authority", `alerts: {webhook: {url: "https://example.org/a", ca_file: /nowhere/ca.pem}}`, true},
		{"an authority without https", `alerts: {webhook: {url: "http://example.org/a", ca_file: /nowhere/ca.pem}}`, false},
		{"no program", `alerts: {command: {timeout: 5s}}`, false},
		{"many arguments", `alerts: {command: {argv: [/bin/tell` + strings.Repeat(", x", maxArguments-1) + `]}}`, true},
		{"one more", `alerts: {command: {argv: [/bin/tell` + strings.Repeat(", x", maxArguments) + `]}}`, false},
		{"a long argument", `alerts: {command: {argv: [/bin/tell, ` + long[1:] + `]}}`, true},
		{"a longer one", `alerts: {command: {argv: [/bin/tell, ` + long + `]}}`, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			if site, problems, _ := withAlerts(t, c.entry); (site != nil) != c.ok {
				t.Errorf("accepted %v, want %v: %v", site != nil, c.ok, problems)
			}
		})
	}
}

// A token goes over the network as it is unless https hides it.
func TestAlertsTokenInTheOpen(t *testing.T) {
	for url, warned := range map[string]bool{
		"http://10.0.0.3/a": true, "https://10.0.0.3/a": false, "http://127.0.0.1:8080/a": false, "http://[::1]:8080/a": false, "http://localhost/a": false,
	} {
		site, problems, warnings := withAlerts(t, fmt.Sprintf("alerts: {webhook: {url: %q, token_file: /nowhere/token}}", url))
		if site == nil {
			t.Fatal(problems)
		}
		if got := strings.Contains(warnings.String(), "plain text"); got != warned {
			t.Errorf("%s: warned %v, want %v: %s", url, got, warned, warnings)
		}
	}
}
