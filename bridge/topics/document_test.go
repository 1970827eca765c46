package topics

import (
	"bytes"
	"encoding/json"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"aliquot/bridge/machine"
)

const (
	document    = "../TOPICS.md"
	beginMarker = "<!-- requests: made by `go test ./bridge/topics -update`, do not edit by hand -->\n"
	endMarker   = "<!-- end of requests -->\n"
)

// requestTables renders Verbs as the document shows them.
func requestTables() string {
	var b strings.Builder
	table := func(fields []FieldDoc) {
		b.WriteString("| field | kind | needed | meaning |\n| --- | --- | --- | --- |\n")
		for _, f := range fields {
			needed := ""
			if f.Required {
				needed = "yes"
			}
			fmt.Fprintf(&b, "| `%s` | %s | %s | %s |\n", f.Name, f.Kind, needed, f.Meaning)
		}
	}
	b.WriteString("\n### Fields of every request\n\n")
	table(Common())
	fmt.Fprintf(&b, "\nA name has 1 to %d printable characters, a text 1 to %d.\n", maxName, maxText)
	for _, d := range Verbs() {
		fmt.Fprintf(&b, "\n### `ask/%s`\n\n%s\n\n", d.Verb, d.Meaning)
		if len(d.Fields) > 0 {
			table(d.Fields)
			b.WriteString("\n")
		}
		fmt.Fprintf(&b, "`%s`\n", d.Example)
	}
	return b.String() + "\n"
}

func readDocument(t *testing.T) string {
	t.Helper()
	b, err := os.ReadFile(document)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func TestDocumentHasTheRequestsOfTheCode(t *testing.T) {
	doc := readDocument(t)
	head, rest, ok1 := strings.Cut(doc, beginMarker)
	got, tail, ok2 := strings.Cut(rest, endMarker)
	if !ok1 || !ok2 {
		t.Fatal("the marks around the requests are missing")
	}
	want := requestTables()
	if *update && got != want {
		if err := os.WriteFile(document, []byte(head+beginMarker+want+endMarker+tail), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if got != want {
		t.Error("the requests in TOPICS.md are not those of the code; go test ./bridge/topics -update rewrites them")
	}
}

// Every code that answers, problems and withheld runs can carry is explained.
func TestDocumentHasEveryCode(t *testing.T) {
	doc := readDocument(t)
	file, err := parser.ParseFile(token.NewFileSet(), "../../safety/codes.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	found := 0
	ast.Inspect(file, func(n ast.Node) bool {
		if v, ok := n.(*ast.BasicLit); ok && v.Kind == token.STRING {
			found++
			if code := "`" + strings.Trim(v.Value, `"`) + "`"; !strings.Contains(doc, code) {
				t.Errorf("TOPICS.md does not explain the code %s", code)
			}
		}
		return true
	})
	if found < 50 {
		t.Errorf("only %d codes found in package safety", found)
	}
}

// Every field of every payload is explained.
func TestDocumentHasEveryField(t *testing.T) {
	doc := readDocument(t)
	for _, v := range []any{machine.SystemView{}, machine.BalanceView{}, machine.FindingView{}, machine.AdviceView{}, machine.QuantityView{}, machine.ChannelView{}, machine.ContainerView{}, machine.ProbeView{},
		machine.NodeView{}, machine.InterlockView{}, machine.BlockView{}, machine.PlannedRun{}, machine.AlertView{}, machine.BeatView{},
		machine.RunEvent{}, machine.WithheldEvent{}, machine.LockoutEvent{}, machine.ProofEvent{}, machine.TestResult{}, machine.RunResult{},
		machine.CalibrationResult{}, machine.RemainingResult{}, machine.HoldResult{},
		aboutPayload{}, sitePayload{}, ownerPayload{}, answerPayload{}, problemPayload{}, eventPayload{}} {
		typ := reflect.TypeOf(v)
		for i := range typ.NumField() {
			name, _, _ := strings.Cut(typ.Field(i).Tag.Get("json"), ",")
			if !strings.Contains(doc, "`"+name+"`") && !strings.Contains(doc, `"`+name+`"`) {
				t.Errorf("TOPICS.md does not explain %s of %s", name, typ.Name())
			}
		}
	}
}

// Every topic of the layout is listed.
func TestDocumentHasEveryTopic(t *testing.T) {
	doc := readDocument(t)
	for _, topic := range []string{shed.Availability(), shed.About(), shed.Beat(), shed.Owner(), shed.Answer(), shed.Problem(), shed.Ping(), shed.State("site"),
		shed.State("system", "<system>"), shed.State("quantity", "<system>", "<quantity>"), shed.State("channel", "<channel>"),
		shed.State("container", "<container>"), shed.State("probe", "<probe>"), shed.State("node", "<node>"),
		shed.State("interlock", "<interlock>"), shed.Alert("<name>"), shed.Event("<kind>")} {
		if below := strings.TrimPrefix(topic, shed.Root()+"/"); !strings.Contains(doc, "| `"+below+"` |") {
			t.Errorf("TOPICS.md does not list %s", below)
		}
	}
}

var inlineJSON = regexp.MustCompile("`(\\{\"[^`…]*\\})`|'(\\{\"[^'{]*\\})'")

// Every whole JSON object that the document shows is JSON.
func TestExamplesOfTheDocumentAreJSON(t *testing.T) {
	found := 0
	for _, m := range inlineJSON.FindAllStringSubmatch(readDocument(t), -1) {
		example := m[1] + m[2]
		if strings.Contains(example, "{{") {
			continue
		}
		found++
		if !json.Valid(bytes.TrimSpace([]byte(example))) {
			t.Errorf("TOPICS.md shows %s, which is no JSON", example)
		}
	}
	if found < 25 {
		t.Errorf("only %d examples found", found)
	}
}
