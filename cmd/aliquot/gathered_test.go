package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
	"aliquot/bridge/needed"
)

// TestFederation has a Prometheus in each of two rooms scrape its service, and one in the office gather from both.
func TestFederation(t *testing.T) {
	t.Parallel()
	needed.Program(t, "prometheus", "prometheus")
	b := mosquittotest.Start(t, mosquittotest.Options{})
	var rooms []string
	for _, site := range []string{"room-north", "room-south"} {
		r := newRig(t, b, site)
		r.commission()
		p := r.daemon("")
		p.await("started")
		rooms = append(rooms, startPrometheus(t, "prometheus.yml", "127.0.0.1:9480", strings.TrimPrefix(p.address(), "http://")).base)
	}
	gone := freeLoopback(t)
	office := startPrometheus(t, "office.yml", "127.0.0.1:9090", strings.TrimPrefix(rooms[0], "http://")+`","`+strings.TrimPrefix(rooms[1], "http://")+`","`+gone)
	for query, want := range map[string]int{
		`count by (site) (aliquot_container_remaining_liters{bound="min"}) > 0`: 2,
		`aliquot_info{site="room-north"}`:                                       1,
		`aliquot_info{site="room-south",job="aliquot"}`:                         1, // as the room has it
		`up{job="rooms"} == 0`:                                                  1, // the room that is gone
		`up{job="rooms"} == 1`:                                                  2,
	} {
		eventually(t, query, func() bool {
			n, err := office.series(query)
			return err == nil && n == want
		})
	}
	if n, err := office.series(`{__name__=~"go_.*"}`); err != nil || n != 0 {
		t.Errorf("%d series of the programs themselves, %v; the office asks for those of the services", n, err)
	}
}

// startPrometheus starts one with a file of deploy/prometheus in which pairs of texts are replaced.
func startPrometheus(t *testing.T, file string, replace ...string) *monitor {
	t.Helper()
	dir, at := t.TempDir(), freeLoopback(t)
	m := &monitor{t: t, base: "http://" + at}
	if file == "prometheus.yml" {
		m.install(dir, "aliquot.rules.yml")
	}
	m.install(dir, file, append(replace, "_interval: 15s", "_interval: 1s")...)
	m.run(needed.Program(t, "prometheus", "prometheus"), "--config.file="+filepath.Join(dir, file), "--storage.tsdb.path="+filepath.Join(dir, "series"), "--web.listen-address="+at, "--log.level=warn")
	return m
}

// TestBridgedBroker has the broker of a room hand on to that of an office what deploy/mosquitto says: the office hears and asks, and can
// neither move a pump nor pass for the service, and the room goes on without it.
func TestBridgedBroker(t *testing.T) {
	t.Parallel()
	office := mosquittotest.Start(t, mosquittotest.Options{})
	conf, err := os.ReadFile(filepath.Join("..", "..", "deploy", "mosquitto", "room.conf"))
	if err != nil {
		t.Fatal(err)
	}
	text := strings.NewReplacer("harbour-shed", "room-east", "127.0.0.1:1884", office.Addr, "restart_timeout 5 60", "restart_timeout 1").Replace(string(conf))
	room := mosquittotest.Start(t, mosquittotest.Options{Extra: text})
	r := newRig(t, room, "room-east")
	r.commission()
	r.nodes()
	p := r.daemon("")
	r.owns(p)

	clerk := join(t, office, "", "clerk", "#")
	state := func(h heard) bool {
		return h.Topic == "aliquot/room-east/state/channel/alk" && strings.Contains(string(h.Payload), "planned_ml_per_day")
	}
	clerk.await(0, "the state of a channel in the office", state)

	inside, outside := r.spy.mark(), clerk.mark()
	clerk.say("room-east/board/1/run", foreignRun("FORGED", 5), false)
	clerk.say("aliquot/room-east/owner", `{"instance":"forged"}`, true)
	clerk.say("aliquot/room-east/state/channel/alk", `{}`, true)
	clerk.say("aliquot/room-east/ask/"+string(machine.VerbHold), `{"ref":"office-1","by":"clerk","all":true,"minutes":1,"reason":"from the office"}`, false)
	answered := func(h heard) bool {
		return strings.HasPrefix(h.Topic, "aliquot/room-east/answer") && strings.Contains(string(h.Payload), `"office-1"`)
	}
	h := clerk.await(outside, "the answer in the office", answered)
	if !strings.Contains(string(h.Payload), `"ok":true`) {
		t.Errorf("the answer is %s", h.Payload)
	}
	// What came the same way before the request would have come before it.
	for _, h := range r.spy.since(inside) {
		if strings.Contains(string(h.Payload), "FORGED") || strings.Contains(string(h.Payload), `"forged"`) || string(h.Payload) == "{}" {
			t.Errorf("in the room was heard %s: %s", h.Topic, h.Payload)
		}
	}
	if a := r.ask(machine.VerbRelease, `"all":true`); !a.OK {
		t.Fatalf("releasing: %s (%s)", a.Text, a.Code)
	}
	n := 0
	for _, h := range clerk.since(outside) {
		if answered(h) {
			n++
		}
	}
	if n != 1 {
		t.Errorf("the office heard %d answers to one request", n)
	}

	office.Stop()
	r.runsAgain(p)
	office.Restart() // it has forgotten everything
	late := join(t, office, "", "late-clerk", "#")
	late.await(0, "the state of a channel in the office that was away", state)
	r.checkWire()
}
