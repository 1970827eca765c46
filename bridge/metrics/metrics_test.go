package metrics

import (
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/needed"
	"aliquot/planner"
	"aliquot/safety"
)

var update = flag.Bool("update", false, "rewrite the golden files")

func at(hour, minute int) time.Time { return time.Date(2027, 3, 2, hour, minute, 0, 0, time.UTC) }

func ptr[T any](v T) *T { return &v }

// shed is the invented harbour shed, reduced to one of each.
func shed() machine.Site {
	return machine.Site{Name: "harbour-shed", Version: "0.1.0",
		Systems:  []planner.System{{ID: "nursery", Targets: []planner.Target{{Quantity: "alkalinity"}}}},
		Channels: []machine.Channel{{Channel: planner.Channel{ID: "alk"}}},
		Nodes:    []machine.Node{{ID: "board"}}, Probes: []machine.Probe{{ID: "ph"}}}
}

func view() machine.SiteView {
	return machine.SiteView{
		At: at(9, 0), Site: "harbour-shed", Version: "0.1.0", LedgerRows: 4711, NextTick: ptr(at(9, 7)), LastPlan: ptr(at(8, 7)),
		Why:     []machine.BlockView{{Code: safety.LinkDown}, {Code: "brand_new"}},
		Systems: []machine.SystemView{{ID: "nursery", NetL: 340, AragoniteSaturation: ptr(4.25)}},
		Quantities: []machine.QuantityView{{System: "nursery", Quantity: "alkalinity", Unit: "dKH", Level: ptr(8.31), LevelSD: ptr(0.09),
			ConsumptionPerDay: ptr(1.21), ConsumptionSD: ptr(0.06), Target: 8.3, Band: 0.5, TestsUsed: 14, TestsSetAside: 1,
			LastTest: ptr(at(7, 30)), TestDue: ptr(at(7, 30)), Unconfirmed: ptr(5.2),
			NextTest: ptr(at(7, 30).AddDate(0, 0, 3)), TrendPerDay: ptr(0.018), Gain: ptr(0.97), GainSD: ptr(0.03), Pending: ptr(0.21)}},
		Channels: []machine.ChannelView{{ID: "alk", Running: true, RateMLPerMin: ptr(9.0), Calibrated: ptr(at(6, 0)), Primed: true,
			PlannedMLPerDay: 97.5, Window24hHiML: 102.25, PerDayML: 180, TotalHiML: 1210.5, TotalLoML: 1093.25, RunSeconds: 7411.2, TubingLifeSeconds: ptr(1.8e6),
			Next: &machine.PlannedRun{At: at(9, 30), VolumeML: 2.02}, LastRun: ptr(at(9, 0)), CapExpected: ptr(at(9, 0).AddDate(0, 2, 0)), Course: &machine.CourseView{State: machine.CourseRunning, TotalML: ptr(80.0), GivenML: 21.5}, Withheld: []machine.BlockView{{Code: safety.OnHold}}}},
		Containers: []machine.ContainerView{{ID: "carbonate-jug", CapacityML: 5000, StopML: 150, RemainingMinML: 3789.5, RemainingMaxML: 3906.75, DaysLeft: ptr(37.5), DaysLeftLow: ptr(32.5), Low: true, LevelML: ptr(3850.5)}},
		Probes:     []machine.ProbeView{{ID: "ph", Quantity: "pH", Unit: "pH", Value: ptr(8.21), Seen: ptr(at(8, 59)), Good: true}},
		Nodes:      []machine.NodeView{{ID: "board", Online: true, Proven: ptr(at(6, 30))}},
		Interlocks: []machine.InterlockView{{Name: "ph-high", Active: true}},
		Alerts: []machine.AlertView{{Name: "a", Level: machine.Warning, Raised: true}, {Name: "b", Level: machine.Warning, Raised: true, Acknowledged: true},
			{Name: "c", Level: machine.Critical}},
	}
}

func scrape(t *testing.T, m *Metrics) string {
	t.Helper()
	w := httptest.NewRecorder()
	m.Handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	if w.Code != http.StatusOK {
		t.Fatalf("scrape: %d %s", w.Code, w.Body)
	}
	return w.Body.String()
}

// value gives the sample of a series, and false if the series is not on the page.
func value(page, series string) (string, bool) {
	for l := range strings.SplitSeq(page, "\n") {
		if v, ok := strings.CutPrefix(l, series+" "); ok {
			return v, true
		}
	}
	return "", false
}

func wantValue(t *testing.T, page, series, want string) {
	t.Helper()
	got, ok := value(page, series)
	if want == "" && ok {
		t.Errorf("%s is %s; want it left out", series, got)
	}
	if want != "" && got != want {
		t.Errorf("%s is %q; want %s", series, got, want)
	}
}

func TestWholePageGolden(t *testing.T) {
	m := New(shed())
	m.Observe(view())
	m.Count(machine.Count{Metric: machine.MetricRuns, Labels: [2]string{"alk", "finished"}})
	m.ConnectionLost()
	got := scrape(t, m)
	const file = "testdata/page.golden"
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("the page differs from %s (-update rewrites it):\n%s", file, firstDifference(got, string(want)))
	}
}

func firstDifference(a, b string) string {
	x, y := strings.Split(a, "\n"), strings.Split(b, "\n")
	for i := range min(len(x), len(y)) {
		if x[i] != y[i] {
			return fmt.Sprintf("line %d\ngot  %s\nwant %s", i+1, x[i], y[i])
		}
	}
	return fmt.Sprintf("%d lines; want %d", len(x), len(y))
}

func TestPromtoolFindsNothing(t *testing.T) {
	tool := needed.Program(t, "prometheus", "promtool")
	m := New(shed())
	m.Observe(view())
	cmd := exec.Command(tool, "check", "metrics")
	cmd.Stdin = strings.NewReader(scrape(t, m))
	if out, err := cmd.CombinedOutput(); err != nil || len(out) > 0 {
		t.Errorf("promtool: %v\n%s", err, out)
	}
}

func TestCountersStandAtZeroFromTheStart(t *testing.T) {
	page := scrape(t, New(shed()))
	for _, series := range []string{
		`aliquot_runs_total{channel="alk",outcome="unknown",site="harbour-shed"}`,
		`aliquot_runs_withheld_total{channel="alk",reason="day_cap",site="harbour-shed"}`,
		`aliquot_requests_total{site="harbour-shed",verb="out-of-service"}`,
		`aliquot_answers_total{code="needs_confirm",site="harbour-shed"}`,
		`aliquot_problems_total{code="too_large",site="harbour-shed"}`,
		`aliquot_probe_readings_total{probe="ph",result="bad",site="harbour-shed"}`,
		`aliquot_tests_total{quantity="alkalinity",site="harbour-shed",system="nursery"}`,
		`aliquot_node_reports_total{node="board",site="harbour-shed",state="refused"}`,
		`aliquot_mqtt_connection_losses_total{site="harbour-shed"}`,
		`aliquot_messages_dropped_total{site="harbour-shed"}`,
		`aliquot_notification_attempts_total{site="harbour-shed",way="webhook"}`,
		`aliquot_notification_failures_total{site="harbour-shed",way="command"}`,
		`aliquot_notifications_dropped_total{site="harbour-shed",way="webhook"}`,
		`aliquot_ready{site="harbour-shed"}`,
	} {
		wantValue(t, page, series, "0")
	}
	wantValue(t, page, `aliquot_info{site="harbour-shed",version="0.1.0"}`, "1")
	wantValue(t, page, `aliquot_ledger_rows{site="harbour-shed"}`, "")
}

func TestCounts(t *testing.T) {
	m := New(shed())
	m.Count(machine.Count{Metric: machine.MetricRequests, Labels: [2]string{"test", "ok"}})
	m.Count(machine.Count{Metric: machine.MetricRequests, Labels: [2]string{"test", "day_cap"}})
	m.Count(machine.Count{Metric: machine.MetricProblems, Labels: [2]string{"too_many"}})
	m.Count(machine.Count{Metric: machine.MetricReports, Labels: [2]string{"board", "on"}})
	m.Count(machine.Count{Metric: machine.MetricRuns, Labels: [2]string{"a stranger", "finished"}})
	m.Count(machine.Count{Metric: "unheard_of", Labels: [2]string{"x", "y"}})
	m.Dropped()
	m.CountWay("webhook", WayFailures)
	m.CountWay("a stranger", WayDropped)
	page := scrape(t, m)
	wantValue(t, page, `aliquot_notification_failures_total{site="harbour-shed",way="webhook"}`, "1")
	wantValue(t, page, `aliquot_notifications_dropped_total{site="harbour-shed",way="other"}`, "1")
	wantValue(t, page, `aliquot_requests_total{site="harbour-shed",verb="test"}`, "2")
	wantValue(t, page, `aliquot_answers_total{code="ok",site="harbour-shed"}`, "1")
	wantValue(t, page, `aliquot_answers_total{code="day_cap",site="harbour-shed"}`, "1")
	wantValue(t, page, `aliquot_problems_total{code="too_many",site="harbour-shed"}`, "1")
	wantValue(t, page, `aliquot_node_reports_total{node="board",site="harbour-shed",state="on"}`, "1")
	wantValue(t, page, `aliquot_runs_total{channel="other",outcome="finished",site="harbour-shed"}`, "1")
	wantValue(t, page, `aliquot_messages_dropped_total{site="harbour-shed"}`, "1")
	if strings.Contains(page, "stranger") || strings.Contains(page, "unheard_of") {
		t.Error("a name that is not configured became a label")
	}
}

func TestUnknownSaturationLeavesThePage(t *testing.T) {
	m := New(shed())
	v := view()
	m.Observe(v)
	const series = `aliquot_system_aragonite_saturation_ratio{site="harbour-shed",system="nursery"}`
	wantValue(t, scrape(t, m), series, "4.25")
	v.Systems = []machine.SystemView{{ID: "nursery", NetL: 340}}
	m.Observe(v)
	wantValue(t, scrape(t, m), series, "")
}

func TestStaleProbeLeavesThePage(t *testing.T) {
	m := New(shed())
	v := view()
	m.Observe(v)
	const series = `aliquot_probe_value{probe="ph",quantity="pH",site="harbour-shed",unit="pH"}`
	wantValue(t, scrape(t, m), series, "8.21")
	v.Probes = []machine.ProbeView{{ID: "ph", Quantity: "pH", Unit: "pH", Value: ptr(8.21), Seen: ptr(at(8, 59)), Why: "stale"}}
	m.Observe(v)
	page := scrape(t, m)
	wantValue(t, page, series, "")
	wantValue(t, page, `aliquot_probe_good{probe="ph",site="harbour-shed"}`, "0")
	if _, ok := value(page, `aliquot_probe_seen_timestamp_seconds{probe="ph",site="harbour-shed"}`); !ok {
		t.Error("the time of the last reading is gone with it")
	}
}

func TestWithheldIsASetOfStates(t *testing.T) {
	m := New(shed())
	m.Observe(view())
	page := scrape(t, m)
	wantValue(t, page, `aliquot_channel_withheld{channel="alk",reason="hold",site="harbour-shed"}`, "1")
	wantValue(t, page, `aliquot_channel_withheld{channel="alk",reason="not_primed",site="harbour-shed"}`, "0")
	wantValue(t, page, `aliquot_channel_withheld{channel="alk",reason="other",site="harbour-shed"}`, "0")
	wantValue(t, page, `aliquot_withheld{reason="link_down",site="harbour-shed"}`, "1")
	wantValue(t, page, `aliquot_withheld{reason="other",site="harbour-shed"}`, "1")
}

func TestDispensedNeverFalls(t *testing.T) {
	m := New(shed())
	v := view()
	const hi = `aliquot_channel_dispensed_liters_total{bound="hi",channel="alk",site="harbour-shed"}`
	for _, step := range []struct {
		ml   float64
		want string
	}{{1000, "1"}, {1008, "1.008"}, {1000, "1.008"}, {1009, "1.009"}, {math.NaN(), "1.009"}} {
		v.Channels = []machine.ChannelView{{ID: "alk", TotalHiML: step.ml}}
		m.Observe(v)
		wantValue(t, scrape(t, m), hi, step.want)
	}
}

func TestNumbersThatAreNotFiniteAreLeftOut(t *testing.T) {
	m := New(shed())
	v := view()
	v.Quantities[0].Level, v.Containers[0].RemainingMaxML = ptr(math.NaN()), math.Inf(1)
	m.Observe(v)
	page := scrape(t, m)
	wantValue(t, page, `aliquot_quantity_level{quantity="alkalinity",site="harbour-shed",system="nursery",unit="dKH"}`, "")
	wantValue(t, page, `aliquot_container_remaining_liters{bound="max",container="carbonate-jug",site="harbour-shed"}`, "")
	wantValue(t, page, `aliquot_container_remaining_liters{bound="min",container="carbonate-jug",site="harbour-shed"}`, "3.7895")
}

func TestRuntimeIsAddedOnRequest(t *testing.T) {
	m := New(shed())
	if strings.Contains(scrape(t, m), "go_goroutines") {
		t.Error("runtime metrics without being asked for")
	}
	m.AddRuntime()
	if !strings.Contains(scrape(t, m), "go_goroutines") {
		t.Error("no runtime metrics")
	}
}

// Snapshots, counts and scrapes come from different goroutines; the race detector watches.
func TestConcurrentUse(t *testing.T) {
	m := New(shed())
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			for range 20 {
				m.Observe(view())
				m.Count(machine.Count{Metric: machine.MetricTests, Labels: [2]string{"nursery", "alkalinity"}})
				w := httptest.NewRecorder()
				m.Handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
			}
		})
	}
	wg.Wait()
	wantValue(t, scrape(t, m), `aliquot_tests_total{quantity="alkalinity",site="harbour-shed",system="nursery"}`, "80")
}

// Every code of package safety is in exactly one list here, so that none is lost under "other".
func TestEveryCodeIsListed(t *testing.T) {
	file, err := parser.ParseFile(token.NewFileSet(), "../../safety/codes.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	listed := words(standing, momentary, answering)
	found := 0
	ast.Inspect(file, func(n ast.Node) bool {
		s, ok := n.(*ast.ValueSpec)
		if !ok || len(s.Values) != 1 {
			return true
		}
		code := strings.Trim(s.Values[0].(*ast.BasicLit).Value, `"`)
		found++
		if !slices.Contains(listed, code) {
			t.Errorf("the code %s is in no list", code)
		}
		return true
	})
	slices.Sort(listed)
	if unique := slices.Compact(slices.Clone(listed)); len(unique) != len(listed) || len(listed) != found {
		t.Errorf("%d codes listed, %d of them different, %d exist", len(listed), len(unique), found)
	}
}
