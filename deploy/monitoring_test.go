package deploy

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strings"
	"testing"

	"gopkg.in/yaml.v3"

	"aliquot/bridge/needed"
)

func runTool(t *testing.T, name string, args ...string) {
	t.Helper()
	cmd := exec.Command(needed.Program(t, map[string]string{"promtool": "prometheus", "amtool": "prometheus-alertmanager"}[name], name), args...)
	cmd.Dir = "prometheus"
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Errorf("%s %s: %v\n%s", name, strings.Join(args, " "), err, out)
	}
}

func TestPromtoolAcceptsTheRules(t *testing.T) {
	runTool(t, "promtool", "check", "rules", "--lint-fatal", "aliquot.rules.yml")
	runTool(t, "promtool", "check", "config", "prometheus.yml")
	runTool(t, "promtool", "check", "config", "office.yml")
}

func TestAlertsFireAndHoldBack(t *testing.T) {
	runTool(t, "promtool", "test", "rules", "aliquot.rules.test.yml")
}

func TestAmtoolAcceptsTheRoutes(t *testing.T) {
	runTool(t, "amtool", "check-config", "alertmanager.yml")
}

// ruleFile is what these tests need of an alert rule.
type ruleFile struct {
	Groups []struct {
		Rules []struct {
			Alert, Expr         string
			Labels, Annotations map[string]string
		}
	}
}

func rules(t *testing.T) (out ruleFile) {
	t.Helper()
	readYAML(t, "prometheus/aliquot.rules.yml", &out)
	return out
}

func readYAML(t *testing.T, path string, into any) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := yaml.Unmarshal(b, into); err != nil {
		t.Fatalf("%s: %v", path, err)
	}
}

// Every alert has a case in which it fires and one in which it does not, and says what to do.
func TestEveryAlertIsTested(t *testing.T) {
	var cases struct {
		Tests []struct {
			Name  string
			Rules []struct {
				Alert  string `yaml:"alertname"`
				Expect []any  `yaml:"exp_alerts"`
			} `yaml:"alert_rule_test"`
		}
	}
	readYAML(t, "prometheus/aliquot.rules.test.yml", &cases)
	fires, holds := map[string]bool{}, map[string]bool{}
	for _, c := range cases.Tests {
		for _, r := range c.Rules {
			if len(r.Expect) > 0 {
				fires[r.Alert] = true
			} else {
				holds[r.Alert] = true
			}
		}
	}
	found := 0
	for _, g := range rules(t).Groups {
		for _, r := range g.Rules {
			found++
			if !fires[r.Alert] || !holds[r.Alert] {
				t.Errorf("%s: tested to fire %v, to hold back %v", r.Alert, fires[r.Alert], holds[r.Alert])
			}
			if s := r.Labels["severity"]; !slices.Contains([]string{"critical", "warning", "note"}, s) {
				t.Errorf("%s: severity %q", r.Alert, s)
			}
			if r.Annotations["summary"] == "" || r.Annotations["description"] == "" || !regexp.MustCompile(`^Aliquot[A-Z][A-Za-z]+$`).MatchString(r.Alert) {
				t.Errorf("%s: no summary, no description, or an odd name", r.Alert)
			}
		}
	}
	if found < 10 {
		t.Errorf("%d alerts were read; want all", found)
	}
}

var metricName = regexp.MustCompile(`\baliquot_[a-z0-9_]+`)

// known are the metrics of the golden page of package metrics, and those that need what its page does not have.
func known(t *testing.T) map[string]bool {
	t.Helper()
	b, err := os.ReadFile("../bridge/metrics/testdata/page.golden")
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]bool{}
	for _, name := range metricName.FindAllString(string(b), -1) {
		out[name] = true
	}
	if len(out) < 50 {
		t.Fatalf("the golden page has %d metrics", len(out))
	}
	return out
}

func TestRulesUseMetricsThatExist(t *testing.T) {
	names := known(t)
	for _, g := range rules(t).Groups {
		for _, r := range g.Rules {
			for _, m := range metricName.FindAllString(r.Expr, -1) {
				if !names[m] {
					t.Errorf("%s uses %s, which does not exist", r.Alert, m)
				}
			}
		}
	}
}

// dashboard is what these tests need of the file.
type dashboard struct {
	ID            *int
	UID           string
	Title         string
	SchemaVersion int
	Templating    struct {
		List []struct{ Name, Type, Definition string }
	}
	Panels []struct {
		ID                       int
		Type, Title, Description string
		Datasource               struct{ UID string }
		GridPos                  struct{ X, Y, W, H int }
		Targets                  []struct {
			Expr       string
			Datasource struct{ UID string }
		}
	}
}

// The dashboard can be imported anywhere: it names no data source and no site of ours, its panels do not overlap, and
// each says what it shows.
func TestDashboard(t *testing.T) {
	b, err := os.ReadFile("grafana/aliquot.json")
	if err != nil {
		t.Fatal(err)
	}
	var d dashboard
	if err := json.Unmarshal(b, &d); err != nil {
		t.Fatal(err)
	}
	if d.ID != nil || !regexp.MustCompile(`^[a-z-]{8,40}$`).MatchString(d.UID) || d.SchemaVersion < 36 || d.Title == "" {
		t.Errorf("id %v, uid %q, schema %d, title %q", d.ID, d.UID, d.SchemaVersion, d.Title)
	}
	var variables []string
	for _, v := range d.Templating.List {
		variables = append(variables, v.Name)
	}
	if fmt.Sprint(variables) != "[datasource site system quantity]" {
		t.Errorf("variables %v", variables)
	}
	names, taken, ids := known(t), map[[2]int]string{}, map[int]bool{}
	for _, p := range d.Panels {
		if ids[p.ID] || p.GridPos.X+p.GridPos.W > 24 || p.GridPos.W < 1 || p.GridPos.H < 1 {
			t.Errorf("%s: id %d twice %v, place %+v", p.Title, p.ID, ids[p.ID], p.GridPos)
		}
		ids[p.ID] = true
		for x := p.GridPos.X; x < p.GridPos.X+p.GridPos.W; x++ {
			for y := p.GridPos.Y; y < p.GridPos.Y+p.GridPos.H; y++ {
				if other := taken[[2]int{x, y}]; other != "" {
					t.Fatalf("%s lies on %s", p.Title, other)
				}
				taken[[2]int{x, y}] = p.Title
			}
		}
		if p.Type == "row" {
			continue
		}
		if p.Description == "" || len(p.Targets) == 0 || p.Datasource.UID != "${datasource}" {
			t.Errorf("%s: description %q, %d targets, data source %q", p.Title, p.Description, len(p.Targets), p.Datasource.UID)
		}
		for _, q := range p.Targets {
			if q.Datasource.UID != "${datasource}" || !strings.Contains(q.Expr, `site="$site"`) {
				t.Errorf("%s: data source %q, query %s", p.Title, q.Datasource.UID, q.Expr)
			}
			for _, m := range metricName.FindAllString(q.Expr, -1) {
				if !names[m] {
					t.Errorf("%s uses %s, which does not exist", p.Title, m)
				}
			}
		}
	}
}
