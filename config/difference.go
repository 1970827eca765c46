package config

import (
	"fmt"

	"gopkg.in/yaml.v3"
)

// Difference is one value that stands in only one of two files, or differently in both. Defaults count in neither.
type Difference struct {
	Path string `json:"path"` // the keys that lead there
	At   Pos    `json:"at"`   // in the newer file; the zero value where it is gone
	Was  string `json:"was"`  // as written; empty where it is not there
	Now  string `json:"now"`
}

// String renders a difference as path: now, was before.
func (d Difference) String() string {
	switch {
	case d.Was == "":
		return fmt.Sprintf("%s: %s, is new", d.Path, d.Now)
	case d.Now == "":
		return fmt.Sprintf("%s: is gone, was %s", d.Path, d.Was)
	}
	return fmt.Sprintf("%s: %s, was %s", d.Path, d.Now, d.Was)
}

// Differences gives in which values this file differs from an older one: those that stand in this file in its order, then
// those that are gone in the order of the other. Comments, order and style are no difference.
func (s *Site) Differences(older *Site) []Difference {
	now, was := s.scalars(), older.scalars()
	before, after := map[string]string{}, map[string]bool{}
	for _, d := range was {
		before[d.Path] = d.Now
	}
	out := []Difference{}
	for _, d := range now {
		after[d.Path] = true
		if d.Was = before[d.Path]; d.Was != d.Now {
			out = append(out, d)
		}
	}
	for _, d := range was {
		if !after[d.Path] {
			out = append(out, Difference{Path: d.Path, Was: d.Now})
		}
	}
	return out
}

// scalars gives the values of the file that hold no other, each as now.
func (s *Site) scalars() []Difference {
	var doc yaml.Node
	if err := yaml.Unmarshal(s.text, &doc); err != nil || len(doc.Content) == 0 {
		return nil // not a site that Parse accepted
	}
	return scalars(nil, "", doc.Content[0])
}

func scalars(out []Difference, path string, n *yaml.Node) []Difference {
	switch {
	case n.Kind == yaml.MappingNode && len(n.Content) > 0:
		for i := 0; i+1 < len(n.Content); i += 2 {
			out = scalars(out, childPath(path, n.Content[i].Value), n.Content[i+1])
		}
	case n.Kind == yaml.SequenceNode && len(n.Content) > 0:
		for i, c := range n.Content {
			out = scalars(out, fmt.Sprintf("%s[%d]", path, i), c)
		}
	default:
		text := n.Value
		if text == "" {
			text = kindOf(n)
		}
		out = append(out, Difference{Path: path, At: nodePos(n), Now: text})
	}
	return out
}
