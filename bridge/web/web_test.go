package web

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"io"
	"log/slog"
	"math"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"

	"go.uber.org/goleak"
)

var update = flag.Bool("update", false, "rewrite the golden files")

func at(hour, minute int) time.Time { return time.Date(2027, 3, 2, hour, minute, 0, 0, time.UTC) }

func ptr[T any](v T) *T { return &v }

// view is the invented harbour shed, with names that try to be markup.
func view() machine.SiteView {
	return machine.SiteView{
		At: at(9, 0), Site: "harbour-shed", Version: "0.1.0", Ready: true, NextTick: ptr(at(9, 7)),
		Systems: []machine.SystemView{{ID: "nursery", NetL: 340, Withheld: []machine.BlockView{{Code: safety.OutOfService, Text: "moving house"}}}, {ID: "frag", NetL: 40}},
		Quantities: []machine.QuantityView{
			{System: "nursery", Quantity: "alkalinity", Unit: "dKH", Level: ptr(8.3123), LevelSD: ptr(0.09), ConsumptionPerDay: ptr(1.21), Target: 8.3, Band: 0.5, LastTest: ptr(at(7, 30)),
				TrendPerDay: ptr(0.018), TrendLow: ptr(0.005), TrendHigh: ptr(0.031), NextTest: ptr(at(19, 0).AddDate(0, 0, 2)), NextTestWhy: "the level will be known to half the band only",
				Advice: []machine.AdviceView{{Kind: "dose_answer", Text: "the system answers as if doses were <8 % weaker>"}}},
			{System: "nursery", Quantity: "magnesium", Unit: "mg/L", Level: ptr(1500.0), Target: 1330, Band: 50, Unconfirmed: ptr(1600.0)},
			{System: "nursery", Quantity: "calcium", Unit: "mg/L", Target: 430, Band: 20, Pending: ptr(1.5), PendingHours: ptr(6.0)}},
		Channels: []machine.ChannelView{
			{ID: "alk", System: "nursery", Container: "carbonate-jug", Node: "board", Running: true, PlannedMLPerDay: 97.456, Window24hHiML: 90, PerDayML: 180, RateMLPerMin: ptr(5.5), Calibrated: ptr(at(9, 0).AddDate(0, 0, -60)), Trials: 4, CVPercent: ptr(1.234), CapExpected: ptr(at(9, 0).AddDate(0, 2, 0)),
				Next: &machine.PlannedRun{At: at(9, 30), VolumeML: 2.02}, LastRun: ptr(at(9, 0)), LastOutcome: "finished"},
			{ID: "ca", System: "nursery", PerDayML: 180, Withheld: []machine.BlockView{
				{Code: safety.NotPrimed, Text: "<script>alert(1)</script>"}, {Code: safety.OnHold, Text: "feeding", Until: ptr(at(10, 0))}}}},
		Containers: []machine.ContainerView{{ID: "carbonate-jug", Supplement: "carbonate", CapacityML: 5000, StopML: 150, RemainingMinML: 3789.5, RemainingMaxML: 3906.8, DaysLeft: ptr(37.4), DaysLeftLow: ptr(32.1), LevelML: ptr(3850.2)},
			{ID: "trace-bottle", CapacityML: 500, Low: true, LevelWhy: ptr("nothing since 07:10")}, {ID: "magnesium-jug", CapacityML: 500, Low: true, Empty: true}},
		Probes:     []machine.ProbeView{{ID: "ph", Unit: "pH", Value: ptr(8.21), Seen: ptr(at(8, 59)), Good: true}, {ID: "leak", Why: "no reading for 31 min"}},
		Nodes:      []machine.NodeView{{ID: "board", Style: "bounded-run", Online: true}, {ID: "plug", Style: "switch", Needs: true}, {ID: "feed", Style: "supply", Online: true, On: new(bool)}},
		Interlocks: []machine.InterlockView{{Name: "floor-wet", Active: true, NoData: true}},
		Alerts: []machine.AlertView{{Name: "a", Level: "critical", Raised: true, Since: at(8, 0), Text: "look here", Acknowledged: true},
			{Name: "b", Level: "warning", Text: "over"}},
	}
}

// rig is a handler with a state that tests may change.
type rig struct {
	view   machine.SiteView
	none   bool
	now    time.Time
	turned time.Time
}

func newRig() *rig { return &rig{view: view(), now: at(9, 0), turned: at(9, 0)} }

func (r *rig) options() Options {
	return Options{Latest: func() (Snapshot, bool) { return Snapshot{View: r.view, Turned: r.turned}, !r.none },
		Now: func() time.Time { return r.now }, Logger: slog.New(slog.DiscardHandler),
		Metrics: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = io.WriteString(w, "metrics here\n") })}
}

func (r *rig) do(method, path string) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	Handler(context.Background(), r.options()).ServeHTTP(w, httptest.NewRequest(method, path, nil))
	return w
}

func (r *rig) want(t *testing.T, path string, status int, text string) {
	t.Helper()
	w := r.do(http.MethodGet, path)
	if w.Code != status || !strings.Contains(w.Body.String(), text) {
		t.Errorf("GET %s = %d %q; want %d with %q", path, w.Code, w.Body, status, text)
	}
}

func TestHealthz(t *testing.T) {
	r := newRig()
	r.now = r.turned.Add(90 * time.Second)
	r.want(t, "/healthz", 200, "ok: the last turn was 90 s ago, the state is of 2027-03-02T09:00:00Z")
	r.now = r.turned.Add(90*time.Second + time.Nanosecond)
	r.want(t, "/healthz", 503, "stuck: the last turn was 90 s ago")
	r.none = true
	r.want(t, "/healthz", 503, "starting")
}

func TestHealthzDoesNotAskForReadiness(t *testing.T) {
	r := newRig()
	r.view.Ready = false
	r.want(t, "/healthz", 200, "ok")
}

func TestReadyz(t *testing.T) {
	r := newRig()
	r.want(t, "/readyz", 200, "ready")
	r.view.Ready, r.view.Why = false, []machine.BlockView{{Code: safety.LinkDown, Text: "there is no connection to the broker"}, {Code: safety.ClockUntrusted, Text: "not synchronised"}}
	r.want(t, "/readyz", 503, "not ready\nlink_down: there is no connection to the broker\nclock_untrusted: not synchronised\n")
	r.view.Ready = true
	r.now = r.turned.Add(2 * time.Minute)
	r.want(t, "/readyz", 503, "stuck")
	r.none = true
	r.want(t, "/readyz", 503, "starting")
}

func TestStateIsTheView(t *testing.T) {
	r := newRig()
	w := r.do(http.MethodGet, "/state.json")
	var got machine.SiteView
	if err := json.Unmarshal(w.Body.Bytes(), &got); err != nil || w.Header().Get("Content-Type") != "application/json" {
		t.Fatalf("%v, %s", err, w.Header())
	}
	a, _ := json.Marshal(got)
	b, _ := json.Marshal(view())
	if string(a) != string(b) {
		t.Errorf("got %s; want %s", a, b)
	}
	r.view.Containers[0].RemainingMaxML = math.NaN()
	r.want(t, "/state.json", 500, "cannot be written as JSON")
	r.none = true
	r.want(t, "/state.json", 503, "starting")
}

func TestOnlyReadingIsAllowed(t *testing.T) {
	r := newRig()
	for _, path := range []string{"/", "/healthz", "/readyz", "/state.json", "/metrics", "/nowhere"} {
		for _, method := range []string{"POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT"} {
			if w := r.do(method, path); w.Code != http.StatusMethodNotAllowed || w.Header().Get("Allow") != "GET, HEAD" {
				t.Errorf("%s %s = %d, Allow %q; want 405", method, path, w.Code, w.Header().Get("Allow"))
			}
		}
	}
	if w := r.do(http.MethodHead, "/"); w.Code != 200 {
		t.Errorf("HEAD / = %d", w.Code)
	}
	r.want(t, "/nowhere", 404, "")
	r.want(t, "/index.html", 404, "")
	r.want(t, "/metrics", 200, "metrics here")
}

func TestHeadersForbidEverythingForeign(t *testing.T) {
	r := newRig()
	for _, path := range []string{"/", "/healthz", "/style.css", "/pictures.css", "/live.js", "/metrics", "/nowhere"} {
		head := r.do(http.MethodGet, path).Header()
		for name, want := range map[string]string{"Content-Security-Policy": contentPolicy, "X-Content-Type-Options": "nosniff",
			"Referrer-Policy": "no-referrer", "Cache-Control": "no-store"} {
			if head.Get(name) != want {
				t.Errorf("%s: %s is %q; want %q", path, name, head.Get(name), want)
			}
		}
	}
	if !strings.HasPrefix(contentPolicy, "default-src 'none'") || strings.Contains(contentPolicy, "unsafe") || strings.Contains(contentPolicy, "*") {
		t.Errorf("the policy %q lets something run", contentPolicy)
	}
}

func TestPageGolden(t *testing.T) {
	w := newRig().do(http.MethodGet, "/")
	const file = "testdata/page.golden.html"
	if *update {
		if err := os.WriteFile(file, w.Body.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if w.Body.String() != string(want) {
		t.Errorf("the page differs from %s (-update rewrites it):\n%s", file, w.Body)
	}
}

func TestPageKeepsItsPolicy(t *testing.T) {
	body := newRig().do(http.MethodGet, "/").Body.String()
	body = strings.Replace(body, `<script src="live.js" defer></script>`, "", 1)
	for _, forbidden := range []string{"<script", "style=", "<style", "http://", "https://", "onclick", "<form"} {
		if strings.Contains(body, forbidden) {
			t.Errorf("the page has %s, which its own policy forbids", forbidden)
		}
	}
	if !strings.Contains(body, "&lt;script&gt;alert(1)&lt;/script&gt;") {
		t.Error("a text that looks like markup is not shown as text")
	}
}

func TestPageSaysWhatMatters(t *testing.T) {
	r := newRig()
	for _, want := range []string{"harbour-shed", `chip good">ready`, "look here", "97.46 mL a day", "next Tue 2 Mar 09:30, 2.02 mL", "withheld", "not_primed",
		"until Tue 2 Mar 10:00", "8.312 ", "a test of 1600 mg/L waits", "no test yet", "3790 to 3907 of 5000 mL", "lasts 37.4 days, at worst 32.1", "the sensor says 3850 mL", "the sensor says nothing: nothing since 07:10", "known within ± 0.148 (90 %)", "5.5 mL/min, calibrated 1 Jan 2027, 60 days ago, 4 trials that scatter by 1.2 % (CV)", "uses 1.21 dKH a day, rises by 0.126 a week (90 %: 0.035 to 0.217)",
		"next test Thu 4 Mar 19:00 (the level will be known to half the band only)", "as if doses were &lt;8 % weaker&gt;", "about 2 May 2027 its cap will no longer cover the use",
		"no reading for 31 min", "has to prove that it goes off by itself", "blocks", "moving house", "1.50 mg/L was dosed and is still to appear, most of it within 12 h", "Nothing is followed here", `href="metrics"`} {
		r.want(t, "/", 200, want)
	}
	if strings.Contains(r.do(http.MethodGet, "/").Body.String(), ">over<") {
		t.Error("an alert that is over is shown")
	}
	r.view.Ready, r.view.Why = false, []machine.BlockView{{Code: safety.SecondOwner, Text: "another instance owns this site"}}
	r.want(t, "/", 200, "not dosing")
	r.want(t, "/", 200, "another instance owns this site")
	r.now = r.turned.Add(time.Hour)
	r.want(t, "/", 200, "what stands below is old")
	r.none = true
	r.want(t, "/", 503, "starting")
}

// TestPageSaysHowToAcknowledge: an alert that nobody knows of comes with the command, one that is known without.
func TestPageSaysHowToAcknowledge(t *testing.T) {
	r := newRig()
	const how = "to say that you know of it: <code>aliquot acknowledge "
	if body := r.do(http.MethodGet, "/").Body.String(); strings.Contains(body, how) {
		t.Error("a page whose only alert is acknowledged says how to acknowledge")
	}
	r.view.Alerts[1].Raised = true
	if body := r.do(http.MethodGet, "/").Body.String(); strings.Count(body, how) != 1 || !strings.Contains(body, how+"b</code>") {
		t.Error("the page does not say how to acknowledge the alert that is not")
	}
}

func TestPageOfAnEmptySite(t *testing.T) {
	r := newRig()
	r.view = machine.SiteView{Site: "empty"}
	r.want(t, "/", 200, "empty")
}

func TestTimesAreInTheZoneOfTheSite(t *testing.T) {
	r := newRig()
	o := r.options()
	o.Zone = time.FixedZone("", 3*3600)
	o.Metrics = nil
	w := httptest.NewRecorder()
	Handler(context.Background(), o).ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/", nil))
	if body := w.Body.String(); !strings.Contains(body, "Tue 2 Mar 12:00") || strings.Contains(body, `href="metrics"`) {
		t.Errorf("page %s", body)
	}
}

func TestNumbers(t *testing.T) {
	for v, want := range map[float64]string{0: "0", 8.3123: "8.312", 8.3: "8.3", 97.456: "97.46", 430.04: "430", 430.06: "430.1", 1330: "1330",
		3789.5: "3790", 0.0004: "0", -2.5: "-2.5", math.Inf(1): "?"} {
		if got := number(v); got != want {
			t.Errorf("number(%v) = %s; want %s", v, got, want)
		}
	}
	if number(math.NaN()) != "?" {
		t.Error("NaN has a number")
	}
}

func TestPlaces(t *testing.T) {
	for _, c := range []struct{ v, from, to, want float64 }{
		{0, 0, 10, 0}, {5, 0, 10, 50}, {10, 0, 10, 100}, {-1, 0, 10, 0}, {11, 0, 10, 100}, {5, 10, 10, 0}, {math.NaN(), 0, 10, 0}, {5, 0, math.NaN(), 0},
	} {
		if got := place(c.v, c.from, c.to); got != c.want {
			t.Errorf("place(%v, %v, %v) = %v; want %v", c.v, c.from, c.to, got, c.want)
		}
	}
	if from, wide := span(-5, 5, 0, 10); from != 0 || wide != 50 {
		t.Errorf("span cut at the left = %v, %v; want 0, 50", from, wide)
	}
}

func get(t *testing.T, url string) (int, string) {
	t.Helper()
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}, Timeout: 5 * time.Second}
	resp, err := client.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = resp.Body.Close() }()
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	return resp.StatusCode, string(body)
}

func started(t *testing.T) *Server {
	t.Helper()
	s := New(newRig().options())
	if err := s.Start("127.0.0.1:0"); err != nil {
		t.Fatal(err)
	}
	return s
}

func TestServerLives(t *testing.T) {
	defer goleak.VerifyNone(t)
	s := started(t)
	if code, body := get(t, "http://"+s.Addr()+"/readyz"); code != 200 || body != "ready\n" {
		t.Errorf("readyz over the network = %d %q", code, body)
	}
	if err := s.Start("127.0.0.1:0"); err == nil {
		t.Error("a second Start is taken")
	}
	for range 2 {
		if err := s.Close(t.Context()); err != nil {
			t.Errorf("Close = %v", err)
		}
	}
	if c, err := net.Dial("tcp", s.Addr()); err == nil {
		_ = c.Close()
		t.Error("it still listens after Close")
	}
	if err := s.Start("127.0.0.1:0"); err == nil {
		t.Error("Start after Close is taken")
	}
}

func TestServerClosedBeforeStart(t *testing.T) {
	s := New(newRig().options())
	if s.Addr() != "" {
		t.Errorf("an address %q before Start", s.Addr())
	}
	if err := s.Close(t.Context()); err != nil {
		t.Errorf("Close before Start = %v", err)
	}
	if err := s.Start("127.0.0.1:0"); err == nil {
		t.Error("Start after Close is taken")
	}
}

func TestServerRefusesATakenAddress(t *testing.T) {
	defer goleak.VerifyNone(t)
	s := started(t)
	defer func() { _ = s.Close(t.Context()) }()
	if err := New(newRig().options()).Start(s.Addr()); err == nil || !strings.Contains(err.Error(), "http: listening on "+s.Addr()) {
		t.Errorf("a second server on %s: %v", s.Addr(), err)
	}
}

func TestServerTellsABrokenListener(t *testing.T) {
	defer goleak.VerifyNone(t)
	s := started(t)
	if err := s.listener.Close(); err != nil {
		t.Fatal(err)
	}
	<-s.done
	for range 2 {
		if err := s.Close(t.Context()); !errors.Is(err, net.ErrClosed) {
			t.Errorf("Close = %v; want what broke the listener", err)
		}
	}
}

// A request that does not end holds Close no longer than its context.
func TestServerDoesNotWaitForever(t *testing.T) {
	defer goleak.VerifyNone(t)
	held, release := make(chan struct{}), make(chan struct{})
	o := newRig().options()
	o.Metrics = http.HandlerFunc(func(http.ResponseWriter, *http.Request) { close(held); <-release })
	s := New(o)
	if err := s.Start("127.0.0.1:0"); err != nil {
		t.Fatal(err)
	}
	gone := make(chan struct{})
	go func() {
		defer close(gone)
		client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
		if resp, err := client.Get("http://" + s.Addr() + "/metrics"); err == nil {
			_ = resp.Body.Close()
		}
	}()
	<-held
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := s.Close(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("Close = %v; want it cut off", err)
	}
	close(release)
	<-gone
}
