package discovery_test

import (
	"encoding/json"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
)

// What follows are the rules by which dashboards take an announcement, for the release 2024.3 and for those since, read in
// the sources of 2024.3.3, 2025.4.4 and 2026.11.0 (homeassistant/components/mqtt, sensor/const.py and entity.py of sensor and
// number). Where they differ a key or value has to be good for all. TestRulesAreThoseOfTheReleases compares the tables with sources.

// topLevel are the keys that each component knows in 2024.3. Others are dropped there without a word, so that what
// they were meant for would not be.
var topLevel = map[string][]string{
	"sensor":        {"state_topic", "value_template", "unit_of_measurement", "device_class", "state_class", "suggested_display_precision", "expire_after", "force_update"},
	"binary_sensor": {"state_topic", "value_template", "payload_on", "payload_off", "device_class", "expire_after", "off_delay", "force_update"},
	"number":        {"state_topic", "value_template", "command_topic", "command_template", "min", "max", "step", "mode", "unit_of_measurement", "device_class", "payload_reset", "optimistic"},
	"button":        {"command_topic", "command_template", "payload_press", "device_class"},
	"switch":        {"state_topic", "value_template", "command_topic", "payload_on", "payload_off", "state_on", "state_off", "device_class", "optimistic"},
	"event":         {"state_topic", "value_template", "event_types", "device_class"},
}

var everywhere = []string{"name", "unique_id", "device", "origin", "availability", "availability_mode", "entity_category", "icon", "qos",
	"encoding", "enabled_by_default", "json_attributes_topic", "json_attributes_template"}

// required keys of each component.
var required = map[string][]string{"sensor": {"state_topic"}, "binary_sensor": {"state_topic"}, "number": {"command_topic"},
	"button": {"command_topic"}, "switch": {"command_topic", "state_topic"}, "event": {"state_topic", "event_types"}}

// fit is what goes with a device class of a sensor: since 2025 the entity is refused if it does not fit.
var fit = map[string]struct{ units, stateClasses []string }{
	"volume":         {[]string{"mL", "L"}, []string{"", "total", "total_increasing"}},
	"volume_storage": {[]string{"mL", "L"}, []string{"", "measurement"}},
	"duration":       {[]string{"d", "h", "min", "s"}, []string{"", "measurement", "total", "total_increasing"}},
	"timestamp":      {[]string{""}, []string{""}},
	"temperature":    {[]string{"°C", "°F", "K"}, []string{"", "measurement"}},
	"ph":             {[]string{""}, []string{"", "measurement"}},
	"weight":         {[]string{"g", "kg"}, []string{"", "measurement", "total", "total_increasing"}},
}

var binaryClasses = []string{"", "problem", "running", "connectivity", "safety", "moisture"}

var (
	topicRule    = regexp.MustCompile(`^homeassistant/(\w+)/([a-zA-Z0-9_-]+)/([a-zA-Z0-9_-]+)/config$`)
	iconRule     = regexp.MustCompile(`^mdi:[a-z0-9-]+$`)
	strictDevice = []string{"identifiers", "connections", "manufacturer", "model", "name", "hw_version", "sw_version", "via_device", "suggested_area", "configuration_url", "serial_number"}
	strictOrigin = []string{"name", "sw_version", "support_url"}
)

// complaints are the reasons for which one of the releases would warn of an announcement, or refuse it.
func complaints(topic string, payload []byte) (out []string) {
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	m := topicRule.FindStringSubmatch(topic)
	if m == nil {
		return []string{"illegal discovery topic"}
	}
	component := m[1]
	known, ok := topLevel[component]
	if !ok {
		return []string{"integration " + component + " is not supported"}
	}
	var k map[string]any
	if err := json.Unmarshal(payload, &k); err != nil {
		return []string{"unable to parse JSON"}
	}
	for key := range k {
		if !slices.Contains(known, key) && !slices.Contains(everywhere, key) {
			say("the key %s does nothing in 2024.3", key)
		}
	}
	for _, key := range append([]string{"name", "unique_id", "device", "origin", "availability"}, required[component]...) {
		if _, ok := k[key]; !ok {
			say("%s is missing", key)
		}
	}
	text := func(key string) string { s, _ := k[key].(string); return s }
	if icon := text("icon"); icon != "" && !iconRule.MatchString(icon) {
		say("icon %s", icon)
	}
	// 2024.3 warns of a sensor that is a setting, newer ones refuse it. What is pressed, typed or switched is no diagnosis:
	// that is a rule of ours.
	c, reads := text("entity_category"), component == "sensor" || component == "binary_sensor" || component == "event"
	if c == "config" && reads || c == "diagnostic" && !reads || c != "" && c != "config" && c != "diagnostic" {
		say("%s cannot have the category %s", component, c)
	}
	if m := text("availability_mode"); !slices.Contains([]string{"all", "any", "latest"}, m) {
		say("availability_mode %s", m)
	}
	if q, ok := k["qos"].(float64); ok && q != 0 && q != 1 && q != 2 {
		say("qos %v", q)
	}
	for key := range k {
		if !strings.HasSuffix(key, "topic") {
			continue
		}
		t := text(key)
		wild := strings.ContainsAny(t, "+#")
		if t == "" || strings.Contains(t, "//") || wild && (key == "command_topic" || component != "event") {
			say("%s is %q", key, t)
		}
	}
	out = append(out, strictParts(k)...)
	out = append(out, classes(component, k)...)
	return out
}

// strictParts looks at what is checked strictly.
func strictParts(k map[string]any) (out []string) {
	device, _ := k["device"].(map[string]any)
	origin, _ := k["origin"].(map[string]any)
	for key := range device {
		if !slices.Contains(strictDevice, key) {
			out = append(out, "extra keys not allowed: device "+key)
		}
	}
	for key := range origin {
		if !slices.Contains(strictOrigin, key) {
			out = append(out, "unable to parse origin: "+key)
		}
	}
	ids, _ := device["identifiers"].([]any)
	if len(ids) == 0 {
		out = append(out, "a device must have an identifier")
	}
	deviceName, _ := device["name"].(string)
	name, _ := k["name"].(string)
	switch {
	case deviceName == "" || name == "" || origin["name"] == nil:
		out = append(out, "no name")
	case strings.HasPrefix(name, deviceName):
		out = append(out, "the entity name starts with the device name")
	}
	return out
}

func classes(component string, k map[string]any) (out []string) {
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	text := func(key string) string { s, _ := k[key].(string); return s }
	class, unit, state := text("device_class"), text("unit_of_measurement"), text("state_class")
	if unit != strings.TrimSpace(unit) {
		say("the unit %q has blanks around it", unit)
	}
	if p, ok := k["suggested_display_precision"]; ok {
		if n, isNumber := p.(float64); !isNumber || n < 0 || n != math.Trunc(n) {
			say("precision %v", p)
		}
	}
	if class != "" && !slices.Contains([]string{"sensor", "binary_sensor"}, component) {
		say("device class %s: the rules for it with a %s are not in the tables", class, component)
	}
	switch component {
	case "sensor":
		rule, known := fit[class]
		switch {
		case class == "" && !slices.Contains([]string{"", "measurement", "total", "total_increasing"}, state):
			say("state class %s", state)
		case class != "" && !known:
			say("device class %s", class)
		case class != "" && !slices.Contains(rule.units, unit):
			say("the unit %q is not valid together with device class %s", unit, class)
		case class != "" && !slices.Contains(rule.stateClasses, state):
			say("the state class %q is impossible with device class %s", state, class)
		}
	case "binary_sensor":
		if !slices.Contains(binaryClasses, class) {
			say("device class %s", class)
		}
	case "number":
		least, ok1 := k["min"].(float64)
		most, ok2 := k["max"].(float64)
		step, ok3 := k["step"].(float64)
		if !ok1 || !ok2 || !ok3 || !(least < most) || !(step >= 0.001) {
			say("min %v, max %v, step %v", k["min"], k["max"], k["step"])
		}
		if m := text("mode"); !slices.Contains([]string{"auto", "box", "slider"}, m) {
			say("mode %s", m)
		}
	case "event":
		types, _ := k["event_types"].([]any)
		if len(types) == 0 || slices.ContainsFunc(types, func(one any) bool { s, _ := one.(string); return s == "" }) {
			say("event types %v", k["event_types"])
		}
	case "switch":
		if text("payload_on") == text("payload_off") || text("state_on") == text("state_off") {
			say("on and off are the same")
		}
	}
	return out
}
