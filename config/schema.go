package config

import "strings"

// Need says whether a key may be left out.
type Need string

// Needs of a key.
const (
	Required Need = "required"
	Optional Need = "optional"
	// Depends: required, allowed or refused according to another key; the meaning says which.
	Depends Need = "depends"
)

// Key describes one key of the file. The table of keys is what the reader checks unknown and missing keys
// against and what the reference is generated from, so neither can drift from the other.
type Key struct {
	Path    string // dotted; * stands for a name of the keeper's choice, [] for each entry of a list
	Type    string // what a value looks like; used in messages as "must be …"
	Need    Need
	Default string // what holds if the key is left out
	Meaning string
	Later   string // why the key has no effect in this version; empty if it has
	// Unguarded says what nobody watches over if the key is left out; empty if nothing is lost.
	Unguarded string
}

// Keys gives every key there is, in the order of the reference.
func Keys() []Key {
	var all []Key
	for _, part := range [][]Key{siteKeys, mqttKeys, systemKeys, stockKeys, nodeKeys, channelKeys, watchKeys, alertKeys} {
		all = append(all, part...)
	}
	return all
}

// schema is the table of keys, indexed for the reader.
type schema struct {
	rows     map[string]Key
	children map[string][]Key // by the path of the parent, in the order of the table
}

var theSchema = newSchema(Keys())

func newSchema(keys []Key) schema {
	s := schema{rows: map[string]Key{}, children: map[string][]Key{}}
	for _, k := range keys {
		parent := ""
		if i := strings.LastIndex(k.Path, "."); i >= 0 {
			parent = k.Path[:i]
		}
		s.rows[k.Path] = k
		s.children[parent] = append(s.children[parent], k)
	}
	return s
}

// childPath joins a key to the path of its parent.
func childPath(parent, key string) string {
	if parent == "" {
		return key
	}
	return parent + "." + key
}

// leaf is the last word of a path.
func leaf(path string) string { return path[strings.LastIndex(path, ".")+1:] }

// namesOf lists the fixed keys below a path; named says that the keys are the keeper's own names instead.
func (s schema) namesOf(parent string) (names []string, named bool) {
	for _, k := range s.children[parent] {
		name := leaf(k.Path)
		if name == "*" {
			return nil, true
		}
		names = append(names, name)
	}
	return names, false
}
