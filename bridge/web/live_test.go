package web

import (
	"bufio"
	"context"
	"encoding/xml"
	"math"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"aliquot/bridge/machine"

	"go.uber.org/goleak"
	"pgregory.net/rapid"
)

func (r *rig) ask(o Options, path string, change func(*http.Request)) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	q := httptest.NewRequest(http.MethodGet, path, nil)
	if change != nil {
		change(q)
	}
	Handler(context.Background(), o).ServeHTTP(w, q)
	return w
}

func TestTokenGuardsEverythingButHealth(t *testing.T) {
	r := newRig()
	o := r.options()
	o.Token = "a long and secret word"
	for _, c := range []struct {
		name   string
		change func(*http.Request)
		ok     bool
	}{
		{"nothing", nil, false},
		{"bearer", func(q *http.Request) { q.Header.Set("Authorization", "Bearer "+o.Token) }, true},
		{"bearer, other case", func(q *http.Request) { q.Header.Set("Authorization", "bearer "+o.Token) }, true},
		{"password", func(q *http.Request) { q.SetBasicAuth("anybody", o.Token) }, true},
		{"user name", func(q *http.Request) { q.SetBasicAuth(o.Token, "") }, false},
		{"a part", func(q *http.Request) { q.SetBasicAuth("", o.Token[:5]) }, false},
		{"more", func(q *http.Request) { q.SetBasicAuth("", o.Token+"x") }, false},
		{"another scheme", func(q *http.Request) { q.Header.Set("Authorization", "Digest "+o.Token) }, false},
		{"in the address", func(q *http.Request) { q.URL.RawQuery = "token=" + "a" }, false},
	} {
		for _, path := range []string{"/", "/state.json", "/metrics", "/events", "/readyz", "/nowhere", "/style.css"} {
			if path == "/events" && c.ok {
				continue // it does not end
			}
			w := r.ask(o, path, c.change)
			if c.ok == (w.Code == http.StatusUnauthorized) {
				t.Errorf("%s of %s = %d, admitted must be %t", c.name, path, w.Code, c.ok)
			}
			if !c.ok && (!strings.HasPrefix(w.Header().Get("WWW-Authenticate"), "Basic ") || !strings.Contains(w.Body.String(), "http.token_file") || strings.Contains(w.Body.String(), "harbour")) {
				t.Errorf("%s of %s is refused with %v %s", c.name, path, w.Header(), w.Body)
			}
		}
		if w := r.ask(o, "/healthz", c.change); w.Code != http.StatusOK {
			t.Errorf("%s: /healthz = %d", c.name, w.Code)
		}
	}
}

// following reads the events of a server in virtual time.
func following(ctx context.Context, e *events) (lines chan string, done chan struct{}) {
	lines, done = make(chan string, 1000), make(chan struct{})
	w := &eventWriter{header: http.Header{}, lines: lines}
	go func() {
		defer close(done)
		e.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/events", nil).WithContext(ctx))
	}()
	return lines, done
}

type eventWriter struct {
	header http.Header
	lines  chan string
	broken bool
}

func (w *eventWriter) Header() http.Header { return w.header }
func (w *eventWriter) WriteHeader(int)     {}
func (w *eventWriter) Write(b []byte) (int, error) {
	if w.broken {
		return 0, http.ErrHandlerTimeout
	}
	w.lines <- string(b)
	return len(b), nil
}
func (w *eventWriter) Flush()                           {}
func (w *eventWriter) SetWriteDeadline(time.Time) error { return nil }

func TestEventsTellOfChangesAndNotTooOften(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		began := time.Now()
		ctx, leave := context.WithCancel(t.Context())
		e := &events{ending: t.Context(), latest: func() (Snapshot, bool) {
			at := began.Add(time.Since(began).Truncate(time.Second)) // a state every second for a minute, then a still one
			return Snapshot{View: machine.SiteView{At: earliest(at, began.Add(time.Minute))}}, true
		}}
		lines, done := following(ctx, e)
		time.Sleep(61 * time.Second)
		synctest.Wait()
		first := <-lines
		if first != "retry: 5000\n\n" {
			t.Errorf("the stream begins with %q", first)
		}
		if n := len(lines); n < 10 || n > 12 {
			t.Errorf("%d events in a minute; want one every five seconds", n)
		}
		for len(lines) > 0 {
			if l := <-lines; !strings.HasPrefix(l, "event: changed\ndata: 2000-01-01T") {
				t.Errorf("an event is %q", l)
			}
		}
		time.Sleep(61 * time.Second)
		synctest.Wait()
		if n := len(lines); n < 2 || n > 4 {
			t.Errorf("%d signs of life in a quiet minute; want one every twenty seconds", n)
		}
		leave()
		<-done
		if e.open.Load() != 0 {
			t.Error("a page that left counts as open")
		}
	})
}

func earliest(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

func TestEventsAreForSoManyPages(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ending, end := context.WithCancel(t.Context())
		e := &events{ending: ending, latest: func() (Snapshot, bool) { return Snapshot{}, false }}
		var all []chan struct{}
		for range maxWatchers {
			_, done := following(t.Context(), e)
			all = append(all, done)
		}
		synctest.Wait()
		w := httptest.NewRecorder()
		e.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/events", nil))
		if w.Code != http.StatusServiceUnavailable || !strings.Contains(w.Body.String(), "24 pages are open already") {
			t.Errorf("one page too many gets %d %s", w.Code, w.Body)
		}
		end()
		for _, done := range all {
			<-done
		}
	})
}

// Pages that follow do not hold the end of the service up.
func TestServerLetsFollowersGo(t *testing.T) {
	defer goleak.VerifyNone(t)
	s := started(t)
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
	resp, err := client.Get("http://" + s.Addr() + "/events")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = resp.Body.Close() }()
	if line, err := bufio.NewReader(resp.Body).ReadString('\n'); err != nil || line != "retry: 5000\n" || resp.Header.Get("Content-Type") != "text/event-stream" {
		t.Fatalf("the stream begins with %q, %v, %v", line, resp.Header, err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
	defer cancel()
	if err := s.Close(ctx); err != nil {
		t.Errorf("Close with a page that follows = %v", err)
	}
}

func TestPicturesAreShownWhereTheyAre(t *testing.T) {
	r := newRig()
	o := r.options()
	o.PictureStyle = ".known{fill:none}"
	if body := r.ask(o, "/", nil).Body.String(); strings.Contains(body, `id="today"`) {
		t.Error("a page without drawings has a place for them")
	}
	o.Pictures = func() (Pictures, bool) { return Pictures{}, false }
	if body := r.ask(o, "/", nil).Body.String(); !strings.Contains(body, "is being drawn") {
		t.Error("a page whose drawings are not there yet does not say so")
	}
	o.Pictures = func() (Pictures, bool) {
		return Pictures{At: at(8, 59), Day: "<svg>day</svg>", Levels: map[string]string{"nursery/alkalinity": "<svg>past</svg>"}}, true
	}
	body := r.ask(o, "/", nil).Body.String()
	for _, want := range []string{"<svg>day</svg>", "<svg>past</svg>", "Drawn from the record at Tue 2 Mar 08:59"} {
		if !strings.Contains(body, want) {
			t.Errorf("the page lacks %s", want)
		}
	}
	if n := strings.Count(body, "A ring is a test"); n != 1 {
		t.Errorf("the marks are explained %d times, want once, beside the system that has a drawing", n)
	}
	if w := r.ask(o, "/pictures.css", nil); w.Body.String() != o.PictureStyle || !strings.HasPrefix(w.Header().Get("Content-Type"), "text/css") {
		t.Errorf("the style is %s, %s", w.Body, w.Header().Get("Content-Type"))
	}
}

// A gauge is well-formed, its marks lie in it, and it never says a date beyond the container's end.
func TestGaugeStaysInItsFrame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		any := rapid.OneOf(rapid.Float64Range(-100, 20000), rapid.SampledFrom([]float64{0, math.NaN(), math.Inf(1), 1e300}))
		c := machine.ContainerView{ID: rapid.StringMatching("[a-z<&\"-]*").Draw(t, "id"), CapacityML: any.Draw(t, "capacity"), StopML: any.Draw(t, "stop"), RemainingMinML: any.Draw(t, "min"), RemainingMaxML: any.Draw(t, "max")}
		if rapid.Bool().Draw(t, "lasts") {
			c.DaysLeft = ptr(any.Draw(t, "days"))
		}
		text := string(gauge(c, time.UTC, at(9, 0)))
		d := xml.NewDecoder(strings.NewReader(text))
		for {
			token, err := d.Token()
			if token == nil {
				break
			}
			if err != nil {
				t.Fatalf("%v: %s", err, text)
			}
		}
		if strings.Contains(text, `"NaN"`) || strings.Contains(text, "Inf\"") {
			t.Fatalf("no number: %s", text)
		}
		for _, s := range steps(c) {
			if float64(s.days) > *c.DaysLeft || !(s.ml >= c.StopML-1e-6*math.Abs(c.StopML)-1e-6) {
				t.Fatalf("a step %+v of %+v", s, c)
			}
		}
	})
}

func TestGaugeSteps(t *testing.T) {
	c := machine.ContainerView{ID: "jug", CapacityML: 1000, StopML: 100, RemainingMinML: 800, RemainingMaxML: 850, DaysLeft: ptr(35.0)} // 20 mL a day
	got := steps(c)
	if len(got) != 2 || got[0].days != 14 || got[0].ml != 520 || got[1].days != 28 || got[1].ml != 240 {
		t.Errorf("steps of %+v = %+v; want a fortnight and four weeks", c, got)
	}
	c.DaysLeft = nil
	if got := steps(c); got != nil {
		t.Errorf("steps without a plan = %+v", got)
	}
}
