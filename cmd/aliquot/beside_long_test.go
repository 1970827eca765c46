//go:build long

package main

import (
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/mqtt/mosquittotest"
)

// redFlow does in Node-RED what the service does with readings and notes, as far as messages go: it checks a reading and
// publishes it as a retained state, and answers a note. It keeps no record, plans nothing and guards nothing.
const redFlow = `[
 {"id":"tab","type":"tab","label":"beside"},
 {"id":"own","type":"mqtt-broker","broker":"127.0.0.1","port":"PORT","autoConnect":true,"protocolVersion":"4","keepalive":"30","cleansession":true},
 {"id":"in","type":"mqtt in","z":"tab","topic":"beside/probe/+","qos":"1","datatype":"utf8","broker":"own","wires":[["read"]]},
 {"id":"read","type":"function","z":"tab","outputs":1,"wires":[["out"]],"func":"const value = parseFloat(msg.payload);\nif (!(value >= 7 && value <= 35)) return null;\nconst probe = msg.topic.split('/')[2];\nreturn { topic: 'NAME/state/probe/' + probe, qos: 1, retain: true, payload: JSON.stringify({ probe, value, seen: new Date().toISOString(), good: true }) };"},
 {"id":"ask","type":"mqtt in","z":"tab","topic":"aliquot/beside/ask/note","qos":"1","datatype":"json","broker":"own","wires":[["answer"]]},
 {"id":"answer","type":"function","z":"tab","outputs":1,"wires":[["out"]],"func":"return { topic: 'NAME/answer', qos: 1, payload: JSON.stringify({ ref: msg.payload.ref, verb: 'note', ok: true, text: 'noted' }) };"},
 {"id":"out","type":"mqtt out","z":"tab","topic":"","qos":"","retain":"","broker":"own","wires":[]}
]`

// contender is one of those who get the same messages.
type contender struct {
	name, root string // what it publishes is below root
	p          *process
	diskKB     int64
	resident   [2]int // kB, behind the quiet and the busy minute
	cpu        [3]time.Duration
}

// TestBesideNodeRed lets the service and two Node-RED processes, a bare one and one with the flow of deploy/node-red and its
// page, have the same messages of one broker at the same time, and prints what each took. FLOW_MODULES names the node_modules.
func TestBesideNodeRed(t *testing.T) {
	b := mosquittotest.Start(t, mosquittotest.Options{})
	r := newRig(t, b, "beside", func(q *quay) { q.Discovery = true })
	r.commission()
	r.nodes()
	all := contenders(t, r)
	time.Sleep(10 * time.Second) // what a start leaves behind
	ear := join(t, b, "", "ear", "aliquot/beside/answer", "aliquot/beside/state/probe/+", "bare/#", "page/#")
	tally(t, all, 0)
	time.Sleep(time.Minute)
	tally(t, all, 1)
	sent := speak(t, r)
	tally(t, all, 2)
	time.Sleep(2 * time.Second)
	heard := ear.since(0)
	for _, c := range all {
		answers, states := sent.delays(heard, c.root)
		if len(answers) != len(sent.notes) {
			t.Errorf("%s answered %d of %d notes", c.name, len(answers), len(sent.notes))
		}
		if len(states) < 60 {
			t.Errorf("%s published %d states", c.name, len(states))
		}
		t.Logf("%-22s %d MB on the disk; resident %.1f MB quiet, %.1f busy; of a core %.2f %% quiet, %.2f %% busy; answer p50 %.1f ms, p99 %.1f; reading in the state p50 %.1f ms, p99 %.1f (%d states)",
			c.name, c.diskKB/1000, float64(c.resident[0])/1000, float64(c.resident[1])/1000, share(c.cpu[1]-c.cpu[0]), share(c.cpu[2]-c.cpu[1]),
			quantile(answers, 0.5), quantile(answers, 0.99), quantile(states, 0.5), quantile(states, 0.99), len(states))
	}
	if all[0].resident[1] >= all[1].resident[1] || all[0].diskKB >= all[1].diskKB {
		t.Error("README says that the service takes less memory and disk than Node-RED")
	}
}

// contenders starts the program as it is packaged, and both Node-REDs.
func contenders(t *testing.T, r *rig) []*contender {
	t.Helper()
	modules := os.Getenv("FLOW_MODULES")
	if modules == "" {
		t.Fatal("FLOW_MODULES must name the node_modules with node-red and @flowfuse/node-red-dashboard")
	}
	program := filepath.Join(t.TempDir(), "aliquot")
	build := exec.Command("go", "build", "-tags", "nethttpomithttp2", "-trimpath", "-ldflags", "-s -w", "-o", program, ".")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	if said, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	r.from = r.spy.mark()
	service := launch(t, []string{program, "run", "-c", r.config}, "aliquot")
	r.owns(service)
	_, port, _ := strings.Cut(r.broker.Addr, ":")
	flow := func(name string) string { return strings.NewReplacer("PORT", port, "NAME", name).Replace(redFlow) }
	shipped := strings.TrimSuffix(strings.TrimSpace(shippedFlow(t, r.broker, "aliquot/beside")), "]")
	_, bare := openRed(t, modules, flow("bare"), "/")
	_, page := openRed(t, modules, shipped+","+strings.TrimPrefix(flow("page"), "["), "/dashboard/tank")
	return []*contender{
		{name: "aliquot", root: "aliquot/beside", p: service, diskKB: size(t, program)},
		{name: "node-red", root: "bare", p: bare, diskKB: size(t, modules)},
		{name: "node-red with the page", root: "page", p: page, diskKB: size(t, modules)},
	}
}

// share is what of a core was used in a minute, in %.
func share(d time.Duration) float64 { return 100 * d.Minutes() }

// sayings of the busy minute: when each note and each reading was sent.
type sayings struct {
	notes    map[string]time.Time
	readings map[string][]time.Time // by probe and value; a value comes again after ten seconds
}

// speak sends ten readings and a note a second for a minute.
func speak(t *testing.T, r *rig) sayings {
	t.Helper()
	s := sayings{map[string]time.Time{}, map[string][]time.Time{}}
	tick := time.NewTicker(100 * time.Millisecond)
	defer tick.Stop()
	for i := range 600 {
		<-tick.C
		probe, value := "ph", fmt.Sprintf("%.2f", 8.20+float64(i/2%50)/100)
		if i%2 == 1 {
			probe, value = "water", fmt.Sprintf("%.2f", 25.20+float64(i/2%50)/100)
		}
		s.readings[probe+value] = append(s.readings[probe+value], time.Now())
		r.keeper.say("beside/probe/"+probe, value, false)
		if i%10 == 5 {
			ref := fmt.Sprintf("beside-%d", i)
			s.notes[ref] = time.Now()
			r.keeper.say("aliquot/beside/ask/note", fmt.Sprintf(`{"ref":%q,"kind":"other","text":"beside"}`, ref), false)
		}
	}
	return s
}

// delays are how old each note was when its answer came, and each reading when a state first showed it, in ms.
func (s sayings) delays(log []heard, root string) (answers, states []float64) {
	last := map[string]float64{}
	for _, h := range log {
		rest, ok := strings.CutPrefix(h.Topic, root+"/")
		if !ok {
			continue
		}
		var m struct {
			Ref, Probe string
			Value      *float64
		}
		if json.Unmarshal(h.Payload, &m) != nil {
			continue
		}
		if at, ok := s.notes[m.Ref]; ok && rest == "answer" {
			answers = append(answers, h.at.Sub(at).Seconds()*1000)
		}
		if m.Value == nil || *m.Value == last[m.Probe] {
			continue
		}
		last[m.Probe] = *m.Value
		var at time.Time
		for _, sent := range s.readings[m.Probe+fmt.Sprintf("%.2f", *m.Value)] {
			if sent.Before(h.at) {
				at = sent
			}
		}
		if !at.IsZero() {
			states = append(states, h.at.Sub(at).Seconds()*1000)
		}
	}
	return answers, states
}

// tally reads what each has taken so far.
func tally(t *testing.T, all []*contender, at int) {
	t.Helper()
	for _, c := range all {
		pid := c.p.cmd.Process.Pid
		c.cpu[at] = c.p.processor()
		if at == 0 {
			continue
		}
		status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
		if err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(string(status)) {
			if words := strings.Fields(line); words[0] == "VmRSS:" {
				c.resident[at-1], _ = strconv.Atoi(words[1])
			}
		}
	}
}

// size is what a file or a tree takes, in kB.
func size(t *testing.T, root string) (kB int64) {
	t.Helper()
	err := filepath.WalkDir(root, func(_ string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := d.Info()
		if err == nil && info.Mode().IsRegular() {
			kB += (info.Size() + 999) / 1000
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return kB
}
