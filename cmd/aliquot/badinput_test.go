package main

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/mqtt"
	"aliquot/bridge/mqtt/mosquittotest"
)

// badInputs are messages that must be answered and must change nothing (H-28, H-38, H-43). Where is the topic of
// the reply; an empty ref means that none can be read.
var badInputs = []struct {
	name, verb, payload string
	where, code, ref    string
	word                string // in the reply's text
}{
	{"no JSON", "test", `alkalinity 8.3`, "problem", "bad_payload", "", "not valid JSON"},
	{"cut off", "test", `{"ref":"cut","quantity":"alkalinity"`, "problem", "bad_payload", "cut", "ends too early"},
	{"no object", "test", `[1,2]`, "problem", "bad_payload", "", "object"},
	{"trailing bytes", "clock", `{"ref":"trailing"} {}`, "problem", "bad_payload", "trailing", ""},
	{"too deep", "test", `{"ref":"deep","mix":` + strings.Repeat(`{"a":`, 20) + `1` + strings.Repeat(`}`, 21), "problem", "bad_payload", "deep", "8 deep"},
	{"bytes that are no text", "note", "{\"ref\":\"b\",\"kind\":\"other\",\"text\":\"\xff\xfe\"}", "problem", "bad_payload", "", ""},
	{"5 KiB", "note", `{"ref":"large","kind":"other","text":"` + strings.Repeat("x", 5<<10) + `"}`, "problem", "too_large", "", "4096"},
	{"no reference", "refill", `{"container":"carbonate-jug","full":true}`, "problem", "bad_payload", "", `"ref" is missing`},
	{"unknown field", "refill", `{"ref":"typo","container":"carbonate-jug","volume":500}`, "problem", "bad_payload", "typo", "volume_ml"},
	{"unknown verb", "dose", `{"ref":"verb","channel":"alk"}`, "problem", "unknown_verb", "verb", "run"},
	{"decimal comma", "test", `{"ref":"comma","quantity":"alkalinity","value":8,3,"unit":"dKH"}`, "problem", "not_a_number", "comma", "8.3"},
	{"decimal comma in a text", "test", `{"ref":"comma text","quantity":"alkalinity","value":"8,3","unit":"dKH"}`, "problem", "not_a_number", "comma text", ""},
	{"NaN", "refill", `{"ref":"nan","container":"carbonate-jug","remaining_ml":NaN}`, "problem", "not_a_number", "nan", ""},
	{"infinite", "run", `{"ref":"inf","channel":"alk","volume_ml":1e999}`, "problem", "not_a_number", "inf", ""},
	{"no unit", "test", `{"ref":"unitless","quantity":"alkalinity","value":8.3}`, "answer", "missing_unit", "unitless", "unit"},
	{"another unit", "test", `{"ref":"143","quantity":"alkalinity","value":143,"unit":"dKH"}`, "answer", "out_of_range", "143", "ppm"},
	{"a unit of something else", "test", `{"ref":"psu","quantity":"alkalinity","value":8,"unit":"psu"}`, "answer", "wrong_unit", "psu", ""},
	{"unknown quantity", "test", `{"ref":"carbon","quantity":"carbon","value":8,"unit":"dKH"}`, "answer", "unknown_name", "carbon", "alkalinity"},
	{"unknown channel", "run", `{"ref":"name","channel":"alc","volume_ml":1}`, "answer", "unknown_name", "name", "alk"},
	{"negative", "run", `{"ref":"minus","channel":"alk","volume_ml":-2}`, "answer", "out_of_range", "minus", ""},
	{"too much", "run", `{"ref":"much","channel":"alk","volume_ml":400}`, "answer", "run_cap", "much", "per_run"},
	{"of tomorrow", "test", `{"ref":"tomorrow","quantity":"alkalinity","value":8,"unit":"dKH","at":"2150-01-01T00:00:00Z"}`, "answer", "in_the_future", "tomorrow", ""},
	{"more than fits", "refill", `{"ref":"overfill","container":"carbonate-jug","volume_ml":20000}`, "answer", "out_of_range", "overfill", ""},
}

// TestBadInput sends nonsense to the service.
func TestBadInput(t *testing.T) {
	t.Parallel()
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), "bad-input")
	r.commission()
	r.nodes()
	// A retained request was there before the service: it would be made again at every connection.
	r.spy.say(r.topic("ask/refill"), `{"ref":"kept","container":"carbonate-jug","full":true}`, true)
	p := r.daemon("")
	r.owns(p)
	r.spy.await(r.from, "the problem with a retained request", func(h heard) bool {
		return on(r.topic("problem"), `"retained"`)(h) && contains(string(h.Payload), "ask/refill")
	})
	r.awaitState(r.from, "container/iodine-jug", `"days_left":0`) // the first plan is shown, this state the last

	history, before := must(t, "history", "-c", r.config, "--format", "jsonl"), p.metrics()
	mark := r.spy.mark()
	want := map[string]int{}
	for _, c := range badInputs {
		r.checkBad(c.verb, c.payload, c.where, c.code, c.ref, c.word, c.name)
		series := fmt.Sprintf("aliquot_problems_total{code=%q}", c.code)
		if c.where == "answer" {
			series = fmt.Sprintf("aliquot_answers_total{code=%q}", c.code)
		}
		want[series]++
	}
	r.ask("clock", "") // behind its answer everything before is counted
	after := p.metrics()
	for series, n := range want {
		if grew := value(t, after, series) - value(t, before, series); grew != float64(n) {
			t.Errorf("%s grew by %v, must by %d", series, grew, n)
		}
	}
	if got := must(t, "history", "-c", r.config, "--format", "jsonl"); got != history {
		t.Errorf("the history changed from\n%sto\n%s", history, got)
	}
	for _, h := range r.spy.since(mark) {
		if strings.HasPrefix(h.Topic, r.topic("state/")) {
			t.Errorf("a state changed: %s %s", h.Topic, h.Payload)
		}
	}
	if n := len(r.sentRuns(0)); n > 0 {
		t.Errorf("%d runs were sent", n)
	}
	r.checkDuplicates()
	r.checkFlood(p)
}

// checkBad sends one bad message and looks at the reply.
func (r *rig) checkBad(verb, payload, where, code, ref, word, name string) {
	r.t.Helper()
	mark := r.spy.mark()
	r.spy.say(r.topic("ask/"+verb), payload, false)
	h, ok := r.spy.find(mark, 5*time.Second, func(h heard) bool { return h.Topic == r.topic("answer") || h.Topic == r.topic("problem") })
	if !ok {
		r.t.Errorf("%s: no reply", name)
		return
	}
	var got struct {
		reply
		Ref   *string `json:"ref"`
		Topic string  `json:"topic"`
	}
	if err := json.Unmarshal(h.Payload, &got); err != nil {
		r.t.Errorf("%s: %v in %s", name, err, h.Payload)
		return
	}
	said := ""
	if got.Ref != nil {
		said = *got.Ref
	}
	if h.Topic != r.topic(where) || got.Code != code || said != ref || got.OK || !contains(got.Text, word) {
		r.t.Errorf("%s: got on %s: %s\nmust be %s on %s with ref %q and %q", name, h.Topic, h.Payload, code, where, ref, word)
	}
	if where == "problem" && got.Topic != r.topic("ask/"+verb) {
		r.t.Errorf("%s: the problem names the topic %q", name, got.Topic)
	}
}

// checkDuplicates sends one request ten times: it is done once, and answered ten times the same (H-43).
func (r *rig) checkDuplicates() {
	r.t.Helper()
	const copies = 10
	mark := r.spy.mark()
	for range copies {
		r.send("again", "run", `"channel":"alk","volume_ml":1`)
	}
	first := r.answer(mark, "again")
	run := runOf(r.t, first)
	var texts []string
	r.spy.await(mark, "ten answers", func(h heard) bool {
		if a, ok := r.answerIn(h, "again"); ok {
			texts = append(texts, string(h.Payload))
			if a.Code != first.Code || a.Text != first.Text || string(a.Result) != string(first.Result) {
				r.t.Errorf("a repeat was answered with %s, the first one with %s", a.Text, first.Text)
			}
		}
		return len(texts) == copies
	})
	r.awaitEnd(mark, run, "finished")
	if sent := r.sentRuns(mark); len(sent) != 1 || sent[0].ID != run {
		r.t.Errorf("%d runs were on the wire for one request sent %d times", len(sent), copies)
	}
	// Another request under the same reference is a repeat too: the reference decides.
	if a := r.askAs("again", "run", `"channel":"alk","volume_ml":3`); runOf(r.t, a) != run {
		r.t.Errorf("another request under a known reference started the run %s", runOf(r.t, a))
	}
}

// checkFlood sends far more messages than anybody would: they are dropped and counted, and the service goes on.
func (r *rig) checkFlood(p *process) {
	r.t.Helper()
	before := p.metrics()
	for i := range 400 {
		flood := mqtt.Message{Topic: r.topic("ask/note"), Payload: fmt.Appendf(nil, `{"ref":"flood-%d","kind":"nonsense"}`, i)}
		if _, err := r.spy.client.Publish(flood, patience); err != nil {
			r.t.Fatal(err)
		}
	}
	asked := time.Now()
	if a := r.ask("hold", `"channel":"alk","minutes":1`); !a.OK {
		r.t.Errorf("a hold beside a flood: %s (%s)", a.Text, a.Code)
	}
	if waited := time.Since(asked); waited > 5*time.Second {
		r.t.Errorf("a flood keeps the service from answering for %s", waited)
	}
	after := p.metrics()
	const dropped = `aliquot_problems_total{code="too_many"}`
	if grew := value(r.t, after, dropped) - value(r.t, before, dropped); !(grew >= 100) {
		r.t.Errorf("of 400 messages at once %v were dropped for their number, must be 100 or more", grew)
	}
}

var pageAddress = regexp.MustCompile(`"the page is at" address=(http://\S+)`)

// address is where the service's page is.
func (p *process) address() string {
	p.t.Helper()
	p.await("the page is at")
	at := pageAddress.FindStringSubmatch(p.out.text())
	if at == nil {
		p.t.Fatalf("no address of the page in %s", p.out.text())
	}
	return at[1]
}

// get reads a page of the service.
func (p *process) get(path string) (status int, body string) {
	p.t.Helper()
	at := p.address()
	client := http.Client{Timeout: patience}
	resp, err := client.Get(at + path)
	if err != nil {
		p.t.Fatal(err)
	}
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	if err != nil {
		p.t.Fatal(err)
	}
	return resp.StatusCode, string(b)
}

func (p *process) metrics() string {
	p.t.Helper()
	status, body := p.get("/metrics")
	if status != http.StatusOK {
		p.t.Fatalf("/metrics: status %d\n%s", status, body)
	}
	return body
}

// value finds a series in a scrape by its name and its first labels.
func value(t *testing.T, scrape, series string) float64 {
	t.Helper()
	for line := range strings.Lines(scrape) {
		rest, ok := strings.CutPrefix(line, strings.TrimSuffix(series, "}"))
		if !ok || !strings.ContainsAny(rest[:1], ",} ") {
			continue
		}
		v, err := strconv.ParseFloat(strings.TrimSpace(rest[strings.LastIndex(rest, " "):]), 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	t.Fatalf("there is no series %s", series)
	return 0
}
