package topics

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
)

// The AsyncAPI document is made here from what TOPICS.md is made of: the table of requests, the payloads' own types,
// and the meanings that stand in the tables of TOPICS.md.

const asyncDocument = "../asyncapi.json"

// object keeps the order in which its fields were set, so that the document reads like TOPICS.md.
type object struct {
	names  []string
	values map[string]any
}

func obj(pairs ...any) *object {
	o := &object{values: map[string]any{}}
	for i := 0; i < len(pairs); i += 2 {
		o.set(pairs[i].(string), pairs[i+1])
	}
	return o
}

func (o *object) set(name string, value any) {
	if _, there := o.values[name]; !there {
		o.names = append(o.names, name)
	}
	o.values[name] = value
}

func (o *object) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	b.WriteByte('{')
	for i, name := range o.names {
		if i > 0 {
			b.WriteByte(',')
		}
		var value bytes.Buffer
		e := json.NewEncoder(&value)
		e.SetEscapeHTML(false)
		if err := e.Encode(o.values[name]); err != nil {
			return nil, err
		}
		fmt.Fprintf(&b, "%q:%s", name, bytes.TrimSpace(value.Bytes()))
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}

// published is a topic that the service publishes on.
type published struct {
	id, address string
	heading     string // of TOPICS.md
	payload     any
	retained    bool
	summary     string
}

func publishedTopics() []published {
	return []published{
		{"about", "about", "`about`", aboutPayload{}, true, "What there is"},
		{"beat", "beat", "`beat`", machine.BeatView{}, false, "Every minute, from the loop that doses"},
		{"owner", "owner", "`owner`", ownerPayload{}, true, "Which instance may dose"},
		{"stateSite", "state/site", "`state/site`", sitePayload{}, true, "The site as a whole"},
		{"stateSystem", "state/system/{system}", "`state/system/<system>`", machine.SystemView{}, true, "One body of water"},
		{"stateQuantity", "state/quantity/{system}/{quantity}", "`state/quantity/<system>/<quantity>`", machine.QuantityView{}, true, "One quantity of a system"},
		{"stateChannel", "state/channel/{channel}", "`state/channel/<channel>`", machine.ChannelView{}, true, "One pump output"},
		{"stateContainer", "state/container/{container}", "`state/container/<container>`", machine.ContainerView{}, true, "One container"},
		{"stateProbe", "state/probe/{probe}", "`state/probe/<probe>`", machine.ProbeView{}, true, "One probe"},
		{"stateNode", "state/node/{node}", "`state/probe/<probe>`", machine.NodeView{}, true, "One node"},
		{"stateInterlock", "state/interlock/{interlock}", "`state/probe/<probe>`", machine.InterlockView{}, true, "One interlock"},
		{"alert", "alert/{alert}", "`alert/<name>`", machine.AlertView{}, true, "One alert, while it is raised; an empty payload removes it"},
		{"answer", "answer", "", answerPayload{}, false, "The answer to a request"},
		{"problem", "problem", "`problem`", problemPayload{}, false, "A message that could not be used and changed nothing"},
	}
}

// happenings are the events and what their data is.
func happenings() []struct {
	kind string
	data any
} {
	return []struct {
		kind string
		data any
	}{{"run_started", machine.RunEvent{}}, {"run_ended", machine.RunEvent{}}, {"run_withheld", machine.WithheldEvent{}},
		{"lockout", machine.LockoutEvent{}}, {"interlock", machine.InterlockView{}}, {"self_stop_proof", machine.ProofEvent{}}}
}

// schemas gathers the schemas of types by their names.
type schemas struct {
	all      *object
	meanings map[string]map[string]string // heading -> field -> meaning
	heading  string
}

func (s *schemas) of(t reflect.Type) any {
	switch {
	case t == reflect.TypeFor[time.Time]():
		return obj("type", "string", "format", "date-time")
	case t == reflect.TypeFor[json.RawMessage]():
		return obj("type", []string{"object", "null"})
	}
	switch t.Kind() {
	case reflect.Pointer:
		return nullable(s.of(t.Elem()))
	case reflect.String:
		return obj("type", "string")
	case reflect.Bool:
		return obj("type", "boolean")
	case reflect.Float64:
		return obj("type", "number")
	case reflect.Int, reflect.Int64:
		return obj("type", "integer")
	case reflect.Slice:
		return obj("type", "array", "items", s.of(t.Elem()))
	case reflect.Struct:
		return s.ref(t)
	case reflect.Interface:
		return obj("type", []string{"object", "null"})
	}
	panic("no schema for " + t.String())
}

func nullable(schema any) any {
	o := schema.(*object)
	if kind, ok := o.values["type"].(string); ok {
		o.set("type", []string{kind, "null"})
		return o
	}
	return obj("oneOf", []any{o, obj("type", "null")})
}

// ref puts a struct among the schemas and refers to it.
func (s *schemas) ref(t reflect.Type) *object {
	name := strings.ToUpper(t.Name()[:1]) + t.Name()[1:]
	at := obj("$ref", "#/components/schemas/"+name)
	if _, done := s.all.values[name]; done {
		return at
	}
	schema := obj("type", "object")
	s.all.set(name, schema)
	properties, needed := obj(), []string{}
	for i := range t.NumField() {
		f := t.Field(i)
		field, options, tagged := strings.Cut(f.Tag.Get("json"), ",")
		if !f.IsExported() || field == "" || field == "-" {
			continue
		}
		property := s.of(f.Type)
		if o, plain := property.(*object); plain {
			if meaning := s.meanings[s.heading][field]; meaning != "" {
				if _, refers := o.values["$ref"]; !refers {
					o.set("description", meaning)
				}
			}
		}
		properties.set(field, property)
		if !tagged || options != "omitempty" {
			needed = append(needed, field)
		}
	}
	if len(needed) > 0 {
		schema.set("required", needed)
	}
	schema.set("properties", properties)
	return at
}

var fieldRow = regexp.MustCompile("^\\| (`[a-z0-9_`, ]+`) \\|(.*)\\|$")

// meaningsOf reads the tables of TOPICS.md: what each field below each heading means.
func meaningsOf(document string) map[string]map[string]string {
	out := map[string]map[string]string{}
	heading := ""
	for _, line := range strings.Split(document, "\n") {
		if h, ok := strings.CutPrefix(line, "### "); ok {
			heading, _, _ = strings.Cut(h, ", ")
			out[heading] = map[string]string{}
		}
		m := fieldRow.FindStringSubmatch(line)
		if m == nil || heading == "" {
			continue
		}
		cells := strings.Split(m[2], " | ")
		meaning := strings.TrimSpace(cells[len(cells)-1])
		if unit := strings.TrimSpace(cells[0]); len(cells) > 1 && unit != "" {
			meaning = unit + ": " + meaning
		}
		for _, name := range strings.Split(m[1], ",") {
			out[heading][strings.Trim(name, " `")] = meaning
		}
	}
	return out
}

// requestSchema is what a verb takes.
func requestSchema(d VerbDoc) *object {
	properties, needed := obj(), []string{}
	for _, f := range d.fields() {
		schema := fieldSchema(f.read)
		schema.set("description", f.Meaning)
		properties.set(f.Name, schema)
		if f.Required {
			needed = append(needed, f.Name)
		}
	}
	return obj("type", "object", "description", d.Meaning, "required", needed, "properties", properties, "additionalProperties", false)
}

func fieldSchema(k kind) *object {
	measure := func() *object {
		return obj("type", "object", "required", []string{"value", "unit"}, "properties", obj("value", obj("type", "number"), "unit", obj("type", "string")), "additionalProperties", false)
	}
	switch k {
	case kindName:
		return obj("type", "string", "minLength", 1, "maxLength", maxName)
	case kindText:
		return obj("type", "string", "minLength", 1, "maxLength", maxText)
	case kindNumber:
		return obj("type", "number")
	case kindFlag:
		return obj("type", "boolean")
	case kindTime:
		return obj("type", "string", "format", "date-time")
	case kindMeasure:
		return measure()
	case kindMix:
		return obj("type", "object", "minProperties", 1, "maxProperties", maxMix, "additionalProperties", measure())
	case kindTrials:
		positive := obj("type", "number", "exclusiveMinimum", 0)
		trial := obj("type", "object", "required", []string{"seconds"}, "properties", obj("seconds", positive, "measured_ml", positive, "measured_g", positive), "additionalProperties", false)
		return obj("type", "array", "maxItems", maxTrials, "items", trial)
	}
	panic("no schema for the kind " + string(k))
}

var parameter = regexp.MustCompile(`\{(\w+)\}`)

func channelOf(address, summary string, messages *object) *object {
	parameters := obj()
	for _, m := range parameter.FindAllStringSubmatch(address, -1) {
		parameters.set(m[1], obj("description", map[string]string{"prefix": "`mqtt.prefix` of the configuration", "site": "`site` of the configuration"}[m[1]]))
		if m[1] != "prefix" && m[1] != "site" {
			parameters.set(m[1], obj("description", "name of the "+m[1]))
		}
	}
	return obj("address", address, "description", summary, "messages", messages, "parameters", parameters)
}

// asyncAPI makes the document.
func asyncAPI(document string) *object {
	s := &schemas{all: obj(), meanings: meaningsOf(document)}
	channels, operations := obj(), obj()
	const root = "{prefix}/{site}/"
	message := func(payload any, kind string) *object { return obj("contentType", kind, "payload", payload) }
	send := func(id string, retained bool, summary string) {
		operations.set("send"+strings.ToUpper(id[:1])+id[1:], obj("action", "send", "channel", obj("$ref", "#/channels/"+id), "summary", summary,
			"bindings", obj("mqtt", obj("qos", 1, "retain", retained, "bindingVersion", "0.2.0"))))
	}
	words := obj("type", "string", "enum", []string{Online, Offline})
	channels.set("availability", channelOf(root+"availability", "Will and birth of the service", obj("availability", message(words, "text/plain"))))
	send("availability", true, "Says whether the service is connected")
	for _, p := range publishedTopics() {
		s.heading = p.heading
		channels.set(p.id, channelOf(root+p.address, p.summary, obj(p.id, message(s.of(reflect.TypeOf(p.payload)), "application/json"))))
		send(p.id, p.retained, p.summary)
	}
	s.heading = "`event/<kind>`"
	for _, h := range happenings() {
		id := "event_" + h.kind
		payload := obj("type", "object", "required", []string{"event_type", "at", "data"}, "properties", obj("event_type", obj("const", h.kind),
			"at", obj("type", "string", "format", "date-time"), "data", s.of(reflect.TypeOf(h.data))))
		channels.set(id, channelOf(root+"event/"+h.kind, "Something happened", obj(id, message(payload, "application/json"))))
		send(id, false, "Tells that something happened")
	}
	for _, d := range Verbs() {
		id := "ask_" + strings.ReplaceAll(string(d.Verb), "-", "_")
		var example any
		if err := json.Unmarshal([]byte(d.Example), &example); err != nil {
			panic(err)
		}
		m := message(requestSchema(d), "application/json")
		m.set("correlationId", obj("location", "$message.payload#/ref"))
		m.set("examples", []any{obj("payload", example)})
		channels.set(id, channelOf(root+"ask/"+string(d.Verb), d.Meaning, obj(id, m)))
		operations.set(id, obj("action", "receive", "channel", obj("$ref", "#/channels/"+id), "summary", d.Meaning,
			"bindings", obj("mqtt", obj("qos", 1, "retain", false, "bindingVersion", "0.2.0")), "reply", obj("channel", obj("$ref", "#/channels/answer"))))
	}
	info := obj("title", "aliquot", "version", fmt.Sprintf("%d.0.0", Schema), "license", obj("name", "Apache-2.0"), "description",
		"Everything that aliquot says and hears over MQTT below its own root. Made from the same descriptions as TOPICS.md, which says more. New fields and topics may appear: ignore what you do not know. The version counts the schema number in about.")
	servers := obj("broker", obj("host", "localhost:1883", "protocol", "mqtt", "description", "`mqtt.broker` of the configuration", "bindings",
		obj("mqtt", obj("cleanSession", true, "lastWill", obj("topic", "{prefix}/{site}/availability", "qos", 1, "message", Offline, "retain", true), "bindingVersion", "0.2.0"))))
	return obj("asyncapi", "3.0.0", "info", info, "defaultContentType", "application/json", "servers", servers, "channels", channels, "operations", operations, "components", obj("schemas", s.all))
}

func TestAsyncAPIDocument(t *testing.T) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(asyncAPI(readDocument(t))); err != nil {
		t.Fatal(err)
	}
	var pretty bytes.Buffer
	if err := json.Indent(&pretty, b.Bytes(), "", " "); err != nil {
		t.Fatal(err)
	}
	if *update {
		if err := os.WriteFile(asyncDocument, pretty.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	got, err := os.ReadFile(asyncDocument)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, pretty.Bytes()) {
		t.Error("asyncapi.json is not what the code says; go test ./bridge/topics -update rewrites it")
	}
}

// Every field of every state has its meaning from TOPICS.md.
func TestAsyncAPIHasMeanings(t *testing.T) {
	meanings := meaningsOf(readDocument(t))
	for _, p := range publishedTopics() {
		if p.heading == "" {
			continue
		}
		if len(meanings[p.heading]) == 0 && p.id != "owner" && p.id != "alert" && p.id != "problem" {
			t.Errorf("TOPICS.md has no table under %s", p.heading)
		}
	}
	if got := meanings["`state/channel/<channel>`"]["per_day_ml"]; !strings.HasPrefix(got, "mL: the most that may ever") {
		t.Errorf("per_day_ml means %q", got)
	}
}
