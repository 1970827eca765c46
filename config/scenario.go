package config

import (
	"fmt"
	"os"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"
)

// Asked is one thing that a scenario asks for, and where it stands.
type Asked struct {
	Key, Text string
	At        Pos
}

// LoadScenario reads a file of things to go wrong in a rehearsal: a mapping of the given keys, each to one text or a
// list of texts. It is as strict as a site's file and tells every problem at once; it does not know what the texts mean.
func LoadScenario(path string, keys []string) ([]Asked, Problems) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, Problems{{File: path, Found: "the file cannot be read: " + err.Error()}}
	}
	return ParseScenario(path, data, keys)
}

// ParseScenario is LoadScenario for text that was read; name stands for the file in messages.
func ParseScenario(name string, data []byte, keys []string) ([]Asked, Problems) {
	r := newReader(name)
	root, ok := r.document(data)
	if !ok {
		return nil, r.problems.sorted()
	}
	if root.y.Kind != yaml.MappingNode {
		r.problem(root.at, "", "found "+kindOf(root.y), "must be a mapping of keys: "+strings.Join(keys, ", "), "")
		return nil, r.problems.sorted()
	}
	var out []Asked
	first := map[string]int{}
	for i := 0; i+1 < len(root.y.Content); i += 2 {
		key, val := root.y.Content[i], root.y.Content[i+1]
		switch {
		case r.bad[key]:
		case !slices.Contains(keys, key.Value):
			r.problem(nodePos(key), key.Value, "unknown key", "known here: "+strings.Join(keys, ", "), didYouMean(key.Value, keys))
		case first[key.Value] > 0:
			r.problem(nodePos(key), key.Value, "this key is there twice", "", fmt.Sprintf("remove one; the first is in line %d", first[key.Value]))
		default:
			first[key.Value] = key.Line
			out = append(out, r.asked(key.Value, val)...)
		}
	}
	return out, r.problems.sorted()
}

func (r *reader) asked(key string, val *yaml.Node) (out []Asked) {
	items := []*yaml.Node{val}
	if val.Kind == yaml.SequenceNode {
		items = val.Content
	}
	if len(items) == 0 || len(items) > maxEntries {
		r.problem(nodePos(val), key, fmt.Sprintf("found %d entries", len(items)), fmt.Sprintf("must be 1 to %d", maxEntries), "")
		return nil
	}
	for _, n := range items {
		switch {
		case r.bad[n]:
		case n.Kind != yaml.ScalarNode || isNull(n) || strings.TrimSpace(n.Value) == "":
			r.problem(nodePos(n), key, "found "+kindOf(n), "must be a text, or a list of texts", "")
		default:
			out = append(out, Asked{Key: key, Text: n.Value, At: nodePos(n)})
		}
	}
	return out
}

// Sorted orders problems by their places.
func (ps Problems) Sorted() Problems { return ps.sorted() }
