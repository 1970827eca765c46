package config

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"gopkg.in/yaml.v3"
)

func compiled(t *testing.T) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(JSONSchema()))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("site.schema.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("site.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// asEditor reads a file as an editor does: a date is a text, and keys are texts.
func asEditor(n *yaml.Node) any {
	switch n.Kind {
	case yaml.DocumentNode:
		return asEditor(n.Content[0])
	case yaml.MappingNode:
		out := map[string]any{}
		for i := 0; i+1 < len(n.Content); i += 2 {
			out[n.Content[i].Value] = asEditor(n.Content[i+1])
		}
		return out
	case yaml.SequenceNode:
		out := []any{}
		for _, c := range n.Content {
			out = append(out, asEditor(c))
		}
		return out
	}
	if n.Tag == "!!timestamp" {
		return n.Value
	}
	var v any
	if err := n.Decode(&v); err != nil {
		return n.Value
	}
	if i, ok := v.(int); ok {
		return float64(i)
	}
	return v
}

func judge(t *testing.T, s *jsonschema.Schema, text []byte) error {
	t.Helper()
	var doc yaml.Node
	if err := yaml.Unmarshal(text, &doc); err != nil || len(doc.Content) == 0 {
		return fmt.Errorf("no YAML: %w", err)
	}
	return s.Validate(asEditor(&doc))
}

func TestJSONSchemaFile(t *testing.T) { compareGolden(t, "site.schema.json", string(JSONSchema())) }

// Every site that is shown anywhere passes.
func TestJSONSchemaTakesWhatIsGood(t *testing.T) {
	s := compiled(t)
	for _, path := range files(t, 7, "../testdata/config/good/*.yaml", "../deploy/sites/*.yaml") {
		if err := judge(t, s, readFileT(t, path)); err != nil {
			t.Errorf("%s: %v", path, err)
		}
	}
}

// Every key of the table is in the schema and no other: a required one that is left out is asked for, one that may be
// is not, and beside each one a made-up key is refused.
func TestJSONSchemaHasEveryKey(t *testing.T) {
	s := compiled(t)
	seen := map[string]bool{}
	for _, path := range files(t, 2, "../testdata/config/good/e*.yaml") {
		data := readFileT(t, path)
		for _, l := range leaves(t, data) {
			row, known := theSchema.rows[l.schema]
			if !known {
				continue
			}
			seen[l.schema] = true
			if leaf(l.schema) != "*" && leaf(l.schema) != "[]" {
				err := judge(t, s, without(t, data, l.path))
				if (row.Need == Required) != (err != nil) {
					t.Errorf("%s without %s (%s): %v", path, l.path, row.Need, err)
				}
				if err := judge(t, s, bytes.Replace(data, []byte(leaf(l.path)+":"), []byte(leaf(l.path)+"s-not:"), 1)); err == nil && row.Need == Required {
					t.Errorf("%s with %s misspelt passes", path, l.path)
				}
			}
			if l.node.Kind == yaml.MappingNode && !strings.HasSuffix(row.Type, "of names") && !strings.HasPrefix(row.Type, "a mapping of salts") && !strings.HasPrefix(row.Type, "a mapping of quantities") {
				if judge(t, s, changed(t, data, l.path, func(n *yaml.Node) {
					n.Content = append(n.Content, &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: "made-up"}, &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: "1"})
				})) == nil {
					t.Errorf("%s with a made-up key in %s passes", path, l.path)
				}
			}
			if judge(t, s, changed(t, data, l.path, func(n *yaml.Node) {
				*n = yaml.Node{Kind: yaml.SequenceNode, Tag: "!!seq", Content: []*yaml.Node{{Kind: yaml.SequenceNode, Tag: "!!seq"}}}
			})) == nil {
				t.Errorf("%s with a list of lists at %s passes", path, l.path)
			}
		}
	}
	for _, k := range Keys() {
		if !seen[k.Path] {
			t.Errorf("no good file has the key %s", k.Path)
		}
	}
}

// changed gives a file with one value changed.
func changed(t *testing.T, data []byte, path string, change func(*yaml.Node)) []byte {
	t.Helper()
	var doc yaml.Node
	if err := yaml.Unmarshal(data, &doc); err != nil {
		t.Fatal(err)
	}
	for _, l := range leavesOf(t, &doc) {
		if l.path == path {
			change(l.node)
		}
	}
	text, err := yaml.Marshal(&doc)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// What an editor can see to be wrong it shows: these of the bad examples are so by their form alone.
func TestJSONSchemaRefusesWhatIsBad(t *testing.T) {
	s := compiled(t)
	var refused []string
	for _, path := range files(t, 80, "../testdata/config/bad/*.yaml") {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if judge(t, s, data) != nil {
			refused = append(refused, strings.TrimSuffix(filepath.Base(path), ".yaml"))
		}
	}
	for _, name := range []string{"missing-key", "no-per-day", "missing-unit", "broker-scheme", "not-a-bool", "wrong-word", "limewater-no-temperature", "unknown-key"} {
		if !slices.Contains(refused, name) {
			t.Errorf("the bad example %s passes; refused are %s", name, strings.Join(refused, ", "))
		}
	}
	if len(refused) < 20 {
		t.Errorf("only %d bad examples are refused: %s", len(refused), strings.Join(refused, ", "))
	}
}

// A value of each kind just as it must not be.
func TestJSONSchemaForms(t *testing.T) {
	s := compiled(t)
	data := readFileT(t, "../testdata/config/good/every-key.yaml")
	for _, c := range []struct{ path, value string }{
		{"channels.soda.limits.per_run", "10"}, {"channels.soda.limits.per_run", "ten mL"}, {"channels.soda.output", "256"}, {"channels.soda.output", "1.5"},
		{"channels.soda.line.siphon_break", "maybe"}, {"channels.soda.line.outlet", "below"}, {"channels.chloride.share.ratio", "0"},
		{"systems.tank.kind", "reef"}, {"probes.ph.range", "6.5-9"}, {"mqtt.broker", "10.0.0.2"}, {"mqtt.prefix", "a/b"}, {"channels.label.every", "2"},
	} {
		text := changed(t, data, c.path, func(n *yaml.Node) { *n = yaml.Node{Kind: yaml.ScalarNode, Value: c.value} })
		if judge(t, s, text) == nil {
			t.Errorf("%s: %s passes", c.path, c.value)
		}
	}
}
