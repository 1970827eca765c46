package discovery_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"aliquot/bridge/discovery"
	"aliquot/bridge/machine"
	"aliquot/bridge/topics"
	"aliquot/planner/units"
)

var update = flag.Bool("update", false, "rewrite the golden file")

// shed is an invented site.
func shed() (discovery.Announcer, machine.SiteView) {
	a := discovery.Announcer{Prefix: "homeassistant", Layout: topics.Layout{Prefix: "aliquot", Site: "harbour-shed"}, Version: "0.1.0",
		Entries: []discovery.Entry{{System: "nursery", Quantity: units.Alkalinity, Unit: "meq/L"}, {System: "nursery", Quantity: units.Calcium, Unit: "mg/L"}}}
	return a, machine.SiteView{Site: "harbour-shed", Version: "0.1.0",
		Systems:    []machine.SystemView{{ID: "nursery"}},
		Quantities: []machine.QuantityView{{System: "nursery", Quantity: "alkalinity", Unit: "dKH", Target: 8.3}, {System: "nursery", Quantity: "calcium", Unit: "mg/L", Target: 430}},
		Channels:   []machine.ChannelView{{ID: "alk", System: "nursery", Container: "jug", Node: "board", Course: &machine.CourseView{State: machine.CourseRunning, GivenML: 21.5}}},
		Containers: []machine.ContainerView{{ID: "jug"}},
		Probes: []machine.ProbeView{{ID: "ph", Quantity: "pH", Unit: "pH"}, {ID: "water", Quantity: "temperature", Unit: "degC"}, {ID: "conductivity", Quantity: "salinity", Unit: "psu"},
			{ID: "leak", Quantity: "switch"}},
		Nodes:      []machine.NodeView{{ID: "board"}},
		Interlocks: []machine.InterlockView{{Name: "ph-high"}}}
}

func TestGolden(t *testing.T) {
	a, v := shed()
	var b bytes.Buffer
	for _, m := range a.Announce(v) {
		var pretty bytes.Buffer
		if err := json.Indent(&pretty, m.Payload, "", "  "); err != nil {
			t.Fatal(err)
		}
		b.WriteString(m.Topic + "\n" + pretty.String() + "\n")
		if m.QoS != 1 || !m.Retained {
			t.Errorf("%s: QoS %d, retained %v; want 1 and true", m.Topic, m.QoS, m.Retained)
		}
	}
	const path = "testdata/announcements.golden"
	if *update {
		if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if b.String() != string(want) {
		t.Errorf("the announcements are not those of %s; -update rewrites it. An id that changes loses a keeper's history.\n%s", path, b.String())
	}
}

// Every announcement is good for the release 2024.3 and for those since.
func TestBothReleasesAcceptEveryAnnouncement(t *testing.T) {
	a, v := shed()
	for _, m := range a.Announce(v) {
		for _, c := range complaints(m.Topic, m.Payload) {
			t.Errorf("%s: %s", m.Topic, c)
		}
	}
}

// The rules are no decoration: each of them refuses something.
func TestRulesRefuse(t *testing.T) {
	a, v := shed()
	find := func(part string) topics.Message {
		for _, m := range a.Announce(v) {
			if strings.Contains(m.Topic, part) {
				return m
			}
		}
		t.Fatalf("no announcement has %s", part)
		return topics.Message{}
	}
	for _, c := range []struct{ name, of, from, to, want string }{
		{"unit of another class", "container_jug_remaining", `"mL"`, `"ml"`, "not valid together"},
		{"volume that is measured", "channel_alk_today", "total_increasing", "measurement", "impossible"},
		{"a newer key of device", "node_board_online", `"model":`, `"model_id":"x","model":`, "extra keys"},
		{"an unknown key of origin", "node_board_online", `"origin":{`, `"origin":{"url":"x",`, "origin"},
		{"a category for settings", "node_board_online", "diagnostic", "config", "category"},
		{"a key of another component", "node_board_online", `"state_topic"`, `"command_topic":"a","state_topic"`, "does nothing"},
		{"a newer key", "node_board_online", `"state_topic"`, `"default_entity_id":"a","state_topic"`, "does nothing"},
		{"a retained command", "channel_alk_hold", `"command_topic"`, `"retain":true,"command_topic"`, "does nothing"},
		{"the device's name again", "node_board_online", `"name":"Online"`, `"name":"harbour-shed node board online"`, "starts with"},
		{"a wildcard", "node_board_online", `/state/node/board"`, `/state/node/+"`, "state_topic"},
		{"an empty range", "alkalinity_test", `"max":`, `"max":-1,"x":`, "min"},
		{"no id", "node_board_online", `"unique_id":`, `"x":`, "unique_id is missing"},
		{"a made-up class", "channel_alk_running", `"running"`, `"dosing"`, "device class"},
		{"a diagnosis that is pressed", "channel_alk_prime", `"name":"Prime"`, `"entity_category":"diagnostic","name":"Prime"`, "category"},
		{"a unit with a blank", "channel_alk_planned", `"mL/d"`, `"mL/d "`, "blanks"},
		{"half a digit", "channel_alk_planned", `"suggested_display_precision":1`, `"suggested_display_precision":0.5`, "precision"},
		{"a timestamp with a unit", "channel_alk_next_run", `"device_class"`, `"unit_of_measurement":"s","device_class"`, "not valid together"},
		{"a timestamp with statistics", "channel_alk_next_run", `"device_class"`, `"state_class":"measurement","device_class"`, "impossible"},
		{"pH with a unit", "probe_ph_reading", `"device_class"`, `"unit_of_measurement":"pH","device_class"`, "not valid together"},
		{"a made-up state class", "alkalinity_level", `"state_class":"measurement"`, `"state_class":"mean"`, "state class"},
		{"a class of a number", "alkalinity_test", `"name"`, `"device_class":"ph","name"`, "not in the tables"},
		{"a made-up mode", "alkalinity_test", `"mode":"box"`, `"mode":"field"`, "mode"},
		{"no events", "site_event", `"event_types":[`, `"event_types":[],"x":[`, "event types"},
		{"made-up quality of service", "channel_alk_today", `"qos":1`, `"qos":3`, "qos"},
		{"a made-up mode of availability", "channel_alk_today", `"availability_mode":"all"`, `"availability_mode":"each"`, "availability_mode"},
		{"on is off", "channel_alk_hold", `"state_on":"ON"`, `"state_on":"OFF"`, "the same"},
		{"a precise icon", "channel_alk_prime", `"mdi:water-sync"`, `"water"`, "icon"},
	} {
		m := find(c.of)
		changed := strings.Replace(string(m.Payload), c.from, c.to, 1)
		if changed == string(m.Payload) {
			t.Errorf("%s: %s is not in the announcement", c.name, c.from)
		}
		if got := strings.Join(complaints(m.Topic, []byte(changed)), "; "); !strings.Contains(got, c.want) {
			t.Errorf("%s: complaints %q; want one with %q", c.name, got, c.want)
		}
	}
	for _, topic := range []string{"homeassistant/sensor/a b/c/config", "homeassistant/sensor/ä/c/config", "homeassistant/device/a/b/config"} {
		if len(complaints(topic, []byte("{}"))) == 0 {
			t.Errorf("the topic %s passes", topic)
		}
	}
}

// Whatever names a configuration gives, ids are unique and announcements are accepted.
func TestNamesOfAnyKind(t *testing.T) {
	name := rapid.StringMatching(`[A-Za-z0-9][A-Za-z0-9_-]{0,12}`)
	rapid.Check(t, func(t *rapid.T) {
		names := rapid.SliceOfNDistinct(name, 2, 5, rapid.ID).Draw(t, "names")
		a := discovery.Announcer{Prefix: "homeassistant", Layout: topics.Layout{Prefix: name.Draw(t, "prefix"), Site: name.Draw(t, "site")}}
		var v machine.SiteView
		for _, n := range names {
			v.Systems = append(v.Systems, machine.SystemView{ID: n})
			for _, q := range units.Quantities() {
				v.Quantities = append(v.Quantities, machine.QuantityView{System: n, Quantity: string(q), Unit: q.Unit(), Target: 1})
				for _, u := range units.UnitNames(q) {
					a.Entries = append(a.Entries, discovery.Entry{System: n, Quantity: q, Unit: u})
					break
				}
			}
			v.Probes = append(v.Probes, machine.ProbeView{ID: n, Quantity: string(units.Switch)})
			for i, q := range units.Quantities() {
				v.Probes = append(v.Probes, machine.ProbeView{ID: fmt.Sprintf("longer-than-names-%d-%s", i, n), Quantity: string(q), Unit: q.Unit()})
			}
			v.Channels = append(v.Channels, machine.ChannelView{ID: n, Node: n})
			v.Containers = append(v.Containers, machine.ContainerView{ID: n})
			v.Nodes = append(v.Nodes, machine.NodeView{ID: n})
			v.Interlocks = append(v.Interlocks, machine.InterlockView{Name: n})
		}
		topicsSeen, ids := map[string]bool{}, map[string]bool{}
		for _, m := range a.Announce(v) {
			var k struct {
				ID string `json:"unique_id"`
			}
			if err := json.Unmarshal(m.Payload, &k); err != nil || topicsSeen[m.Topic] || ids[k.ID] {
				t.Fatalf("%s with id %s is there twice, or no JSON (%v)", m.Topic, k.ID, err)
			}
			topicsSeen[m.Topic], ids[k.ID] = true, true
			for _, c := range complaints(m.Topic, m.Payload) {
				t.Fatalf("%s: %s", m.Topic, c)
			}
		}
	})
}

var braces = regexp.MustCompile(`\{\{.*?\}\}`)

// What buttons, switches and numbers send are requests that the service takes.
func TestCommandsAreRequests(t *testing.T) {
	a, v := shed()
	sent := map[string]bool{}
	for _, m := range a.Announce(v) {
		var k map[string]any
		if err := json.Unmarshal(m.Payload, &k); err != nil {
			t.Fatal(err)
		}
		topic, ok := k["command_topic"].(string)
		if !ok {
			continue
		}
		verb, ok := a.Layout.Verb(topic)
		if !ok {
			t.Errorf("%s asks on %s", m.Topic, topic)
		}
		for _, key := range []string{"payload_press", "payload_on", "payload_off", "command_template"} {
			payload, ok := k[key].(string)
			if !ok {
				continue
			}
			filled := braces.ReplaceAllString(payload, "1700000000.25")
			q, refusal := topics.ParseRequest(verb, []byte(filled))
			if refusal != nil {
				t.Errorf("%s: %s %s: %s", m.Topic, key, filled, refusal.Text)
				continue
			}
			sent[verb] = true
			open := strings.HasSuffix(q.Ref, machine.OpenRef)
			mayRepeat := slices.Contains([]string{"hold", "release", "stop", "acknowledge"}, verb)
			if open != mayRepeat || !open && !strings.Contains(payload, `"ref":"dashboard-{{ now().timestamp() }}"`) {
				t.Errorf("%s: the reference of %s is %q; what must not happen twice has the time in it", m.Topic, verb, q.Ref)
			}
			if q.By != "dashboard" {
				t.Errorf("%s: asked by %q", m.Topic, q.By)
			}
		}
		if _, ok := k["retain"]; ok {
			t.Errorf("%s has its commands retained", m.Topic)
		}
		if q, _ := k["qos"].(float64); q != 0 {
			t.Errorf("%s sends at QoS %g: a client that is cut off would send it late", m.Topic, q)
		}
	}
	for _, verb := range []string{"test", "prime", "hold", "release", "stop", "acknowledge"} {
		if !sent[verb] {
			t.Errorf("nothing asks for %s", verb)
		}
	}
}

// Every entity that shows something reads a topic that the service retains, answers or sends events on.
func TestStatesAreOurs(t *testing.T) {
	a, v := shed()
	rendered, err := a.Layout.Render(v)
	if err != nil {
		t.Fatal(err)
	}
	ours := map[string]bool{a.Layout.Answer(): true, a.Layout.Root() + "/event/+": true, a.Layout.Availability(): true}
	for _, m := range rendered {
		ours[m.Topic] = true
	}
	for _, m := range a.Announce(v) {
		var k struct {
			State        string                   `json:"state_topic"`
			Attributes   string                   `json:"json_attributes_topic"`
			Availability []struct{ Topic string } `json:"availability"`
		}
		if err := json.Unmarshal(m.Payload, &k); err != nil {
			t.Fatal(err)
		}
		read := []string{k.State, k.Attributes}
		for i, one := range k.Availability {
			read = append(read, one.Topic)
			if i == 0 && one.Topic != a.Layout.Availability() {
				t.Errorf("%s does not go with the service", m.Topic)
			}
		}
		for _, topic := range read {
			if topic != "" && !ours[topic] {
				t.Errorf("%s reads %s, on which nothing is published", m.Topic, topic)
			}
		}
	}
}

// A field takes what a test may say, in the keeper's unit, and shows the last test in it.
func TestEntryFields(t *testing.T) {
	for _, c := range []struct {
		quantity       units.Quantity
		unit           string
		min, max, step float64
		template       string
	}{
		{units.Alkalinity, "dKH", 1, 25, 0.01, "{{ value_json.last_value }}"},
		{units.Alkalinity, "meq/L", 0.357, 8.916, 0.001, "{{ ((value_json.last_value * 0.35665246) | round(3)) if value_json.last_value is not none else none }}"},
		{units.Alkalinity, "ppm CaCO3", 17.848, 446.199, 0.1, ""},
		{units.Calcium, "ppm", 250, 650, 0.1, "{{ value_json.last_value }}"},
		{units.Iodide, "ug/L", 0, 1000, 0.1, ""},
		{units.Temperature, "degF", 50, 95, 0.01, "{{ ((value_json.last_value * 1.8 + 32) | round(3)) if value_json.last_value is not none else none }}"},
	} {
		a := discovery.Announcer{Prefix: "p", Layout: topics.Layout{Prefix: "a", Site: "s"}, Entries: []discovery.Entry{{System: "y", Quantity: c.quantity, Unit: c.unit}}}
		v := machine.SiteView{Systems: []machine.SystemView{{ID: "y"}}, Quantities: []machine.QuantityView{{System: "y", Quantity: string(c.quantity), Unit: c.quantity.Unit()}}}
		found := false
		for _, m := range a.Announce(v) {
			if !strings.HasPrefix(m.Topic, "p/number/") {
				continue
			}
			found = true
			var k struct {
				Min, Max, Step float64
				Unit           string `json:"unit_of_measurement"`
				Template       string `json:"value_template"`
			}
			if err := json.Unmarshal(m.Payload, &k); err != nil {
				t.Fatal(err)
			}
			if k.Min != c.min || k.Max != c.max || k.Step != c.step || k.Unit != c.unit || c.template != "" && k.Template != c.template {
				t.Errorf("%s in %s: %+v; want %g..%g by %g, %s", c.quantity, c.unit, k, c.min, c.max, c.step, c.template)
			}
		}
		if !found {
			t.Errorf("no field for %s in %s", c.quantity, c.unit)
		}
	}
}

func TestNoFieldWithoutAUnit(t *testing.T) {
	a, v := shed()
	a.Entries = []discovery.Entry{{System: "nursery", Quantity: units.Alkalinity, Unit: "litres"}, {System: "nursery", Quantity: units.Switch}, {System: "elsewhere", Quantity: units.Calcium, Unit: "mg/L"}}
	for _, m := range a.Announce(v) {
		if strings.Contains(m.Topic, "/number/") {
			t.Errorf("%s is announced", m.Topic)
		}
	}
}

func TestBirth(t *testing.T) {
	a, _ := shed()
	if a.Birth() != "homeassistant/status" || !a.IsBirth([]byte("online")) || a.IsBirth([]byte("offline")) || a.IsBirth(nil) {
		t.Error("a dashboard has started when it says online on its status topic, and only then")
	}
}
