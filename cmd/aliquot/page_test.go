package main

import (
	"io"
	"net/http"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
)

// TestPageOfARunningService asks a real service for its page: the token guards it, the drawings come from its ledger, and an
// open page is told when something happens.
func TestPageOfARunningService(t *testing.T) {
	t.Parallel()
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), "page")
	token := writeFile(t, "page-token", "open-sesame\n")
	r.rewrite(replaced("http: {listen: 127.0.0.1:0}", "http: {listen: 127.0.0.1:0, token_file: "+token+"}"))
	r.commission()
	r.nodes()
	p := r.daemon("")
	r.owns(p)
	must(t, "enter", "-c", r.config, "alkalinity", "7.9", "dKH")
	r.runsAgain(p)

	if status, _ := p.get("/healthz"); status != http.StatusOK {
		t.Errorf("/healthz without the token = %d", status)
	}
	if status, body := p.get("/"); status != http.StatusUnauthorized || contains(body, "quay") {
		t.Errorf("the page without the token = %d %s", status, body)
	}
	ask := func(path string) *http.Response {
		q, err := http.NewRequestWithContext(t.Context(), http.MethodGet, p.address()+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		q.SetBasicAuth("keeper", "open-sesame")
		a, err := http.DefaultClient.Do(q)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = a.Body.Close() })
		return a
	}
	var body string
	for began := time.Now(); !contains(body, `class="test"`) || !contains(body, `class="given"`); <-time.After(100 * time.Millisecond) {
		if time.Since(began) > patience {
			t.Fatalf("the page shows neither the test nor the run: %s", body)
		}
		b, err := io.ReadAll(ask("/").Body)
		if err != nil {
			t.Fatal(err)
		}
		body = string(b)
	}
	follow := ask("/events").Body
	heard := make(chan string, 1)
	go func() {
		var all []byte
		buffer := make([]byte, 4096)
		for {
			n, err := follow.Read(buffer)
			if all = append(all, buffer[:n]...); err != nil || contains(string(all), "event: changed") {
				heard <- string(all)
				return
			}
		}
	}()
	if a := r.ask(machine.VerbHold, `"scope":"all","minutes":5,"reason":"feeding"`); a.Text == "" {
		t.Errorf("the hold was not answered: %+v", a)
	}
	select {
	case text := <-heard:
		if !contains(text, "event: changed") {
			t.Errorf("the open page heard %q", text)
		}
	case <-time.After(patience):
		t.Error("the open page was not told of the hold")
	}
	p.terminate() // with a page that follows
	if code := p.code(); code != exitOK {
		t.Errorf("the service ended with code %d", code)
	}
}

// TestPageTokenThatCannotBeRead keeps a service from starting with a page that everybody may read by mistake.
func TestPageTokenThatCannotBeRead(t *testing.T) {
	q := newQuay(t, nil, "token")
	config := q.write(t, "site.yaml")
	r := &rig{t: t, config: config}
	r.rewrite(replaced("http: {listen: 127.0.0.1:0}", "http: {listen: 127.0.0.1:0, token_file: /nowhere/token}"))
	if got := command(t, "run", "-c", config); got.code != exitConfig || !contains(got.err, "http.token_file: the token file: open /nowhere/token") {
		t.Errorf("a service without its token: %s", got)
	}
}
