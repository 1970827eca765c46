package node

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

func TestCompileRefuses(t *testing.T) {
	for _, c := range []struct {
		name string
		base func() Spec
		edit func(*Spec)
		want string
	}{
		{"unknown style", boardSpec, func(s *Spec) { s.Style = "servo" }, `nodes.board.style: is "servo"`},
		{"output below 0", boardSpec, func(s *Spec) { s.Outputs = []int{-1} }, "output -1: outputs are 0 to 255"},
		{"output above 255", boardSpec, func(s *Spec) { s.Outputs = []int{256} }, "output 256: outputs are 0 to 255"},
		{"output twice", boardSpec, func(s *Spec) { s.Outputs = []int{2, 2} }, "output 2 is used by two channels"},
		{"no run topic", boardSpec, func(s *Spec) { s.Run = "" }, `nodes.board.run: "" is empty`},
		{"wildcard", boardSpec, func(s *Spec) { s.Report = "shed/+/report" }, "has a wildcard"},
		{"hash", boardSpec, func(s *Spec) { s.Report = "shed/#" }, "has a wildcard"},
		{"empty level", boardSpec, func(s *Spec) { s.Stop = "shed//{{.Output}}" }, "has an empty level"},
		{"leading slash", boardSpec, func(s *Spec) { s.Stop = "/shed/{{.Output}}" }, "has an empty level"},
		{"trailing slash", boardSpec, func(s *Spec) { s.Stop = "shed/{{.Output}}/" }, "has an empty level"},
		{"dollar", boardSpec, func(s *Spec) { s.Stop = "$SYS/{{.Output}}" }, "begins with $"},
		{"control character", boardSpec, func(s *Spec) { s.Stop = "shed\x00/{{.Output}}" }, "character that no topic can have"},
		{"too long", boardSpec, func(s *Spec) { s.Stop = strings.Repeat("x", 513) }, "longer than 512 bytes"},
		{"run without output", boardSpec, func(s *Spec) { s.Run = "shed/run" }, "for output 1 and for output 2: put {{.Output}} into it"},
		{"run is stop", boardSpec, func(s *Spec) { s.Stop = s.Run }, "its run or command topic and its stop topic: they must differ"},
		{"run is report of another output", boardSpec, func(s *Spec) { s.Report = "shed/pumps/3/run" }, "they must differ"},
		{"online is report", boardSpec, func(s *Spec) { s.Report = s.Online.Topic }, "its online topic and its report topic"},
		{"online with a template", boardSpec, func(s *Spec) { s.Online.Topic = "shed/{{.Output}}" }, "nodes.board.online.topic: has a template"},
		{"online missing", boardSpec, func(s *Spec) { s.Online = Online{} }, `online.topic: "" is empty`},
		{"up is down", boardSpec, func(s *Spec) { s.Online.Down = "1" }, "they must differ"},
		{"topic with another field", boardSpec, func(s *Spec) { s.Run = "shed/{{.Run}}" }, "has {{.Run}}; only {{.Output}} can be used"},
		{"broken template", boardSpec, func(s *Spec) { s.Run = "shed/{{.Output}" }, "cannot be read as a template"},

		{"command wildcard", plugSpec, func(s *Spec) { s.Command = "shed/+/set" }, "has a wildcard"},
		{"on empty", plugSpec, func(s *Spec) { s.On = "" }, "nodes.plug.on: is empty"},
		{"on blank", plugSpec, func(s *Spec) { s.On = " \n" }, "nodes.plug.on: is empty"},
		{"on a comment", plugSpec, func(s *Spec) { s.On = "{{/* nothing */}}" }, "nodes.plug.on: is empty"},
		{"off empty", plugSpec, func(s *Spec) { s.Off = "" }, "nodes.plug.off: is empty"},
		{"on without a time H-02", plugSpec, func(s *Spec) { s.On = `{"on":true,"n":{{.Serial}}}` }, "reads the same for 1 ms and for 600 s"},
		{"only the volume H-02", plugSpec, func(s *Spec) { s.On = `{"on":true,"ml":{{.Millilitres}}}` }, "reads the same for 1 ms and for 600 s"},
		{"off is on", plugSpec, func(s *Spec) { s.Off, s.AutoOff, s.On = "T", 60000, "T" }, "nodes.plug.off: reads the same as on"},
		{"on not JSON", plugSpec, func(s *Spec) { s.On = `{"on":true,"s":{{.Seconds}}` }, "looks like JSON and is not"},
		{"id without quotes", plugSpec, func(s *Spec) { s.On = `{"s":{{.Seconds}},"id":{{.Run}}}` }, "looks like JSON and is not"},
		{"off not JSON", plugSpec, func(s *Spec) { s.Off = `{"on":False}` }, "nodes.plug.off: looks like JSON and is not"},
		{"unknown field", plugSpec, func(s *Spec) { s.On = "{{.Minutes}}" }, "has {{.Minutes}}; only {{.Output}} {{.Serial}} {{.Run}} {{.Seconds}} {{.Millis}} {{.Millilitres}} {{.Expires}} can be used"},
		{"field of a field", plugSpec, func(s *Spec) { s.On = "{{.Seconds.Hours}}" }, "can be used"},
		{"dot", plugSpec, func(s *Spec) { s.On = "{{.}}" }, "can be used"},
		{"function", plugSpec, func(s *Spec) { s.On = `{{printf "%.0f" .Seconds}}` }, "cannot be read as a template"},
		{"branch", plugSpec, func(s *Spec) { s.On = "{{if .Run}}{{.Seconds}}{{end}}" }, "has {{if .Run}}"},
		{"pipe", plugSpec, func(s *Spec) { s.On = "{{.Seconds | print}}" }, "cannot be read as a template"},
		{"variable", plugSpec, func(s *Spec) { s.On = "{{$x := .Seconds}}" }, "can be used"},
		{"literal", plugSpec, func(s *Spec) { s.On = `{{"ON"}}` }, "can be used"},
		{"definition", plugSpec, func(s *Spec) { s.On = `{{define "a"}}x{{end}}{{.Seconds}}` }, "defines other templates"},
		{"time in off", plugSpec, func(s *Spec) { s.Off = `OFF {{.Seconds}}` }, "has {{.Seconds}}; only {{.Output}} {{.Serial}} {{.Run}} can be used"},
		{"digit behind the time", plugSpec, func(s *Spec) { s.On = "ON {{.Seconds}}0" }, "directly beside a digit"},
		{"digit before the time", plugSpec, func(s *Spec) { s.On = "ON 1{{.Millis}}" }, "directly beside a digit"},
		{"point behind the time", plugSpec, func(s *Spec) { s.On = "ON {{.Millis}}.5" }, "directly beside a digit"},
		{"exponent behind the time", plugSpec, func(s *Spec) { s.On = "ON {{.Seconds}}e3" }, "directly beside a digit"},
		{"two fields together", plugSpec, func(s *Spec) { s.On = "{{.Serial}}{{.Millis}}" }, "directly beside a digit"},
		{"auto_off above 600 s", plugSpec, func(s *Spec) { s.AutoOff = safety.RunMax + 1 }, "auto_off: is 10m0.001s"},
		{"auto_off below 0", plugSpec, func(s *Spec) { s.AutoOff = -1 }, "auto_off: is -1ms"},
		{"state missing", plugSpec, func(s *Spec) { s.State = State{} }, `state.topic: "" is empty`},
		{"state words alike", plugSpec, func(s *Spec) { s.State.Off = "true" }, "nodes.plug.state: on is \"true\" and off is \"true\""},
		{"state path with a run", plugSpec, func(s *Spec) { s.State.Path = "{{.Run}}" }, "nodes.plug.state.path: has {{.Run}}"},
		{"state is command", plugSpec, func(s *Spec) { s.State.Topic = s.Command }, "they must differ"},
		{"payload too long", plugSpec, func(s *Spec) { s.Off = strings.Repeat("x", safety.MaxPayload+1) }, "4097 bytes long, at most 4096"},
		{"shared command, on without output", stripSpec, func(s *Spec) { s.On = "on {{.Seconds}}" }, "nodes.strip.command: is \"shed/strip/rpc\" for every output"},
		{"shared command, off without output", stripSpec, func(s *Spec) { s.Off = "off" }, "nodes.strip.command: is"},
		{"shared state", stripSpec, func(s *Spec) { s.State.Path = "output" }, "nodes.strip.state.topic: is"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := c.base()
			mustCompile(t, s)
			c.edit(&s)
			wantText(t, complaint(t, s), c.want)
		})
	}
}

func TestCompileNamesEveryMistake(t *testing.T) {
	s := plugSpec()
	s.Command, s.On, s.Off, s.State.On, s.Online.Up = "a//b", "", "{", "", ""
	_, err := Compile(s)
	var p *Problems
	if !errors.As(err, &p) {
		t.Fatalf("got %v", err)
	}
	var keys []string
	for _, one := range p.All {
		keys = append(keys, one.Key)
	}
	if want := []string{"command", "on", "off", "state", "online"}; !slices.Equal(keys, want) {
		t.Errorf("complaints about %v; want %v", keys, want)
	}
}

func TestCompileAccepts(t *testing.T) {
	for _, c := range []struct {
		name string
		base func() Spec
		edit func(*Spec)
	}{
		{"no outputs yet", boardSpec, func(s *Spec) { s.Outputs = nil }},
		{"no outputs yet, switch", plugSpec, func(s *Spec) { s.Outputs = nil }},
		{"outputs at the ends", boardSpec, func(s *Spec) { s.Outputs = []int{0, 255} }},
		{"one output needs no {{.Output}}", boardSpec, func(s *Spec) { s.Outputs, s.Run = []int{7}, "shed/run" }},
		{"one stop topic for all", boardSpec, func(s *Spec) { s.Stop = "shed/stop" }},
		{"one report topic for all", boardSpec, func(s *Spec) { s.Report = "shed/report" }},
		{"time in ms", plugSpec, func(s *Spec) { s.On = "{{.Millis}}" }},
		{"unit behind the time", plugSpec, func(s *Spec) { s.On = "{{.Seconds}}s" }},
		{"trimmed", plugSpec, func(s *Spec) { s.On = "ON, {{- .Millis -}} , x" }},
		{"auto_off instead of a time", plugSpec, func(s *Spec) { s.On, s.Off, s.AutoOff = "ON", "OFF", 60000 }},
		{"auto_off and a time", plugSpec, func(s *Spec) { s.AutoOff = safety.RunMax }},
		{"text that is no JSON", plugSpec, func(s *Spec) { s.On = "go {{.Run}} {{.Seconds}} {{.Expires}}" }},
		{"whole payload is the state", plugSpec, func(s *Spec) { s.State.Path = "" }},
		{"topic of 512 bytes", plugSpec, func(s *Spec) { s.Command = strings.Repeat("x", 512) }},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := c.base()
			c.edit(&s)
			mustCompile(t, s)
		})
	}
}

func TestTopicsOfNodes(t *testing.T) {
	board, strip := mustCompile(t, boardSpec()), mustCompile(t, stripSpec())
	if got, want := strings.Join(board.Subscriptions(), " "), "shed/pumps/online shed/pumps/1/report shed/pumps/2/report shed/pumps/3/report "+
		"shed/pumps/1/run shed/pumps/1/stop shed/pumps/2/run shed/pumps/2/stop shed/pumps/3/run shed/pumps/3/stop"; got != want {
		t.Errorf("board subscribes to\n%s; want\n%s", got, want)
	}
	if got, want := strings.Join(strip.Subscriptions(), " "), "shed/strip/online shed/strip/state shed/strip/rpc"; got != want {
		t.Errorf("strip subscribes to %s; want each topic once: %s", got, want)
	}
	want := []Topic{{"shed/strip/rpc", 0, false}, {"shed/strip/rpc", 1, false}}
	if got := strip.CommandTopics(); !slices.Equal(got, want) {
		t.Errorf("strip commands on %v; want %v", got, want)
	}
	if got := board.CommandTopics()[:2]; !slices.Equal(got, []Topic{{"shed/pumps/1/run", 1, false}, {"shed/pumps/1/stop", 1, true}}) {
		t.Errorf("board commands on %v", got)
	}
	if board.ID() != "board" || board.Style() != "bounded-run" || board.OnlineTopic() != "shed/pumps/online" {
		t.Errorf("board is %s %s %s", board.ID(), board.Style(), board.OnlineTopic())
	}
}

func TestDistinct(t *testing.T) {
	two := func(edit func(*Spec)) error {
		s := boardSpec()
		s.ID = "other"
		s.Run, s.Stop, s.Report, s.Online.Topic = "b/{{.Output}}/run", "b/{{.Output}}/stop", "b/{{.Output}}/report", "b/online"
		edit(&s)
		return Distinct(mustCompile(t, boardSpec()), mustCompile(t, s))
	}
	if err := two(func(*Spec) {}); err != nil {
		t.Errorf("separate nodes: %v", err)
	}
	if err := two(func(s *Spec) { s.Online.Topic = "shed/pumps/online" }); err != nil {
		t.Errorf("a shared online topic is refused: %v", err)
	}
	for name, edit := range map[string]func(*Spec){
		"same run topic":        func(s *Spec) { s.Run = "shed/pumps/{{.Output}}/run" },
		"its report is our run": func(s *Spec) { s.Report = "shed/pumps/2/run" },
		"its run is our online": func(s *Spec) { s.Outputs, s.Run = []int{1}, "shed/pumps/online" },
	} {
		err := two(edit)
		if err == nil {
			t.Errorf("%s: accepted", name)
			continue
		}
		wantText(t, err.Error(), "nodes.other: the topic ")
		wantText(t, err.Error(), "of node board: each node needs its own")
	}
}

func TestH01_SupplyIsOnlyEverToldToGoOff(t *testing.T) {
	spec := Spec{ID: "feed", Style: machine.Supply, Command: "shed/feed/set", Off: `{"on":false,"n":{{.Serial}}}`,
		State: State{Topic: "shed/feed/state", Path: "on", On: "true", Off: "false"}, Online: Online{Topic: "shed/feed/online", Up: "1", Down: "0"}}
	c, err := Compile(spec)
	if err != nil {
		t.Fatal(err)
	}
	topic, payload := c.Stop(machine.StopRuns{Node: "feed", Output: machine.SupplyOutput, Run: "*", Serial: 7})
	if topic != "shed/feed/set" || string(payload) != `{"on":false,"n":7}` {
		t.Errorf("stop reads %s on %s", payload, topic)
	}
	for _, state := range []string{`{"on":true}`, `{"on":false}`} {
		heard, handled, err := c.Parse("shed/feed/state", []byte(state), true)
		want := machine.Switched{Node: "feed", Output: machine.SupplyOutput, On: strings.Contains(state, "true"), Retained: true}
		if err != nil || !handled || len(heard.Events) != 1 || heard.Events[0] != machine.Event(want) {
			t.Errorf("%s is heard as %+v, %v, %v", state, heard, handled, err)
		}
	}
	// A person uses the same command topic: the service neither hears there nor minds.
	for _, topic := range c.Subscriptions() {
		if topic == "shed/feed/set" {
			t.Error("the command topic is subscribed to")
		}
	}
	if _, handled, _ := c.Parse("shed/feed/set", []byte("ON"), false); handled {
		t.Error("a command of somebody else is taken for the service's business")
	}
	for _, off := range []string{"", "  ", "off {{.Output}}", "off {{.Run}}", "off {{.Seconds}}", `{"on":false`} {
		bad := spec
		bad.Off = off
		if _, err := Compile(bad); err == nil {
			t.Errorf("off %q is taken", off)
		}
	}
	for _, command := range []string{"", "shed/+/set", "shed/feed/state", "shed/feed/online"} {
		bad := spec
		bad.Command = command
		if _, err := Compile(bad); err == nil {
			t.Errorf("command %q is taken", command)
		}
	}
}
