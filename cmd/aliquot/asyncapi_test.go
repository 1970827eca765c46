package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"aliquot/bridge/mqtt/mosquittotest"
)

// promise is a topic of the AsyncAPI document with what stands on it.
type promise struct {
	id     string
	topic  *regexp.Regexp
	plain  bool
	schema *jsonschema.Schema
}

var promises = sync.OnceValues(readPromises)

// readPromises compiles the schema of every topic that the service publishes on. In the document objects may get
// more fields in time; here they may not, so that no field goes without its description.
func readPromises() ([]promise, error) {
	data, err := os.ReadFile(filepath.Join("..", "..", "bridge", "asyncapi.json"))
	if err != nil {
		return nil, err
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	for _, schema := range inside(doc, "components", "schemas") {
		schema.(map[string]any)["additionalProperties"] = false
	}
	const at = "asyncapi.json"
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	if err := c.AddResource(at, doc); err != nil {
		return nil, err
	}
	var out []promise
	for id := range inside(doc, "channels") {
		if strings.HasPrefix(id, "ask_") {
			continue
		}
		p := promise{id: id}
		message := inside(doc, "channels", id, "messages", id)
		p.plain = message["contentType"] == "text/plain"
		address := regexp.QuoteMeta(inside(doc, "channels", id)["address"].(string))
		p.topic = regexp.MustCompile("^" + regexp.MustCompile(`\\\{\w+\\\}`).ReplaceAllString(address, "[^/]+") + "$")
		if p.schema, err = c.Compile(at + "#/channels/" + id + "/messages/" + id + "/payload"); err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	return out, nil
}

func inside(doc any, path ...string) map[string]any {
	for _, key := range path {
		doc = doc.(map[string]any)[key]
	}
	return doc.(map[string]any)
}

// keepsPromises compares everything that a service has said with the document, and gives how many messages of each
// topic it saw.
func keepsPromises(t *testing.T, root string, said []heard) map[string]int {
	t.Helper()
	all, err := promises()
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]int{}
	for _, h := range said {
		below, ours := strings.CutPrefix(h.Topic, root+"/")
		if !ours || below == "ping" || strings.HasPrefix(below, "ask/") || len(h.Payload) == 0 {
			continue
		}
		known := false
		for _, p := range all {
			if !p.topic.MatchString(h.Topic) {
				continue
			}
			known = true
			seen[p.id]++
			var value any = string(h.Payload)
			if !p.plain {
				if value, err = jsonschema.UnmarshalJSON(bytes.NewReader(h.Payload)); err != nil {
					t.Errorf("%s: %s is no JSON", h.Topic, h.Payload)
					continue
				}
			}
			if err := p.schema.Validate(value); err != nil {
				t.Errorf("%s is not as bridge/asyncapi.json says: %v\n%s", h.Topic, err, h.Payload)
			}
		}
		if !known {
			t.Errorf("bridge/asyncapi.json has no topic %s", h.Topic)
		}
	}
	return seen
}

// What a working site really sends is what the document says.
func TestAsyncAPIHoldsForADay(t *testing.T) {
	t.Parallel()
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), "wharf", func(q *quay) { q.TraceSlots, q.TracePerDay = "* * * * *", "1500" })
	r.commission("trace")
	r.nodes()
	p := r.daemon("")
	r.owns(p)
	r.ask("test", `"quantity":"alkalinity","value":7.6,"unit":"dKH"`)
	r.ask("hold", `"channel":"alk"`)
	prime := func() reply { return r.ask("prime", `"channel":"trace","into":"vessel","seconds":1`) }
	a := prime()
	for began := time.Now(); a.Code == "busy" && time.Since(began) < patience; <-time.After(time.Second) { // it runs each minute
		a = prime()
	}
	if !a.OK {
		t.Fatalf("priming: %s (%s)", a.Text, a.Code)
	}
	r.keeper.say(r.topic("ask/note"), `{"kind":"other"}`, false)
	r.spy.await(0, "a problem", on(r.topic("problem"), "ref"))
	r.spy.await(0, "the end of a run", on(r.topic("event/run_ended"), "outcome"))
	seen := keepsPromises(t, "aliquot/wharf", r.spy.since(0))
	for _, id := range []string{"availability", "about", "owner", "stateSite", "stateSystem", "stateQuantity", "stateChannel", "stateContainer",
		"stateNode", "alert", "answer", "problem", "event_run_started", "event_run_ended"} {
		if seen[id] == 0 {
			t.Errorf("nothing was heard of %s", id)
		}
	}
}

// The comparison is no decoration.
func TestAsyncAPIRefuses(t *testing.T) {
	all, err := promises()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ id, payload string }{
		{"stateNode", `{"node":"a","style":"switch","online":"yes","proven":null,"needs_proof":false}`},
		{"stateNode", `{"node":"a","style":"switch","online":true,"proven":"yesterday","needs_proof":false}`},
		{"stateNode", `{"node":"a","style":"switch","online":true,"proven":null}`},
		{"stateNode", `{"node":"a","style":"switch","online":true,"proven":null,"needs_proof":false,"more":1}`},
		{"event_run_ended", `{"event_type":"run_started","at":"2027-03-02T09:00:00Z","data":{}}`},
		{"availability", `"away"`},
	} {
		for _, p := range all {
			var value any
			if err := json.Unmarshal([]byte(c.payload), &value); err != nil {
				t.Fatal(err)
			}
			if p.id == c.id && p.schema.Validate(value) == nil {
				t.Errorf("%s takes %s", c.id, c.payload)
			}
		}
	}
}
