package config

import (
	"bytes"
	"encoding/json"
	"regexp"
	"strconv"
	"strings"
)

// shape is a part of a JSON Schema, draft 2020-12, with its keywords in the order in which they are written.
type shape struct {
	Schema      string   `json:"$schema,omitempty"`
	Title       string   `json:"title,omitempty"`
	Description string   `json:"description,omitempty"`
	Type        any      `json:"type,omitempty"` // a word, or a list of words
	Const       string   `json:"const,omitempty"`
	Enum        []string `json:"enum,omitempty"`
	Pattern     string   `json:"pattern,omitempty"`
	Minimum     *float64 `json:"minimum,omitempty"`
	Maximum     *float64 `json:"maximum,omitempty"`
	MinItems    int      `json:"minItems,omitempty"`
	Items       *shape   `json:"items,omitempty"`
	AnyOf       []shape  `json:"anyOf,omitempty"`
	Names       *shape   `json:"propertyNames,omitempty"`
	Required    []string `json:"required,omitempty"`
	Properties  *fields  `json:"properties,omitempty"`
	Additional  any      `json:"additionalProperties,omitempty"` // false, or the shape of every named entry
	Examples    []string `json:"examples,omitempty"`
}

// fields are properties in the order of the table of keys.
type fields struct {
	names  []string
	shapes []shape
}

// MarshalJSON keeps the order.
func (f fields) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	b.WriteByte('{')
	for i, name := range f.names {
		if i > 0 {
			b.WriteByte(',')
		}
		value, err := plainJSON(f.shapes[i])
		if err != nil {
			return nil, err
		}
		b.WriteString(strconv.Quote(name) + ":")
		b.Write(value)
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}

// plainJSON leaves < and > as they are.
func plainJSON(v any) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	err := e.Encode(v)
	return bytes.TrimSpace(b.Bytes()), err
}

// JSONSchema gives the table of keys as a JSON Schema for editors, which then complete and check a file as it is
// written. It knows each key and the form of each value. What one key means for another, and whether a value makes
// sense, only `aliquot check` knows.
func JSONSchema() []byte {
	root := theSchema.mapping("")
	root.Schema = "https://json-schema.org/draft/2020-12/schema"
	root.Title = "A site of aliquot"
	text, err := plainJSON(root)
	if err != nil {
		panic("config: " + err.Error()) // texts and numbers of the table: it cannot
	}
	var pretty bytes.Buffer
	if err := json.Indent(&pretty, text, "", "  "); err != nil {
		panic("config: " + err.Error())
	}
	return append(pretty.Bytes(), '\n')
}

// mapping is the shape of what stands below a path.
func (s schema) mapping(path string) shape {
	out := shape{Type: "object", Additional: false}
	for _, k := range s.children[path] {
		name := leaf(k.Path)
		if name == "*" {
			entry := s.shapeOf(k)
			out.Additional = entry
			continue
		}
		if out.Properties == nil {
			out.Properties = &fields{}
		}
		out.Properties.names = append(out.Properties.names, name)
		out.Properties.shapes = append(out.Properties.shapes, s.shapeOf(k))
		if k.Need == Required {
			out.Required = append(out.Required, name)
		}
	}
	return out
}

const (
	aName    = `^[A-Za-z0-9_-]+$`
	withUnit = `^\s*[-+−]?[0-9.]+\s*[^0-9.,\s]` // a number, and something behind it
)

var (
	oneWord  = regexp.MustCompile(`^[\w%-]+(, [\w%-]+)* or [\w%-]+$`)
	between  = regexp.MustCompile(`from ([0-9.]+) to ([0-9.]+)$`)
	exampled = regexp.MustCompile(`such as ("[^"]+"|[^,{]+)`)
)

// shapeOf is the shape of one key's value.
func (s schema) shapeOf(k Key) shape {
	out, known := s.form(k)
	if !known {
		panic("config: no shape for " + strconv.Quote(k.Type))
	}
	out.Description = k.Meaning
	if k.Default != "" {
		out.Description += " Left out: " + k.Default + "."
	}
	if m := exampled.FindStringSubmatch(k.Type); m != nil && out.Type == "string" {
		out.Examples = []string{strings.Trim(m[1], `" `)}
	}
	return out
}

// form reads the words that say what a value looks like. False: they are of no kind that is known here.
func (s schema) form(k Key) (shape, bool) {
	is := func(part string) bool { return strings.Contains(k.Type, part) }
	begins := func(part string) bool { return strings.HasPrefix(k.Type, part) }
	scalar := []string{"string", "number", "boolean"}
	switch {
	case k.Type == tNames:
		out := s.mapping(k.Path)
		out.Names = &shape{Pattern: aName}
		return out, true
	case begins("a mapping"):
		return s.mapping(k.Path), true
	case k.Type == tList:
		entry := s.shapeOf(s.rows[childPath(k.Path, "[]")])
		return shape{Type: "array", Items: &entry}, true
	case begins("a list of two or more"):
		return shape{Type: "array", MinItems: 2, Items: &shape{Type: "string"}}, true
	case begins("all, or a list"):
		return shape{AnyOf: []shape{{Const: "all"}, {Type: "array", MinItems: 1, Items: &shape{Type: "string"}}}}, true
	case k.Type == tBool:
		return shape{Type: "boolean"}, true
	case oneWord.MatchString(k.Type):
		return shape{Type: "string", Enum: strings.Split(strings.ReplaceAll(k.Type, " or ", ", "), ", ")}, true
	case len(s.children[k.Path]) > 0: // a text, or a mapping that says more
		return shape{AnyOf: []shape{{Type: "string", Pattern: withUnit}, s.mapping(k.Path)}}, true
	case is("with its unit"), begins("a share"), begins("a claim"), begins("a whole number of days"):
		return shape{Type: "string", Pattern: withUnit}, true
	case begins("a whole number"), begins("a number such as"):
		return numeric(k.Type), true
	case begins("a number in"):
		return shape{Type: []string{"number", "string"}}, true
	case begins("two numbers"):
		return shape{Type: "string", Pattern: `^\s*[-−]?[0-9.]+\s*\.\.\s*[-−]?[0-9.]+\s*$`}, true
	case begins("mqtt://"):
		return shape{Type: "string", Pattern: `^(embedded$|mqtts?://.)`}, true
	case begins("an http://"):
		return shape{Type: "string", Pattern: `^https?://[^/]`}, true
	case k.Type == tName:
		return shape{Type: scalar, Pattern: aName}, true
	case begins("the name of"), k.Type == tText, k.Type == "a payload":
		return shape{Type: scalar}, true
	}
	for _, kind := range []string{tTopic, tFile, "a zone", "an address", "a cron expression", "a local time", "a date", "a dotted path", "a unit"} {
		if begins(kind) {
			return shape{Type: "string"}, true
		}
	}
	return shape{}, false
}

// numeric is a plain number with its range.
func numeric(text string) shape {
	out := shape{Type: "number"}
	if strings.HasPrefix(text, "a whole number") {
		out.Type = "integer"
	}
	if m := between.FindStringSubmatch(text); m != nil {
		low, _ := strconv.ParseFloat(m[1], 64)
		high, _ := strconv.ParseFloat(m[2], 64)
		out.Minimum, out.Maximum = &low, &high
	}
	return out
}
