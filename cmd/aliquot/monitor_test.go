package main

import (
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
	"aliquot/bridge/needed"
)

// monitor is a real Prometheus, a real Alertmanager and somebody who is told, with the files of deploy/prometheus but
// for addresses and times.
type monitor struct {
	t    *testing.T
	base string // of the Prometheus

	mu     sync.Mutex
	alerts []toldAlert
}

// toldAlert is one alert as an Alertmanager tells it.
type toldAlert struct {
	Status              string
	Labels, Annotations map[string]string
}

// freeLoopback gives an address of this host that nobody uses now.
func freeLoopback(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

func startMonitor(t *testing.T, service string) *monitor {
	t.Helper()
	prometheus, manager := needed.Program(t, "prometheus", "prometheus"), needed.Program(t, "prometheus-alertmanager", "prometheus-alertmanager")
	m := &monitor{t: t}
	receiver := httptest.NewServer(http.HandlerFunc(m.receive))
	t.Cleanup(receiver.Close)
	dir, at, managerAt := t.TempDir(), freeLoopback(t), freeLoopback(t)
	m.base = "http://" + at
	m.install(dir, "aliquot.rules.yml")
	m.install(dir, "prometheus.yml", "127.0.0.1:9480", service, "127.0.0.1:9093", managerAt, "_interval: 15s", "_interval: 1s")
	m.install(dir, "alertmanager.yml", "http://127.0.0.1:8080/alerts", receiver.URL, "group_wait: 10s", "group_wait: 1s", "group_interval: 1m", "group_interval: 1s")
	m.run(manager, "--config.file="+filepath.Join(dir, "alertmanager.yml"), "--storage.path="+filepath.Join(dir, "manager"),
		"--web.listen-address="+managerAt, "--cluster.listen-address=", "--log.level=warn")
	m.run(prometheus, "--config.file="+filepath.Join(dir, "prometheus.yml"), "--storage.tsdb.path="+filepath.Join(dir, "series"),
		"--web.listen-address="+at, "--log.level=warn")
	return m
}

// install copies a file of deploy/prometheus with pairs of old and new texts; each old one must be there.
func (m *monitor) install(dir, name string, replace ...string) {
	m.t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "deploy", "prometheus", name))
	if err != nil {
		m.t.Fatal(err)
	}
	text := string(b)
	for i := 0; i < len(replace); i += 2 {
		if !strings.Contains(text, replace[i]) {
			m.t.Fatalf("%s does not have %q", name, replace[i])
		}
		text = strings.ReplaceAll(text, replace[i], replace[i+1])
	}
	if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
		m.t.Fatal(err)
	}
}

func (m *monitor) run(path string, args ...string) {
	m.t.Helper()
	said := newSpeech()
	cmd := exec.Command(path, args...)
	cmd.Stdout, cmd.Stderr = said, said
	if err := cmd.Start(); err != nil {
		m.t.Fatal(err)
	}
	m.t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
		if m.t.Failed() {
			m.t.Logf("%s said:\n%s", filepath.Base(path), said.text())
		}
	})
}

func (m *monitor) receive(_ http.ResponseWriter, r *http.Request) {
	var body struct{ Alerts []toldAlert }
	if json.NewDecoder(r.Body).Decode(&body) == nil {
		m.mu.Lock()
		m.alerts = append(m.alerts, body.Alerts...)
		m.mu.Unlock()
	}
}

// told waits until somebody was told of an alert.
func (m *monitor) told(name, status string) (found toldAlert) {
	m.t.Helper()
	eventually(m.t, name+" is told as "+status, func() bool {
		m.mu.Lock()
		defer m.mu.Unlock()
		i := slices.IndexFunc(m.alerts, func(a toldAlert) bool { return a.Labels["alertname"] == name && a.Status == status })
		if i >= 0 {
			found = m.alerts[i]
		}
		return i >= 0
	})
	return found
}

// ask asks the Prometheus; data is what it answers.
func (m *monitor) ask(path string, data any) error {
	answer, err := http.Get(m.base + path)
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	b, err := io.ReadAll(answer.Body)
	if err != nil {
		return err
	}
	body := struct {
		Status, Error string
		Data          any
	}{Data: data}
	if err := json.Unmarshal(b, &body); err != nil {
		return fmt.Errorf("%w: %s", err, b)
	}
	if body.Status != "success" {
		return fmt.Errorf("%s: %s", body.Status, body.Error)
	}
	return nil
}

// series says how many series a query gives.
func (m *monitor) series(query string) (int, error) {
	var data struct{ Result []json.RawMessage }
	err := m.ask("/api/v1/query?query="+url.QueryEscape(query), &data)
	return len(data.Result), err
}

// needsMore are metrics that this test's site has nothing to show of, and why.
var needsMore = map[string]string{
	"aliquot_container_level_liters": "no container stands on a scale",
}

// dashboardQueries are those of deploy/grafana, with the variables filled in.
func dashboardQueries(t *testing.T, site string) (out []string) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "deploy", "grafana", "aliquot.json"))
	if err != nil {
		t.Fatal(err)
	}
	var d struct {
		Panels []struct{ Targets []struct{ Expr string } }
	}
	if err := json.Unmarshal(b, &d); err != nil {
		t.Fatal(err)
	}
	fill := strings.NewReplacer("$site", site, "$system", ".+", "$quantity", ".+", "$__rate_interval", "1m")
	for _, p := range d.Panels {
		for _, q := range p.Targets {
			if e := fill.Replace(q.Expr); strings.Contains(e, "$") {
				t.Errorf("a variable is left in %s", e)
			} else {
				out = append(out, e)
			}
		}
	}
	if len(out) < 30 {
		t.Fatalf("the dashboard has %d queries; want all", len(out))
	}
	return out
}

// TestMonitoring has a real Prometheus scrape the running service, evaluates every rule and every query of the dashboard
// there, and has a real Alertmanager tell somebody of a fault and of its end.
func TestMonitoring(t *testing.T) {
	t.Parallel()
	needed.Program(t, "prometheus", "prometheus")
	const site = "watched"
	b := mosquittotest.Start(t, mosquittotest.Options{})
	r := newRig(t, b, site, func(q *quay) {
		q.Extra = `probes:
  ph: {system: quay, topic: watched/ph, quantity: pH, range: 6.8..9.0, stale_after: 10m, stuck_after: 12h}
interlocks:
  - {name: ph-high, when: {probe: ph, above: 8.50, for: 2m}, until: {below: 8.40, for: 10m}, block: [alk]}`
	})
	r.commission()
	r.nodes()
	p := r.daemon("")
	r.owns(p)
	r.keeper.say("watched/ph", "8.21", false)
	for _, q := range []string{`"quantity":"alkalinity","value":7.9,"unit":"dKH"`, `"quantity":"calcium","value":425,"unit":"mg/L"`} {
		if a := r.ask(machine.VerbTest, `"system":"quay",`+q); !a.OK {
			t.Fatalf("entering a test: %s", a.Text)
		}
	}
	m := startMonitor(t, strings.TrimPrefix(p.address(), "http://"))
	eventually(t, "a scrape that worked twice", func() bool {
		n, err := m.series(`aliquot_info{site="watched"} and on (job) count_over_time(up{job="aliquot"}[1m]) >= 3`)
		return err == nil && n == 1
	})
	r.checkRules(m)
	r.checkDashboard(m)

	r.keeper.say(site+"/board/1/run", foreignRun("FOREIGN", 5), false)
	a := m.told("AliquotCritical", "firing")
	if a.Labels["site"] != site || a.Labels["severity"] != "critical" || !contains(a.Annotations["summary"], site+": ") || !contains(a.Annotations["summary"], " critical alert(s)") {
		t.Errorf("the alert is %+v", a)
	}
	if a := m.told("AliquotChannelFault", "firing"); !contains(a.Annotations["description"], "aliquot ask clear channel="+a.Labels["channel"]+" code=fault") {
		t.Errorf("the alert does not say the way out: %+v", a)
	}
	for _, channel := range []string{"alk", "ca"} { // the board said so of the next run too
		if a := r.ask(machine.VerbClear, fmt.Sprintf(`"channel":%q,"code":"fault"`, channel)); !a.OK {
			t.Fatalf("clearing the fault of %s: %s", channel, a.Text)
		}
	}
	m.told("AliquotChannelFault", "resolved")
	m.told("AliquotCritical", "resolved")
}

// checkRules holds that every rule was evaluated, and that nothing is alerted in a healthy site.
func (r *rig) checkRules(m *monitor) {
	r.t.Helper()
	var data struct {
		Groups []struct {
			Rules []struct{ Name, Health, LastError, State string }
		}
	}
	evaluated := func() bool {
		if err := m.ask("/api/v1/rules", &data); err != nil {
			r.t.Fatal(err)
		}
		for _, g := range data.Groups {
			for _, rule := range g.Rules {
				if rule.Health == "unknown" {
					return false
				}
			}
		}
		return len(data.Groups) > 0
	}
	eventually(r.t, "every rule is evaluated", evaluated)
	for _, g := range data.Groups {
		for _, rule := range g.Rules {
			if rule.Health != "ok" || rule.State == "firing" {
				r.t.Errorf("rule %s: health %s %s, state %s", rule.Name, rule.Health, rule.LastError, rule.State)
			}
		}
	}
}

// checkDashboard holds that every query gives data, but for those of needsMore.
func (r *rig) checkDashboard(m *monitor) {
	r.t.Helper()
	used := map[string]bool{}
	for _, q := range dashboardQueries(r.t, r.quay.Site) {
		n, err := m.series(q)
		if err != nil {
			r.t.Errorf("%s: %v", q, err)
			continue
		}
		for metric := range needsMore {
			if strings.Contains(q, metric) {
				used[metric] = true
				n++
			}
		}
		if n == 0 {
			r.t.Errorf("no data for %s", q)
		}
	}
	for metric, why := range needsMore {
		if !used[metric] {
			r.t.Errorf("%s is excused (%s) and in no query", metric, why)
		}
		if n, err := m.series(metric); err != nil || n > 0 {
			r.t.Errorf("%s is excused (%s) and has %d series, %v", metric, why, n, err)
		}
	}
}
