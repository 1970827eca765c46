package node

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// maxTopic is the longest topic in bytes.
const maxTopic = 512

// topicTrouble says why a rendered topic cannot be used, "" if it can.
func topicTrouble(topic string) string {
	switch {
	case topic == "":
		return "is empty"
	case len(topic) > maxTopic:
		return fmt.Sprintf("is longer than %d bytes", maxTopic)
	case !utf8.ValidString(topic) || strings.ContainsFunc(topic, unicode.IsControl):
		return "has a character that no topic can have"
	case strings.ContainsAny(topic, "+#"):
		return "has a wildcard (+ or #): write one plain topic"
	case strings.HasPrefix(topic, "$"):
		return "begins with $, which belongs to the broker"
	}
	for level := range strings.SplitSeq(topic, "/") {
		if strings.TrimSpace(level) == "" {
			return "has an empty level: no / at either end, no //"
		}
	}
	return ""
}
