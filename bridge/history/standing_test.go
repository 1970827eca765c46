package history

import (
	"fmt"
	"go/ast"
	goparser "go/parser"
	"go/token"
	"reflect"
	"slices"
	"strconv"
	"testing"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

func TestStandingBodies(t *testing.T) {
	alk, nursery := machine.Scope{Channel: "alk"}, machine.Scope{System: "nursery"}
	for _, c := range []struct {
		line string
		want machine.Body
	}{
		{`"type":"hold","channel":"alk","reason":"feeding","until":"2027-03-01T09:00:00Z"`, machine.Hold{Scope: alk, Reason: "feeding", Until: at("09:00:00"), Length: 7_200_000}},
		{`"type":"hold","until":"2027-03-01T07:00:00.0000001Z"`, machine.Hold{Until: at("07:00:00").Add(100), Length: 1}},
		{`"type":"release","system":"nursery"`, machine.Release{Scope: nursery}},
		{`"type":"release","reason":"fed"`, machine.Release{}},
		{`"type":"out_of_service","system":"nursery","reason":"leak"`, machine.OutOfService{Scope: nursery, Reason: "leak"}},
		{`"type":"lockout","channel":"alk","reason":"not_primed"`, machine.Lockout{Scope: alk, Code: safety.NotPrimed}},
		{`"type":"lockout","channel":"alk","reason":"fault: on: 3 s"`, machine.Lockout{Scope: alk, Code: safety.Fault, Text: "on: 3 s"}},
		{`"type":"lockout","reason":"fault:"`, machine.Lockout{Code: safety.Fault, Text: "fault:"}},
		{`"type":"lockout","reason":"the pump sings: loudly"`, machine.Lockout{Code: safety.Fault, Text: "the pump sings: loudly"}},
		{`"type":"cleared","channel":"alk","reason":"fault"`, machine.Cleared{Scope: alk, Code: safety.Fault}},
		{`"type":"cleared","system":"nursery","reason":"out_of_service: repaired"`, machine.Cleared{Scope: nursery, Code: safety.OutOfService}},
		{`"type":"self_stop_proof","node":"plug"`, machine.Proof{Node: "plug"}},
		{`"type":"self_stop_proof","channel":"mg","node":"plug"`, machine.Proof{Channel: "mg", Node: "plug"}},
		{`"type":"accepted","reason":"ledger"`, machine.Accepted{What: "ledger"}},
		{`"type":"accepted","channel":"alk","reason":"placement: lift 0.4 m: yes"`, machine.Accepted{What: "placement", Channel: "alk", Text: "lift 0.4 m: yes"}},
	} {
		t.Run(c.line, func(t *testing.T) {
			if got := one(t, `{"time":"2027-03-01T07:00:00Z",`+c.line+`}`).Body; !reflect.DeepEqual(got, c.want) {
				t.Fatalf("reads %+v\nwant  %+v", got, c.want)
			}
		})
	}
}

func TestStandingErrors(t *testing.T) {
	for line, want := range map[string]string{
		`"type":"hold","channel":"alk"`:                                            "hold needs until",
		`"type":"hold","until":"2027-03-01T07:00:00Z"`:                             "until does not lie after time",
		`"type":"hold","until":"2027-03-01T06:59:59Z"`:                             "until does not lie after time",
		`"type":"release","channel":"alk","system":"nursery"`:                      "system, channel stand together",
		`"type":"release","channel":"alk","node":"board"`:                          "channel, node stand together",
		`"type":"release","node":"unheard-of"`:                                     `there is no node "unheard-of"`,
		`"type":"lockout","channel":"alk"`:                                         "lockout needs reason",
		`"type":"cleared","channel":"alk"`:                                         "cleared needs reason",
		`"type":"cleared","channel":"alk","reason":"all is well"`:                  "must begin with the code of what is cleared",
		`"type":"cleared","channel":"alk","reason":"Fault"`:                        "must begin with the code of what is cleared",
		`"type":"self_stop_proof"`:                                                 "names the channel or the node",
		`"type":"self_stop_proof","system":"nursery"`:                              "names the channel or the node",
		`"type":"self_stop_proof","channel":"mg","node":"plug","system":"nursery"`: "names the channel or the node",
		`"type":"accepted"`:                                                        "accepted needs reason",
	} {
		readError(t, `{"time":"2027-03-01T07:00:00Z",`+line+`}`, want)
	}
}

// A node is no scope of the ledger: a line about it stands for one about each of its channels.
func TestLinesAboutANode(t *testing.T) {
	rows, _ := mustRead(t, `{"time":"2027-03-01T07:00:00Z","type":"hold","node":"board","until":"2027-03-01T08:00:00Z"}
{"time":"2027-03-01T07:30:00Z","type":"release","node":"board","id":"r1"}
`)
	var got []string
	for _, r := range rows {
		switch b := r.Body.(type) {
		case machine.Hold:
			got = append(got, "hold "+b.Scope.Channel)
		case machine.Release:
			got = append(got, "release "+b.Scope.Channel+" "+r.ID)
		}
	}
	if s := fmt.Sprint(got); s != "[hold alk hold ca release alk r1/alk release ca r1/ca]" {
		t.Fatalf("the rows are %s", s)
	}
	if rows[0].ID == rows[1].ID {
		t.Fatalf("both rows have the id %s", rows[0].ID)
	}
}

// Every word for which a run can be withheld can be read: else a lockout that was written would come back as
// something else.
func TestCodesAreThoseOfSafety(t *testing.T) {
	file, err := goparser.ParseFile(token.NewFileSet(), "../../safety/codes.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	var groups [][]safety.Code
	for _, d := range file.Decls {
		g, ok := d.(*ast.GenDecl)
		if !ok || g.Tok != token.CONST {
			continue
		}
		var list []safety.Code
		for _, s := range g.Specs {
			v, ok := s.(*ast.ValueSpec)
			if !ok || len(v.Values) != 1 {
				continue
			}
			word, err := strconv.Unquote(v.Values[0].(*ast.BasicLit).Value)
			if err != nil {
				t.Fatal(err)
			}
			list = append(list, safety.Code(word))
		}
		groups = append(groups, list)
	}
	if len(groups) != 2 || len(groups[1]) < 30 {
		t.Fatalf("codes.go has %d groups of codes; want those of answers and those of withheld runs", len(groups))
	}
	if !slices.Equal(codes, groups[1]) {
		t.Fatalf("codes are\n%v, those of safety are\n%v", codes, groups[1])
	}
}
