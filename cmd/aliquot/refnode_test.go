package main

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
	"aliquot/bridge/needed"
)

// refNode is the node of deploy/node in a process of its own.
type refNode struct {
	t    *testing.T
	said *speech
	cmd  *exec.Cmd
}

// buildRefNode compiles it with mosquitto's client library.
func buildRefNode(t *testing.T) string {
	t.Helper()
	needed.Program(t, "gcc", "gcc")
	if _, err := os.Stat("/usr/include/mosquitto.h"); err != nil {
		needed.Missing(t, "mosquitto.h (Debian package libmosquitto-dev)")
	}
	path := filepath.Join(t.TempDir(), "host")
	cmd := exec.Command("gcc", "-std=gnu99", "-O2", "-Wall", "-Wextra", "-Werror", "-o", path, "bounded_run.c", "host.c", "-lmosquitto", "-lpthread")
	cmd.Dir = filepath.Join("..", "..", "deploy", "node")
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("gcc: %v\n%s", err, out)
	}
	return path
}

func startRefNode(t *testing.T, path string, b *mosquittotest.Server, root, memory string) *refNode {
	t.Helper()
	host, port, err := net.SplitHostPort(strings.TrimPrefix(b.URL, "mqtt://"))
	if err != nil {
		t.Fatal(err)
	}
	n := &refNode{t: t, said: newSpeech(), cmd: exec.Command(path, host, port, "refnode", root, "2", "10000", memory)}
	n.cmd.Stdout, n.cmd.Stderr = n.said, n.said
	if err := n.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		n.kill()
		if t.Failed() {
			t.Logf("the node said:\n%s", n.said.text())
		}
	})
	return n
}

func (n *refNode) kill() {
	_ = n.cmd.Process.Kill()
	_ = n.cmd.Wait()
}

// TestReferenceNodeWithTheService tries the node of deploy/node by hand over a real mosquitto, as bridge/TOPICS.md says, then has
// the real service dose with it, takes its broker away in a run, and kills it in another (H-02, H-05, H-08).
func TestReferenceNodeWithTheService(t *testing.T) {
	t.Parallel()
	path, memory := buildRefNode(t), filepath.Join(t.TempDir(), "memory")
	b := mosquittotest.Start(t, mosquittotest.Options{})
	r := newRig(t, b, "refnode")
	root := r.quay.Site + "/board"
	mark := r.spy.mark()
	n := startRefNode(t, path, b, root, memory)
	r.spy.await(mark, "the node", on(root+"/online", "1"))
	r.tryByHand(root)

	r.commission("alk")
	p := r.daemon("")
	p.await("this instance owns the site")
	r.awaitState(r.from, "node/board", `"online":true`)
	if a := r.ask(machine.VerbClock, ""); !a.OK {
		t.Fatalf("confirming the clock: %s", a.Text)
	}
	mark = r.spy.mark()
	if a := r.ask(machine.VerbRun, `"channel":"alk","volume_ml":2`); !a.OK {
		t.Fatalf("a run: %s (%s)", a.Text, a.Code)
	}
	r.spy.await(mark, "its end", on(r.topic("event/run_ended"), `"outcome":"finished"`))

	r.loseBroker(b, n, p)
	r.killNode(b, n, path, root, memory)
}

// tryByHand is the list of bridge/TOPICS.md.
func (r *rig) tryByHand(root string) {
	r.t.Helper()
	run := func(id, seconds, expires string) string {
		return fmt.Sprintf(`{"v":1,"id":%q,"seconds":%s,"volume_ml":0.30,"expires":%q}`, id, seconds, expires)
	}
	const later, past = "2099-01-01T00:00:00Z", "2001-01-01T00:00:00Z"
	for _, c := range []struct {
		name, topic, payload string
		want                 []string
	}{
		{"a run", "/1/run", run("try-1", "0.500", later), []string{`"id":"try-1","state":"started","boot":1`, `"id":"try-1","state":"finished","seconds":0.50`}},
		{"again", "/1/run", run("try-1", "0.500", later), []string{`"try-1","state":"refused","reason":"repeated"`}},
		{"a long one", "/1/run", run("try-2", "9.000", later), []string{`"try-2","state":"started"`}},
		{"one beside it", "/1/run", run("try-3", "0.500", later), []string{`"try-3","state":"refused","reason":"busy"`}},
		{"a stop", "/1/stop", `{"v":1,"id":"*"}`, []string{`"try-2","state":"stopped"`}},
		{"too long", "/1/run", run("try-4", "9999", later), []string{`"try-4","state":"refused","reason":"too_long"`}},
		{"too late", "/1/run", run("try-5", "0.500", past), []string{`"try-5","state":"refused","reason":"expired"`}},
	} {
		mark := r.spy.mark()
		r.keeper.say(root+c.topic, c.payload, false)
		for _, want := range c.want {
			r.spy.await(mark, c.name+": "+want, on(root+"/1/report", want))
		}
	}
}

// loseBroker takes the broker away in a run: the node ends it by itself.
func (r *rig) loseBroker(b *mosquittotest.Server, n *refNode, p *process) {
	r.t.Helper()
	before := strings.Count(n.said.text(), "output 1 off")
	if a := r.ask(machine.VerbPrime, `"channel":"alk","into":"vessel","seconds":2`); !a.OK {
		r.t.Fatalf("priming: %s (%s)", a.Text, a.Code)
	}
	eventually(r.t, "the output is on", func() bool { return strings.HasSuffix(strings.TrimSpace(n.said.text()), "output 1 on") })
	b.Kill()
	eventually(r.t, "it goes off without a broker", func() bool { return strings.Count(n.said.text(), "output 1 off") > before })
	mark := r.spy.mark()
	b.Restart()
	r.spy.connected(2)
	p.awaitTimes("this instance owns the site", 2)
	r.awaitState(mark, "node/board", `"online":true`)
}

// killNode kills the node in a run and starts it again: it comes up off, one boot later, and runs nothing of what it knew.
func (r *rig) killNode(b *mosquittotest.Server, n *refNode, path, root, memory string) {
	r.t.Helper()
	mark := r.spy.mark()
	if a := r.ask(machine.VerbPrime, `"channel":"alk","into":"vessel","seconds":8`); !a.OK {
		r.t.Fatalf("priming: %s (%s)", a.Text, a.Code)
	}
	started := r.spy.await(mark, "the start", on(root+"/1/report", `"state":"started"`))
	command := r.spy.await(mark, "the command", on(root+"/1/run", `"id"`))
	n.kill()
	r.spy.await(mark, "the will", on(root+"/online", "0"))
	r.awaitState(mark, "node/board", `"online":false`)
	mark = r.spy.mark()
	again := startRefNode(r.t, path, b, root, memory)
	r.awaitState(mark, "node/board", `"online":true`)
	if said := again.said.text(); strings.Contains(said, " on") || !strings.Contains(said, "output 1 off") {
		r.t.Errorf("after its restart the node says %q", said)
	}
	// Somebody sends the same command once more: the node has its id on its disk.
	r.keeper.say(root+"/1/run", string(command.Payload), false)
	r.spy.await(mark, "the refusal", on(root+"/1/report", `"state":"refused","reason":"repeated","boot":2`))
	if !contains(string(started.Payload), `"boot":1`) || strings.Contains(again.said.text(), "output 1 on") {
		r.t.Errorf("the first start said %s, the second %q", started.Payload, again.said.text())
	}
}
