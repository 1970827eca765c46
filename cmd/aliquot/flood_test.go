package main

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
	"aliquot/safety"
)

const (
	stopLimit   = time.Second // from the request to the command on the wire (INV-11)
	memoryLimit = 64 << 10    // kB that floods may add to what a quiet service holds
	routines    = 10          // goroutines that floods may add
)

// floods are what a broken or hostile device may send, each on its topics.
var floods = []struct {
	name    string
	per     int // messages in its second
	message func(r *rig, random *rand.ChaCha8, i int) (topic string, payload []byte)
}{
	{"requests", 20_000, func(r *rig, _ *rand.ChaCha8, i int) (string, []byte) {
		return r.topic("ask/note"), fmt.Appendf(nil, `{"ref":"flood-%d","kind":"other","text":"flood"}`, i)
	}},
	{"requests that cannot be read", 20_000, func(r *rig, _ *rand.ChaCha8, _ int) (string, []byte) {
		return r.topic("ask/run"), []byte(`{"ref":"run","channel":"alk","volume_ml":1e999}`)
	}},
	{"unknown topics", 20_000, func(r *rig, _ *rand.ChaCha8, i int) (string, []byte) {
		return r.topic(fmt.Sprintf("ask/verb-%d", i)), []byte(`{"ref":"x"}`)
	}},
	{"a probe", 20_000, func(r *rig, _ *rand.ChaCha8, i int) (string, []byte) {
		return r.quay.Site + "/probes/ph", fmt.Appendf(nil, "8.%02d", i%50)
	}},
	{"reports", 20_000, func(r *rig, _ *rand.ChaCha8, i int) (string, []byte) {
		return r.quay.Site + "/board/2/report", fmt.Appendf(nil, `{"v":1,"id":"FLOOD-%d","state":"finished","seconds":0.1,"boot":9,"seq":%d}`, i, i)
	}},
	{"online and offline", 20_000, func(r *rig, _ *rand.ChaCha8, i int) (string, []byte) {
		return r.quay.Site + "/timed/online", []byte([]string{"true", "false"}[i%2])
	}},
	{"owner records", 20_000, func(r *rig, _ *rand.ChaCha8, i int) (string, []byte) {
		return r.topic("owner"), fmt.Appendf(nil, `{"instance":%d}`, i)
	}},
	{"large payloads", 2000, func(r *rig, _ *rand.ChaCha8, _ int) (string, []byte) {
		return r.topic("ask/test"), bytes.Repeat([]byte("x"), 8<<10)
	}},
	{"random bytes", 20_000, func(r *rig, random *rand.ChaCha8, i int) (string, []byte) {
		topics := []string{r.topic("ask/stop"), r.topic("ask/test"), r.quay.Site + "/board/1/report", r.quay.Site + "/timed/state", r.topic("owner")}
		payload := make([]byte, i%60)
		_, _ = random.Read(payload)
		return topics[i%len(topics)], payload
	}},
}

// TestH38_INV11_Floods floods the service on every kind of topic. Its memory and goroutines stay bounded, a stop goes
// out within a second of being asked for in the middle of each flood, and the gate is as it was.
func TestH38_INV11_Floods(t *testing.T) {
	r, p := floodRig(t, "flood")
	before := r.measure(p)
	t.Logf("before: %s", before)
	for _, f := range floods {
		// The machine may be busy with other tests: a service that is at fault is late each time.
		for try := 1; ; try++ {
			latency := r.flooded(f.name, f.per, func(random *rand.ChaCha8, i int) (string, []byte) { return f.message(r, random, i) })
			t.Logf("%s: a stop went out %s after it was asked for; %s", f.name, latency.Round(time.Millisecond), r.measure(p))
			if latency <= stopLimit {
				break
			}
			if try == 3 {
				t.Errorf("%s: three times a stop went out later than %s after it was asked for", f.name, stopLimit)
				break
			}
		}
	}
	after := r.measure(p)
	if grown := after.peak - before.rss; grown > memoryLimit {
		t.Errorf("floods took %d kB of memory, at most %d are allowed", grown, memoryLimit)
	}
	if grown := after.goroutines - before.goroutines; grown > routines {
		t.Errorf("%d more goroutines than before the floods, at most %d are allowed", grown, routines)
	}
	r.checkGate(p)
}

// TestH38_H16_HugePackets passes messages of 256 MB, the largest that MQTT knows, to the service: a fresh one costs a
// connection, a retained one keeps the service away until it is removed, and says so; neither is taken into memory.
func TestH38_H16_HugePackets(t *testing.T) {
	t.Parallel()
	r, p := floodRig(t, "huge")
	before := r.measure(p)
	mark := r.spy.mark()
	f := flood(t, r.broker, "flooder")
	topic := r.topic("ask/note")
	huge := make([]byte, 268_435_455-2-len(topic))
	huge[0] = 1 // a retained message without content would be removed
	f.say(topic, huge)
	f.flush()
	p.await("268435455 bytes declared, at most 65536 are read; it is a message on")
	r.awaitOffline(mark)
	p.awaitTimes("this instance owns the site", 2)
	r.checkStopsFirst(mark)
	r.awaitState(mark, "node/board", `"online":true`)
	r.runsAgain(p)

	mark = r.spy.mark()
	f.packet(0x31, field16(topic), huge)
	f.flush()
	p.await("no connection") // a newcomer gets it while it subscribes
	if said := p.out.text(); !contains(said, "remove it by publishing an empty retained message on its topic") || !contains(said, topic) {
		t.Error("the service does not say how to get rid of a retained message of 256 MB")
	}
	if said := must(t, "stop-all", "-c", r.config); !contains(said, "4 outputs told to stop") {
		t.Errorf("stop-all, while the service cannot connect: %s", said)
	}
	f.packet(0x31, field16(topic))
	f.flush()
	p.awaitTimes("this instance owns the site", 3)
	r.awaitState(mark, "node/board", `"online":true`)
	r.runsAgain(p)
	after := r.measure(p)
	t.Logf("before: %s; after: %s", before, after)
	if grown := after.peak - before.rss; grown > memoryLimit {
		t.Errorf("packets of 256 MB took %d kB of memory, at most %d are allowed", grown, memoryLimit)
	}
	r.checkWire()
}

// flooded pours messages for a second, and gives how long a stop takes that is asked for in the middle of it.
func (r *rig) flooded(name string, perSecond int, message func(random *rand.ChaCha8, i int) (string, []byte)) time.Duration {
	r.t.Helper()
	random := rand.NewChaCha8([32]byte{1})
	poured := flood(r.t, r.broker, "flooder").pour(perSecond, perSecond, func(i int) (string, []byte) { return message(random, i) })
	defer func() { <-poured }()
	<-time.After(time.Second / 2)
	mark, asked := r.spy.mark(), time.Now()
	r.send(fmt.Sprintf("ref-%d", refs.Add(1)), machine.VerbStop, `"all":true`)
	h, ok := r.spy.find(mark, patience/3, func(h heard) bool { return strings.HasSuffix(h.Topic, "/fixed/set") && string(h.Payload) == "off" })
	if !ok {
		return patience / 3
	}
	return h.at.Sub(asked)
}

// floodRig is a rig that hears only what the service and its nodes say, with a service that may dose.
func floodRig(t *testing.T, site string) (*rig, *process) {
	t.Helper()
	b := mosquittotest.Start(t, mosquittotest.Options{})
	r := &rig{t: t, broker: b, quay: newQuay(t, b, site)}
	r.quay.Extra = fmt.Sprintf("\nprobes:\n  ph: {system: quay, topic: %s/probes/ph, quantity: pH, range: 7.0..9.0, stale_after: 10m, stuck_after: 12h}\n", site)
	r.config = r.quay.write(t, "site.yaml")
	r.spy = join(t, b, "", "spy-"+site, site+"/board/+/run", site+"/board/+/stop", site+"/timed/set", site+"/fixed/set", site+"/+/online", r.topic("answer"), r.topic("problem"),
		r.topic("availability"), r.topic("event/#"), r.topic("state/#"), r.topic("alert/#"))
	r.keeper = join(t, b, "", "keeper-"+site)
	r.commission()
	r.nodes()
	p := r.daemon("")
	r.owns(p)
	return r, p
}

// footprint is what a process holds.
type footprint struct{ rss, peak, goroutines int } // kB, kB, number

func (f footprint) String() string {
	return fmt.Sprintf("%d kB resident, %d kB at most so far, %d goroutines", f.rss, f.peak, f.goroutines)
}

func (r *rig) measure(p *process) footprint {
	r.t.Helper()
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", p.cmd.Process.Pid))
	if err != nil {
		r.t.Fatal(err)
	}
	var f footprint
	for line := range strings.Lines(string(status)) {
		words := strings.Fields(line)
		switch {
		case strings.HasPrefix(line, "VmRSS:"):
			f.rss, _ = strconv.Atoi(words[1])
		case strings.HasPrefix(line, "VmHWM:"):
			f.peak, _ = strconv.Atoi(words[1])
		}
	}
	f.goroutines = int(value(r.t, p.metrics(), "go_goroutines"))
	return f
}

// checkGate asks for what must be refused and for what must run.
func (r *rig) checkGate(p *process) {
	r.t.Helper()
	r.awaitCalm()
	for _, c := range []struct {
		fields string
		code   safety.Code
	}{
		{`"channel":"alk","volume_ml":4.5`, safety.RunCap},
		{`"channel":"iodine","volume_ml":1`, safety.NotCalibrated},
	} {
		if a := r.ask(machine.VerbRun, c.fields); a.Code != string(c.code) {
			r.t.Errorf("after the flood a run of {%s}: %s (%s), must be refused with %s", c.fields, a.Text, a.Code, c.code)
		}
	}
	r.runsAgain(p)
	r.checkWire()
}

// awaitCalm waits until requests get through again: a broker that is behind drops them, and so does the service.
func (r *rig) awaitCalm() {
	r.t.Helper()
	for began := time.Now(); time.Since(began) < patience; {
		mark, ref := r.spy.mark(), fmt.Sprintf("ref-%d", refs.Add(1))
		r.send(ref, machine.VerbNote, `"kind":"other","text":"after the flood"`)
		var a reply
		if _, ok := r.spy.find(mark, time.Second, func(h heard) (ok bool) { a, ok = r.answerIn(h, ref); return ok }); ok && a.OK {
			return
		}
	}
	r.t.Fatalf("%s after the floods nothing is answered", patience)
}
