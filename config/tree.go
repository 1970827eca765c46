package config

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"

	"gopkg.in/yaml.v3"
)

// Bounds of a file that is read at all: far above any real site, far below what would hurt a small board.
const (
	maxFileBytes = 4 << 20
	maxDepth     = 12
	maxEntries   = 100  // of one list
	maxNames     = 5000 // of one mapping of names: the channels of a farm
)

// reader collects what is found on the way through one file.
type reader struct {
	file     string
	problems Problems
	warnings Problems
	notYet   []NotYet
	places   map[string]Pos      // of every path that was visited
	bad      map[*yaml.Node]bool // complained of already
}

func newReader(file string) *reader {
	return &reader{file: file, places: map[string]Pos{}, bad: map[*yaml.Node]bool{}}
}

func (r *reader) problem(at Pos, path, found, allowed, do string) {
	r.problems = append(r.problems, Problem{File: r.file, At: at, Path: path, Found: found, Allowed: allowed, Do: do})
}

// at reports a problem at the place of a path that was visited, or of its nearest parent.
func (r *reader) at(path, found, allowed, do string) {
	r.problem(r.place(path), path, found, allowed, do)
}

// warn is at for what is worth knowing and does not refuse the file.
func (r *reader) warn(path, found, allowed, do string) {
	r.warnings = append(r.warnings, Problem{File: r.file, At: r.place(path), Path: path, Found: found, Allowed: allowed, Do: do})
}

// document gives the root value of the one document in data, or false with a problem.
func (r *reader) document(data []byte) (value, bool) {
	if len(data) > maxFileBytes {
		r.problem(Pos{}, "", fmt.Sprintf("the file has %d bytes", len(data)), fmt.Sprintf("at most %d are read", maxFileBytes), "")
		return value{}, false
	}
	dec := yaml.NewDecoder(bytes.NewReader(data))
	var doc, second yaml.Node
	if err := dec.Decode(&doc); err != nil {
		r.syntax(err)
		return value{}, false
	}
	if err := dec.Decode(&second); err == nil {
		r.problem(nodePos(&second), "", "a second document begins here", "a site is one document", "remove the line --- and what follows, or join the two")
		return value{}, false
	} else if !errors.Is(err, io.EOF) {
		r.syntax(err)
		return value{}, false
	}
	root := doc.Content[0]
	if !r.plain(root, 0) {
		return value{}, false
	}
	return value{r: r, y: root, at: nodePos(root)}, true
}

var yamlErrorLine = regexp.MustCompile(`^yaml: (?:line (\d+): )?((?s:.*))$`)

// syntax turns an error of the YAML parser into a problem with its line.
func (r *reader) syntax(err error) {
	if errors.Is(err, io.EOF) {
		r.problem(Pos{}, "", "the file is empty", "", "describe the site in it")
		return
	}
	at, text := Pos{}, err.Error()
	if m := yamlErrorLine.FindStringSubmatch(text); m != nil {
		text = m[2]
		if line, aerr := strconv.Atoi(m[1]); aerr == nil {
			at = Pos{Line: line, Col: 1}
			if strings.HasPrefix(text, "did not find expected") {
				at.Line++ // yaml.v3's parser counts lines from 0, its scanner from 1
			}
		}
	}
	do := ""
	if text == "found character that cannot start any token" {
		do = "indent with spaces, not tabs, and quote values that begin with @, ` or %"
	}
	r.problem(at, "", "this is no YAML: "+text, "", do)
}

// plain walks the whole tree once and refuses what makes a file mean something else than it shows: anchors,
// aliases, merges, explicit tags, keys that are no text, and depth without end.
func (r *reader) plain(n *yaml.Node, depth int) bool {
	at := nodePos(n)
	switch {
	case depth > maxDepth:
		r.problem(at, "", fmt.Sprintf("more than %d levels of keys", maxDepth), "", "")
		return false
	case n.Kind == yaml.AliasNode:
		r.problem(at, "", "*"+n.Value+" is an alias", "a site has neither anchors nor aliases", "write the value out")
		r.bad[n] = true
		return true
	case n.Anchor != "":
		r.problem(at, "", "&"+n.Anchor+" is an anchor", "a site has neither anchors nor aliases", "write the value out")
	}
	if n.Style&yaml.TaggedStyle != 0 {
		r.problem(at, "", fmt.Sprintf("the tag %s", n.Tag), "a site has no tags", "remove it")
		r.bad[n] = true
	}
	for i, c := range n.Content {
		if n.Kind == yaml.MappingNode && i%2 == 0 && (c.Kind != yaml.ScalarNode || c.Tag == "!!merge") {
			r.problem(nodePos(c), "", "a key that is no plain text", "keys are words", "write the keys out")
			r.bad[c] = true
			continue
		}
		if !r.plain(c, depth+1) {
			return false
		}
	}
	return true
}

func nodePos(n *yaml.Node) Pos { return Pos{Line: n.Line, Col: n.Column} }

// place finds where a path was seen; for one that is not in the file, where its nearest parent stands.
func (r *reader) place(path string) Pos {
	for path != "" {
		if at, ok := r.places[path]; ok {
			return at
		}
		path = parentPath(path)
	}
	return r.places[""]
}

// parentPath takes the last key or list index off a path.
func parentPath(path string) string {
	for i := len(path) - 1; i >= 0; i-- {
		if path[i] == '.' || path[i] == '[' {
			return path[:i]
		}
	}
	return ""
}
