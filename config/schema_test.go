package config

import (
	"fmt"
	"strings"
	"testing"

	"gopkg.in/yaml.v3"
)

// leafAt is one value of a file with its place.
type leafAt struct {
	path, schema string
	node         *yaml.Node
}

// leaves walks a file the way the reader does and gives every value by the row of the table it belongs to.
func leaves(t *testing.T, data []byte) []leafAt {
	t.Helper()
	var doc yaml.Node
	if err := yaml.Unmarshal(data, &doc); err != nil {
		t.Fatal(err)
	}
	var list []leafAt
	var walk func(n *yaml.Node, path, schema string)
	walk = func(n *yaml.Node, path, schema string) {
		if path != "" {
			list = append(list, leafAt{path, schema, n})
		}
		switch n.Kind {
		case yaml.MappingNode:
			_, named := theSchema.namesOf(schema)
			for i := 0; i < len(n.Content); i += 2 {
				row := n.Content[i].Value
				if named {
					row = "*"
				}
				walk(n.Content[i+1], childPath(path, n.Content[i].Value), childPath(schema, row))
			}
		case yaml.SequenceNode:
			for i, c := range n.Content {
				walk(c, fmt.Sprintf("%s[%d]", path, i), childPath(schema, "[]"))
			}
		}
	}
	walk(doc.Content[0], "", "")
	return list
}

// Every key of the table stands in some good file, so that all of them are exercised.
func TestEveryKeyIsExercised(t *testing.T) {
	seen := map[string]bool{}
	for _, path := range files(t, 2, "../testdata/config/good/e*.yaml") {
		for _, l := range leaves(t, readFileT(t, path)) {
			seen[l.schema] = true
		}
	}
	for _, k := range Keys() {
		if !seen[k.Path] {
			t.Errorf("no good file has the key %s", k.Path)
		}
	}
}

// No key is accepted and then ignored: a value of a wrong kind at any key is a problem at that key.
func TestEveryKeyIsRead(t *testing.T) {
	for _, path := range files(t, 2, "../testdata/config/good/e*.yaml") {
		data := readFileT(t, path)
		for i, l := range leaves(t, data) {
			if _, known := theSchema.rows[l.schema]; !known {
				continue // an entry of a list of plain names
			}
			var doc yaml.Node
			if err := yaml.Unmarshal(data, &doc); err != nil {
				t.Fatal(err)
			}
			n := leavesOf(t, &doc)[i].node
			*n = yaml.Node{Kind: yaml.SequenceNode, Tag: "!!seq", Content: []*yaml.Node{{Kind: yaml.SequenceNode, Tag: "!!seq"}}}
			text, err := yaml.Marshal(&doc)
			if err != nil {
				t.Fatal(err)
			}
			site, problems, _ := Parse("f", text)
			if site != nil || !mentions(problems, l.path) {
				t.Errorf("%s: a list of lists at %s gives %v; the key is not read", path, l.path, problems)
			}
		}
	}
}

func leavesOf(t *testing.T, doc *yaml.Node) []leafAt {
	t.Helper()
	var list []leafAt
	var walk func(n *yaml.Node, path string)
	walk = func(n *yaml.Node, path string) {
		if path != "" {
			list = append(list, leafAt{path: path, node: n})
		}
		for i, c := range n.Content {
			switch {
			case n.Kind == yaml.MappingNode && i%2 == 1:
				walk(c, childPath(path, n.Content[i-1].Value))
			case n.Kind == yaml.SequenceNode:
				walk(c, fmt.Sprintf("%s[%d]", path, i))
			}
		}
	}
	walk(doc.Content[0], "")
	return list
}

func mentions(problems Problems, path string) bool {
	for _, p := range problems {
		if p.Path == path || strings.HasPrefix(p.Path, path+".") || strings.HasPrefix(p.Path, path+"[") {
			return true
		}
	}
	return false
}

// Required keys are asked for, each by name, and keys that may be left out are not.
func TestRequiredKeys(t *testing.T) {
	for _, path := range files(t, 2, "../testdata/config/good/e*.yaml") {
		data := readFileT(t, path)
		for _, l := range leaves(t, data) {
			row, known := theSchema.rows[l.schema]
			if !known || leaf(l.schema) == "*" || leaf(l.schema) == "[]" || row.Need == Depends {
				continue
			}
			text := without(t, data, l.path)
			_, problems, _ := Parse("f", text)
			asked := false
			for _, p := range problems {
				asked = asked || p.Path == l.path && p.Found == "this key is missing"
			}
			if want := row.Need == Required; asked != want {
				t.Errorf("%s without %s: asked for it = %v, want %v:\n%s", path, l.path, asked, want, problems)
			}
		}
	}
}

// without gives a file with one key left out.
func without(t *testing.T, data []byte, path string) []byte {
	t.Helper()
	var doc yaml.Node
	if err := yaml.Unmarshal(data, &doc); err != nil {
		t.Fatal(err)
	}
	var cut func(n *yaml.Node, at string)
	cut = func(n *yaml.Node, at string) {
		for i, c := range n.Content {
			switch {
			case n.Kind == yaml.SequenceNode:
				cut(c, fmt.Sprintf("%s[%d]", at, i))
			case n.Kind == yaml.MappingNode && i%2 == 1:
				key := childPath(at, n.Content[i-1].Value)
				if key == path {
					n.Content = append(n.Content[:i-1:i-1], n.Content[i+1:]...)
					return
				}
				cut(c, key)
			}
		}
	}
	cut(doc.Content[0], "")
	text, err := yaml.Marshal(&doc)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func TestSchemaIsWellFormed(t *testing.T) {
	seen := map[string]bool{"": true}
	for _, k := range Keys() {
		parent := ""
		if i := strings.LastIndex(k.Path, "."); i >= 0 {
			parent = k.Path[:i]
		}
		if seen[k.Path] || !seen[parent] {
			t.Errorf("the row %s is there twice or before its parent", k.Path)
		}
		seen[k.Path] = true
		if k.Type == "" || k.Meaning == "" || !strings.HasSuffix(k.Meaning, ".") && !strings.HasSuffix(k.Meaning, "…") {
			t.Errorf("the row %s lacks a type or a meaning", k.Path)
		}
		if k.Need != Required && k.Need != Optional && k.Need != Depends {
			t.Errorf("the row %s has the need %q", k.Path, k.Need)
		}
	}
}

// Keys without effect are listed, and only those.
func TestNotYet(t *testing.T) {
	site, problems, _ := parseFile(t, "../testdata/config/good/every-key.yaml")
	if site == nil {
		t.Fatal(problems)
	}
	want := []string{}
	if len(site.NotYet) != len(want) {
		t.Fatalf("NotYet = %v, want %v", site.NotYet, want)
	}
	for i, n := range site.NotYet {
		if n.Path != want[i] || n.At.Line == 0 || n.Why == "" {
			t.Errorf("NotYet[%d] = %+v, want path %s with its line and a reason", i, n, want[i])
		}
	}
}
