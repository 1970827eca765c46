package broker

import (
	"fmt"
	"strings"
)

// Access is what a Rule allows.
type Access int

// The zero Access allows nothing.
const (
	Nothing Access = iota
	Read
	Write
	ReadWrite
)

// Rule allows one user, or every user if User is empty, to read or write the topics of a filter.
type Rule struct {
	User   string
	Filter string
	Access Access
}

// checkFilter accepts a topic filter of MQTT 3.1.1 section 4.7.
func checkFilter(filter string) error {
	levels := strings.Split(filter, "/")
	for i, level := range levels {
		if strings.ContainsAny(level, "+#") && len(level) > 1 {
			return fmt.Errorf("broker: filter %q: a wildcard must stand alone between slashes", filter)
		}
		if level == "#" && i != len(levels)-1 {
			return fmt.Errorf("broker: filter %q: # must come last", filter)
		}
	}
	if filter == "" || strings.ContainsRune(filter, 0) {
		return fmt.Errorf("broker: filter %q is empty or holds NUL", filter)
	}
	return nil
}

// covers says whether filter matches topic. The topic may itself be a filter that somebody wants to subscribe
// to: then every topic it stands for must be matched.
func covers(filter, topic string) bool {
	want, have := strings.Split(filter, "/"), strings.Split(topic, "/")
	if strings.HasPrefix(topic, "$") && want[0] != have[0] {
		return false // wildcards do not reach topics that begin with $
	}
	for i, level := range want {
		if level == "#" {
			return true // also the parent level itself
		}
		if i >= len(have) {
			return false
		}
		if have[i] == "#" || (level != "+" && level != have[i]) {
			return false
		}
	}
	return len(have) == len(want)
}

// allowed says whether the rules let a user read or write a topic. No rules at all allow everything.
func allowed(rules []Rule, user, topic string, write bool) bool {
	if len(rules) == 0 {
		return true
	}
	for _, r := range rules {
		if r.User != "" && r.User != user {
			continue
		}
		fits := r.Access == ReadWrite || (write && r.Access == Write) || (!write && r.Access == Read)
		if fits && covers(r.Filter, topic) {
			return true
		}
	}
	return false
}
