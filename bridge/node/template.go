package node

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"text/template/parse"
	"time"

	"aliquot/safety"
)

// Fields of templates. The set is closed.
const (
	fieldOutput      = "Output"      // the node's output, a whole number
	fieldSerial      = "Serial"      // counts up with every run of the site, a whole number
	fieldRun         = "Run"         // the run's id; in an off payload "*" for everything on the output
	fieldSeconds     = "Seconds"     // running time in s, at most three decimals, such as 19.6
	fieldMillis      = "Millis"      // running time in whole ms
	fieldMillilitres = "Millilitres" // commanded volume in mL, at most three decimals
	fieldExpires     = "Expires"     // after this moment the run must not start, RFC 3339, UTC
)

var (
	topicFields = []string{fieldOutput}
	onFields    = []string{fieldOutput, fieldSerial, fieldRun, fieldSeconds, fieldMillis, fieldMillilitres, fieldExpires}
	offFields   = []string{fieldOutput, fieldSerial, fieldRun}
	// a supply relay has one output, and its off belongs to no run
	supplyFields = []string{fieldSerial}
)

// values is what the fields stand for.
type values struct {
	output  int
	serial  int64
	run     string
	time    safety.Milliseconds
	volume  safety.Microlitres
	expires time.Time
}

// template is a text with fields in it and nothing else. There is no branch and no function in it, so that every
// run is said in the same way whatever its length: what two sample durations prove holds for all.
type template []segment

// segment is a literal text, or a field where field is not empty.
type segment struct{ text, field string }

// ownTree names the template itself among those that a text might define.
const ownTree = "line"

// parseTemplate reads the notation of Go's text/template, of which only fields from allowed can be used.
func parseTemplate(text string, allowed []string) (template, error) {
	trees, err := parse.Parse(ownTree, text, "{{", "}}")
	if err != nil {
		return nil, fmt.Errorf("cannot be read as a template (%s); %s", strings.TrimPrefix(err.Error(), "template: "+ownTree+":"), usable(allowed))
	}
	if len(trees) > 1 {
		return nil, fmt.Errorf("defines other templates; %s", usable(allowed))
	}
	var t template
	if tree := trees[ownTree]; tree != nil && tree.Root != nil {
		for _, n := range tree.Root.Nodes {
			s, err := readNode(n, allowed)
			if err != nil {
				return nil, err
			}
			t = append(t, s)
		}
	}
	return t, nil
}

func usable(allowed []string) string {
	names := make([]string, len(allowed))
	for i, name := range allowed {
		names[i] = "{{." + name + "}}"
	}
	return "only " + strings.Join(names, " ") + " can be used, and nothing inside the braces but one of them"
}

func readNode(n parse.Node, allowed []string) (segment, error) {
	switch n := n.(type) {
	case *parse.TextNode:
		return segment{text: string(n.Text)}, nil
	case *parse.ActionNode:
		if len(n.Pipe.Decl) == 0 && len(n.Pipe.Cmds) == 1 && len(n.Pipe.Cmds[0].Args) == 1 {
			f, ok := n.Pipe.Cmds[0].Args[0].(*parse.FieldNode)
			if ok && len(f.Ident) == 1 && slices.Contains(allowed, f.Ident[0]) {
				return segment{field: f.Ident[0]}, nil
			}
		}
	}
	return segment{}, fmt.Errorf("has %s; %s", n, usable(allowed))
}

func (t template) render(v values) string {
	var b strings.Builder
	for _, s := range t {
		if s.field == "" {
			b.WriteString(s.text)
		} else {
			b.WriteString(v.field(s.field))
		}
	}
	return b.String()
}

func (v values) field(name string) string {
	switch name {
	case fieldOutput:
		return strconv.Itoa(v.output)
	case fieldSerial:
		return strconv.FormatInt(v.serial, 10)
	case fieldRun:
		return v.run
	case fieldSeconds:
		return thousandths(int64(v.time), 0)
	case fieldMillis:
		return strconv.FormatInt(int64(v.time), 10)
	case fieldMillilitres:
		return thousandths(int64(v.volume), 0)
	case fieldExpires:
		return v.expires.UTC().Format(time.RFC3339)
	}
	panic("node: a template with the unknown field " + name)
}

func (t template) uses(fields ...string) bool {
	return slices.ContainsFunc(t, func(s segment) bool { return s.field != "" && slices.Contains(fields, s.field) })
}

// touching gives a time field that stands directly beside another field, a digit or a point, and false if there
// is none. "{{.Seconds}}0" would be ten times as long as meant, and only for whole seconds.
func (t template) touching() (string, bool) {
	for i, s := range t {
		if s.field != fieldSeconds && s.field != fieldMillis {
			continue
		}
		if i > 0 && (t[i-1].field != "" || strings.ContainsAny(lastByte(t[i-1].text), numberBytes)) {
			return s.field, true
		}
		if i+1 < len(t) && (t[i+1].field != "" || strings.ContainsAny(firstByte(t[i+1].text), numberBytes+"eE")) {
			return s.field, true
		}
	}
	return "", false
}

const numberBytes = "0123456789."

func firstByte(s string) string { return s[:min(1, len(s))] }
func lastByte(s string) string  { return s[len(s)-min(1, len(s)):] }

// thousandths renders a number of thousandths as a decimal number with at least so many decimals, without loss:
// 19600 is 19.6 with none, 19.600 with three.
func thousandths(v int64, decimals int) string {
	sign := ""
	if v < 0 {
		sign, v = "-", -v
	}
	frac := fmt.Sprintf("%03d", v%1000)
	for len(frac) > decimals && strings.HasSuffix(frac, "0") {
		frac = frac[:len(frac)-1]
	}
	if frac == "" {
		return sign + strconv.FormatInt(v/1000, 10)
	}
	return sign + strconv.FormatInt(v/1000, 10) + "." + frac
}
