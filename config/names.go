package config

import (
	"fmt"
	"regexp"
	"strings"
)

// Names become levels of topics and labels of metrics; a level called bridge belongs to other programs.
const (
	maxName      = 48
	reservedName = "bridge"
	maxTopic     = 512
)

var nameShape = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9_-]*$`)

// nameTrouble says what is wrong with a name, and "" if nothing is.
func nameTrouble(s string) string {
	switch {
	case strings.EqualFold(s, reservedName):
		return fmt.Sprintf("the name %q is taken by other programs' topics", s)
	case len(s) > maxName:
		return fmt.Sprintf("the name %q is longer than %d letters", clip(s), maxName)
	case !nameShape.MatchString(s):
		return fmt.Sprintf("%q is no name", clip(s))
	}
	return ""
}

const nameAllowed = "names are letters, digits, - and _, beginning with a letter or digit: each is one level of a topic"

func readName(v value) (string, bool) {
	s, ok := v.text()
	if !ok {
		return "", false
	}
	if why := nameTrouble(s); why != "" {
		v.problem(why, nameAllowed, "")
		return "", false
	}
	return s, true
}

// named gives the entries of a mapping whose keys are the keeper's names. Entries with an impossible name are
// reported and left out.
func (m mapping) named() []entry {
	var out []entry
	for _, name := range m.names {
		item := m.items[name]
		if why := nameTrouble(name); why != "" {
			item.problem(why, nameAllowed, "")
			continue
		}
		out = append(out, entry{name, item})
	}
	return out
}

// entry is one named entry of a mapping.
type entry struct {
	name string
	value
}

var templateAction = regexp.MustCompile(`\{\{[^{}]*\}\}`)

// topicTrouble says what is wrong with a topic, and "" if nothing is. Template actions count as one letter
// each: what they give is checked where they are rendered.
func topicTrouble(s string) string {
	bare := templateAction.ReplaceAllString(s, "x")
	switch {
	case len(s) > maxTopic:
		return fmt.Sprintf("the topic %q is longer than %d bytes", clip(s), maxTopic)
	case strings.ContainsAny(bare, "+#"):
		return fmt.Sprintf("the topic %q has a wildcard", clip(s))
	case strings.HasPrefix(bare, "$"):
		return fmt.Sprintf("the topic %q begins with $, which belongs to the broker", clip(s))
	case strings.ContainsAny(bare, "{}"):
		return fmt.Sprintf("the topic %q has a brace that is no template", clip(s))
	case strings.ContainsAny(s, "\n\t"):
		return fmt.Sprintf("the topic %q has more than one line", clip(s))
	}
	for _, l := range strings.Split(bare, "/") {
		if strings.TrimSpace(l) == "" {
			return fmt.Sprintf("the topic %q has an empty level", clip(s))
		}
	}
	return ""
}

// readTopic is a topic without templates; readTopicTemplate may have them.
func readTopic(v value) (string, bool) {
	s, ok := readTopicTemplate(v)
	if ok && templateAction.MatchString(s) {
		v.problem(fmt.Sprintf("the topic %q has a template", clip(s)), "only topics of pump nodes have templates", "")
		return "", false
	}
	return s, ok
}

func readTopicTemplate(v value) (string, bool) {
	s, ok := v.text()
	if !ok {
		return "", false
	}
	if why := topicTrouble(s); why != "" {
		v.problem(why, v.wantedType(), "write one plain topic; no + or #, no / at either end, no //")
		return "", false
	}
	return s, true
}

var jsonPath = regexp.MustCompile(`^[^.\s]+(\.[^.\s]+)*$`)

// readJSONPath is a dotted path into a JSON payload, such as on or status.output. Template actions may stand
// in it where readTemplate is allowed.
func readJSONPath(v value) (string, bool) {
	s, ok := readLine(v)
	if !ok {
		return "", false
	}
	if bare := templateAction.ReplaceAllString(s, "x"); !jsonPath.MatchString(bare) {
		v.problem(fmt.Sprintf("%q is no path", clip(s)), v.wantedType(), "write the keys with single points between them, such as status.output")
		return "", false
	}
	return s, true
}

// readFile is a path of a file; it is not looked at.
func readFile(v value) (string, bool) {
	s, ok := readLine(v)
	if ok && strings.HasSuffix(s, "/") {
		v.problem(fmt.Sprintf("%q is a directory", clip(s)), v.wantedType(), "name the file in it")
		return "", false
	}
	return s, ok
}
