package config

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"
)

// value is one node of the tree together with the path that leads to it and the row of the schema that
// describes it.
type value struct {
	r      *reader
	y      *yaml.Node
	at     Pos
	path   string // as in the file: channels.alk.limits
	schema string // as in the table of keys: channels.*.limits
}

func (v value) problem(found, allowed, do string) { v.r.problem(v.at, v.path, found, allowed, do) }

// wantedType is what the table of keys says a value must be.
func (v value) wantedType() string {
	if row, ok := theSchema.rows[v.schema]; ok {
		return "must be " + row.Type
	}
	return "must be " + tMapping
}

// mapping is a value that holds keys, each at most once, in the order of the file.
type mapping struct {
	value
	names []string
	items map[string]value
}

// open reads a value as a mapping. Duplicate, unknown and missing keys are reported against the table of
// keys. It is false only if the value is no mapping at all.
func (v value) open() (mapping, bool) {
	m := mapping{value: v, items: map[string]value{}}
	if v.r.bad[v.y] {
		return m, false
	}
	if v.y.Kind != yaml.MappingNode {
		v.problem("found "+kindOf(v.y), v.wantedType(), "")
		return m, false
	}
	fixed, named := theSchema.namesOf(v.schema)
	if len(v.y.Content) > 2*maxNames {
		v.problem(fmt.Sprintf("found %d keys", len(v.y.Content)/2), fmt.Sprintf("at most %d are read", maxNames), "")
		return m, false
	}
	commas := commaTails(v.y)
	for i := 0; i+1 < len(v.y.Content); i += 2 {
		key, val := v.y.Content[i], v.y.Content[i+1]
		if v.r.bad[key] {
			continue
		}
		if head, ok := commas[key]; ok {
			v.decimalComma(head, key)
			continue
		}
		m.add(key, val, fixed, named)
	}
	m.checkMissing()
	return m, true
}

// add takes one key of the file into the mapping, or says why not.
func (m *mapping) add(key, val *yaml.Node, fixed []string, named bool) {
	word := key.Value
	path, at := childPath(m.path, word), nodePos(key)
	if first, twice := m.items[word]; twice {
		m.r.problem(at, path, "this key is there twice", "", fmt.Sprintf("remove one; the first is in line %d", first.at.Line))
		return
	}
	row := word
	if named {
		row = "*"
	} else if !slices.Contains(fixed, word) {
		allowed := "known here: " + strings.Join(fixed, ", ")
		if len(fixed) == 0 {
			allowed = "no keys are known here"
		}
		m.r.problem(at, path, "unknown key", allowed, didYouMean(word, fixed))
		return
	}
	item := value{r: m.r, y: val, at: at, path: path, schema: childPath(m.schema, row)}
	if val.Kind == yaml.ScalarNode && !isNull(val) {
		item.at = nodePos(val)
	}
	m.r.places[path] = item.at
	m.names = append(m.names, word)
	m.items[word] = item
	if why := theSchema.rows[item.schema].Later; why != "" {
		m.r.notYet = append(m.r.notYet, NotYet{Path: path, At: at, Why: why})
	}
}

// checkMissing reports required keys that are not there, and warns of what is not guarded without others.
func (m *mapping) checkMissing() {
	for _, k := range theSchema.children[m.schema] {
		name := leaf(k.Path)
		if m.has(name) || name == "*" || name == "[]" {
			continue
		}
		if k.Need == Required {
			m.missing(name)
		}
		if k.Unguarded != "" {
			m.r.warnings = append(m.r.warnings, Problem{File: m.r.file, At: m.at, Path: childPath(m.path, name), Found: "not declared", Allowed: k.Unguarded})
		}
	}
}

// missing reports one key that has to be there.
func (m mapping) missing(name string) {
	row := theSchema.rows[childPath(m.schema, name)]
	do := ""
	if row.Path == "channels.*.limits.per_day" {
		do = "a channel without a daily limit never runs"
	}
	m.r.problem(m.at, childPath(m.path, name), "this key is missing", row.wanted(), do)
}

func (k Key) wanted() string { return "must be " + k.Type }

// get gives the value of a key, false if it is not there.
func (m mapping) get(key string) (value, bool) {
	v, ok := m.items[key]
	return v, ok
}

func (m mapping) has(key string) bool { _, ok := m.items[key]; return ok }

// list gives the entries of a list, each with its index in the path.
func (v value) list() ([]value, bool) {
	if v.r.bad[v.y] {
		return nil, false
	}
	if v.y.Kind != yaml.SequenceNode {
		v.problem("found "+kindOf(v.y), v.wantedType(), "")
		return nil, false
	}
	if len(v.y.Content) > maxEntries {
		v.problem(fmt.Sprintf("found %d entries", len(v.y.Content)), fmt.Sprintf("at most %d are read", maxEntries), "")
		return nil, false
	}
	var out []value
	for i, c := range v.y.Content {
		path := fmt.Sprintf("%s[%d]", v.path, i)
		v.r.places[path] = nodePos(c)
		out = append(out, value{r: v.r, y: c, at: nodePos(c), path: path, schema: childPath(v.schema, "[]")})
	}
	return out, true
}

var (
	beginsWithDigit = regexp.MustCompile(`^[0-9]`)
	endsWithDigit   = regexp.MustCompile(`^[-+]?[0-9][0-9.]*$`)
)

// commaTails finds decimal commas inside { }: there `target: 8,3 dKH` reads as the key target with the value
// 8 and the key "3 dKH" without a value. It maps each such tail to the value that it was cut from.
func commaTails(n *yaml.Node) map[*yaml.Node]*yaml.Node {
	tails := map[*yaml.Node]*yaml.Node{}
	if n.Style&yaml.FlowStyle == 0 {
		return tails
	}
	for i := 2; i+1 < len(n.Content); i += 2 {
		head, key, val := n.Content[i-1], n.Content[i], n.Content[i+1]
		if isNull(val) && head.Kind == yaml.ScalarNode && beginsWithDigit.MatchString(key.Value) && endsWithDigit.MatchString(head.Value) {
			tails[key] = head
		}
	}
	return tails
}

// decimalComma reports a number that a comma has cut in two, once.
func (v value) decimalComma(head, tail *yaml.Node) {
	path := v.path
	for i := 0; i+1 < len(v.y.Content); i += 2 {
		if v.y.Content[i+1] == head {
			path = childPath(path, v.y.Content[i].Value)
		}
	}
	v.r.problem(nodePos(head), path, fmt.Sprintf("%q has a decimal comma", head.Value+","+tail.Value),
		"numbers have a decimal point", "write "+head.Value+"."+tail.Value)
	v.r.bad[head] = true
}

func isNull(n *yaml.Node) bool { return n.Kind == yaml.ScalarNode && n.Tag == "!!null" }

// kindOf names what a node is, for messages.
func kindOf(n *yaml.Node) string {
	switch {
	case n.Kind == yaml.MappingNode:
		return "a mapping of keys"
	case n.Kind == yaml.SequenceNode:
		return "a list"
	case isNull(n):
		return "nothing"
	}
	return fmt.Sprintf("the text %q", clip(n.Value))
}

// clip keeps messages short however long a hostile text is.
func clip(s string) string {
	const most = 60
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}
