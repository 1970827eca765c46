package broker

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestCovers(t *testing.T) {
	tests := []struct {
		filter, topic string
		want          bool
	}{
		{"a", "a", true},
		{"a", "b", false},
		{"a", "a/b", false},
		{"a/b", "a", false},
		{"a/+", "a/b", true},
		{"a/+", "a/", true},
		{"a/+", "a", false},
		{"a/+", "a/b/c", false},
		{"a/#", "a/b/c", true},
		{"a/#", "a", true}, // MQTT 3.1.1 section 4.7.1.2
		{"a/#", "ab", false},
		{"#", "a/b", true},
		{"#", "$SYS/x", false}, // section 4.7.2
		{"+/x", "$SYS/x", false},
		{"$SYS/#", "$SYS/x", true},
		{"+/+", "/a", true},
		{"+", "/a", false},
		// A filter somebody wants to subscribe to.
		{"a/+", "a/#", false},
		{"a/+", "a/+", true},
		{"a/b", "a/+", false},
		{"a/#", "a/+", true},
		{"a/#", "a/#", true},
		{"a/#", "#", false},
		{"#", "#", true},
		{"+", "#", false},
	}
	for _, tt := range tests {
		if got := covers(tt.filter, tt.topic); got != tt.want {
			t.Errorf("covers(%q, %q) = %t; want %t", tt.filter, tt.topic, got, tt.want)
		}
	}
}

// Whoever may subscribe to a filter is sent nothing that the rule's filter does not match.
func TestCoversIsTransitive(t *testing.T) {
	level := rapid.SampledFrom([]string{"a", "b", "+", "", "#"})
	plain := rapid.SampledFrom([]string{"a", "b", ""})
	rapid.Check(t, func(t *rapid.T) {
		rule := strings.Join(rapid.SliceOfN(level, 1, 4).Draw(t, "rule"), "/")
		asked := strings.Join(rapid.SliceOfN(level, 1, 4).Draw(t, "asked"), "/")
		topic := strings.Join(rapid.SliceOfN(plain, 1, 5).Draw(t, "topic"), "/")
		if checkFilter(rule) != nil || checkFilter(asked) != nil {
			return
		}
		if covers(rule, asked) && covers(asked, topic) && !covers(rule, topic) {
			t.Fatalf("%q covers %q, which covers %q, but %q does not cover that", rule, asked, topic, rule)
		}
	})
}

func TestAllowed(t *testing.T) {
	rules := []Rule{
		{User: "reef", Filter: "reef/#", Access: ReadWrite},
		{User: "panel", Filter: "reef/state/#", Access: Read},
		{User: "node", Filter: "node/report", Access: Write},
		{Filter: "open/#", Access: Read},
		{Filter: "shut/#"},
	}
	tests := []struct {
		user, topic string
		read, write bool
	}{
		{"reef", "reef/ask/run", true, true},
		{"reef", "node/report", false, false},
		{"panel", "reef/state/x", true, false},
		{"panel", "reef/ask/run", false, false},
		{"node", "node/report", false, true},
		{"", "open/x", true, false},
		{"reef", "open/x", true, false},
		{"reef", "shut/x", false, false},
		{"", "reef/ask/run", false, false},
	}
	for _, tt := range tests {
		if got := allowed(rules, tt.user, tt.topic, false); got != tt.read {
			t.Errorf("allowed(%q reads %s) = %t; want %t", tt.user, tt.topic, got, tt.read)
		}
		if got := allowed(rules, tt.user, tt.topic, true); got != tt.write {
			t.Errorf("allowed(%q writes %s) = %t; want %t", tt.user, tt.topic, got, tt.write)
		}
	}
	if !allowed(nil, "", "a", true) {
		t.Error("no rules forbid something; want everything allowed")
	}
}
