package web

import (
	"bytes"
	"context"
	"embed"
	"encoding/json"
	"fmt"
	"html/template"
	"net/http"
	"strings"
	"time"
)

//go:embed assets
var assets embed.FS

// Everything on the page comes from this server, scripts too; nothing is inline, nothing can be sent back.
const contentPolicy = "default-src 'none'; style-src 'self'; img-src 'self'; script-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// turnLimit is how long ago the state goroutine may have turned to count as alive.
const turnLimit = 90 * time.Second

type handler struct {
	Options
	page *template.Template
}

// Handler gives the server's handler without the server; open pages are let go when ending does.
func Handler(ending context.Context, o Options) http.Handler {
	h := &handler{Options: o, page: template.Must(template.ParseFS(assets, "assets/page.html"))}
	if h.Now == nil {
		h.Now = time.Now
	}
	if h.Zone == nil {
		h.Zone = time.UTC
	}
	mux := http.NewServeMux()
	mux.HandleFunc("/{$}", h.status)
	mux.HandleFunc("/healthz", h.healthz)
	mux.HandleFunc("/readyz", h.readyz)
	mux.HandleFunc("/state.json", h.state)
	mux.HandleFunc("/style.css", asset("assets/style.css", "text/css; charset=utf-8"))
	mux.HandleFunc("/icon.svg", asset("assets/icon.svg", "image/svg+xml"))
	mux.HandleFunc("/live.js", asset("assets/live.js", "text/javascript; charset=utf-8"))
	mux.HandleFunc("/pictures.css", func(w http.ResponseWriter, _ *http.Request) {
		send(w, http.StatusOK, "text/css; charset=utf-8", []byte(o.PictureStyle))
	})
	mux.Handle("/events", &events{latest: o.Latest, ending: ending})
	if o.Metrics != nil {
		mux.Handle("/metrics", o.Metrics)
	}
	return readOnly(guarded(o.Token, mux))
}

// readOnly refuses every method that could ask for a change and sets the headers of every answer.
func readOnly(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		head := w.Header()
		head.Set("Content-Security-Policy", contentPolicy)
		head.Set("X-Content-Type-Options", "nosniff")
		head.Set("Referrer-Policy", "no-referrer")
		head.Set("Cross-Origin-Resource-Policy", "same-origin")
		head.Set("Cache-Control", "no-store")
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			head.Set("Allow", "GET, HEAD")
			http.Error(w, "this server only shows; requests that change something come over MQTT", http.StatusMethodNotAllowed)
			return
		}
		next.ServeHTTP(w, r)
	})
}

func asset(name, contentType string) http.HandlerFunc {
	body, err := assets.ReadFile(name)
	if err != nil {
		panic("web: " + err.Error()) // embedded at build time
	}
	return func(w http.ResponseWriter, _ *http.Request) { send(w, http.StatusOK, contentType, body) }
}

func send(w http.ResponseWriter, status int, contentType string, body []byte) {
	w.Header().Set("Content-Type", contentType)
	w.WriteHeader(status)
	_, _ = w.Write(body) // the client went away; there is nobody to tell
}

func sendText(w http.ResponseWriter, status int, format string, args ...any) {
	send(w, status, "text/plain; charset=utf-8", fmt.Appendf(nil, format+"\n", args...))
}

// age is how long ago the state goroutine turned.
func (h *handler) age(s Snapshot) time.Duration { return h.Now().Sub(s.Turned) }

// healthz says whether the state goroutine turns.
func (h *handler) healthz(w http.ResponseWriter, _ *http.Request) {
	s, ok := h.Latest()
	if !ok {
		sendText(w, http.StatusServiceUnavailable, "starting: no state yet")
		return
	}
	age := h.age(s)
	at := s.View.At.UTC().Format(time.RFC3339)
	if age > turnLimit {
		sendText(w, http.StatusServiceUnavailable, "stuck: the last turn was %.0f s ago, the state is of %s; at most %.0f s are allowed", age.Seconds(), at, turnLimit.Seconds())
		return
	}
	sendText(w, http.StatusOK, "ok: the last turn was %.0f s ago, the state is of %s", age.Seconds(), at)
}

// readyz says whether anything may be dosed, and what stands in the way.
func (h *handler) readyz(w http.ResponseWriter, _ *http.Request) {
	s, ok := h.Latest()
	switch {
	case !ok:
		sendText(w, http.StatusServiceUnavailable, "starting: no state yet")
	case h.age(s) > turnLimit:
		sendText(w, http.StatusServiceUnavailable, "stuck: the last turn was %.0f s ago", h.age(s).Seconds())
	case !s.View.Ready:
		lines := []string{"not ready"}
		for _, b := range s.View.Why {
			lines = append(lines, string(b.Code)+": "+b.Text)
		}
		sendText(w, http.StatusServiceUnavailable, "%s", strings.Join(lines, "\n"))
	default:
		sendText(w, http.StatusOK, "ready")
	}
}

func (h *handler) state(w http.ResponseWriter, _ *http.Request) {
	s, ok := h.Latest()
	if !ok {
		sendText(w, http.StatusServiceUnavailable, "starting: no state yet")
		return
	}
	body, err := json.Marshal(s.View)
	if err != nil {
		sendText(w, http.StatusInternalServerError, "the state cannot be written as JSON: %v", err)
		return
	}
	send(w, http.StatusOK, "application/json", append(body, '\n'))
}

func (h *handler) status(w http.ResponseWriter, _ *http.Request) {
	s, ok := h.Latest()
	if !ok {
		sendText(w, http.StatusServiceUnavailable, "starting: no state yet")
		return
	}
	var body bytes.Buffer
	if err := h.page.Execute(&body, h.content(s)); err != nil {
		sendText(w, http.StatusInternalServerError, "the page cannot be shown: %v", err)
		return
	}
	send(w, http.StatusOK, "text/html; charset=utf-8", body.Bytes())
}
