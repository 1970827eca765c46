package main

import (
	"os"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/mqtt/mosquittotest"
)

// withoutChannel writes the site's configuration without the channel iodine, its container and its supplement.
func withoutChannel(r *rig) string {
	r.t.Helper()
	b, err := os.ReadFile(r.config)
	if err != nil {
		r.t.Fatal(err)
	}
	var kept []string
	inside := false
	for _, line := range strings.Split(string(b), "\n") {
		if inside && strings.HasPrefix(line, "    ") {
			continue
		}
		inside = line == "  iodine:"
		if inside || strings.HasPrefix(line, "  iodine") {
			continue
		}
		kept = append(kept, line)
	}
	return writeFile(r.t, "site.yaml", strings.Join(kept, "\n"))
}

// retained lists what a newcomer finds retained below two roots.
func retained(t *testing.T, b *mosquittotest.Server, name string, filters ...string) map[string]string {
	t.Helper()
	p := join(t, b, "", name, filters...)
	time.Sleep(500 * time.Millisecond) // retained messages come at once
	found := map[string]string{}
	for _, h := range p.since(0) {
		if h.Retained {
			found[h.Topic] = string(h.Payload)
		}
	}
	return found
}

// After a change of the configuration nothing retained is left of what it no longer has, states and announcements
// alike, and everything else stays.
func TestRetainedTopicsGoWithTheConfiguration(t *testing.T) {
	t.Parallel()
	b := mosquittotest.Start(t, mosquittotest.Options{Persistence: true})
	r := newRig(t, b, "slip", func(q *quay) { q.Discovery = true })
	r.nodes()
	p := r.daemon("")
	r.owns(p)
	r.spy.say("aliquot/other/state/channel/iodine", "{}", true) // somebody else's
	listener := join(t, b, "", "slip-listener", "homeassistant/#")
	config := "homeassistant/sensor/aliquot_slip/channel_iodine_today/config"
	listener.await(0, "the announcement", on(config, "Given today"))
	listener.await(0, "the last announcement", on("homeassistant/binary_sensor/aliquot_slip/node_fixed_online/config", "connectivity"))
	before := retained(t, b, "slip-before", "aliquot/#", "homeassistant/#")
	r.isDead(p) // no orderly end: the list must be on disk already

	mark := r.spy.mark()
	again := start(t, "the smaller site", "", "run", "-c", withoutChannel(r))
	again.await("this instance owns the site")
	r.spy.await(mark, "the removal of the state", func(h heard) bool { return h.Topic == "aliquot/slip/state/channel/iodine" && len(h.Payload) == 0 })
	r.spy.await(mark, "the removal of the container", func(h heard) bool { return h.Topic == "aliquot/slip/state/container/iodine-jug" && len(h.Payload) == 0 })
	after := retained(t, b, "slip-after", "aliquot/#", "homeassistant/#")
	gone := 0
	for topic := range before {
		_, stands := after[topic]
		mine := strings.Contains(topic, "iodine") && !strings.HasPrefix(topic, "aliquot/other/")
		switch {
		case mine && stands:
			t.Errorf("%s still stands: %s", topic, after[topic])
		case mine:
			gone++
		case !stands && !strings.Contains(topic, "/alert/"):
			t.Errorf("%s was removed; it is still true, or not ours", topic)
		}
	}
	if gone < 12 {
		t.Errorf("only %d topics were removed; want the channel's and the container's states and announcements", gone)
	}
	r.isDead(again)

	// A third start has nothing left to remove.
	mark = r.spy.mark()
	third := start(t, "the smaller site again", "", "run", "-c", withoutChannel(r))
	third.await("this instance owns the site")
	if h, found := r.spy.find(mark, 3*time.Second, func(h heard) bool { return len(h.Payload) == 0 && strings.Contains(h.Topic, "/state/") }); found {
		t.Errorf("%s was removed a second time", h.Topic)
	}
}

// A dashboard that starts is told everything again; what it says otherwise asks for nothing.
func TestDashboardBirth(t *testing.T) {
	t.Parallel()
	b := mosquittotest.Start(t, mosquittotest.Options{})
	r := newRig(t, b, "mole", func(q *quay) { q.Discovery = true })
	listener := join(t, b, "", "mole-listener", "homeassistant/#")
	p := r.daemon("")
	p.await("this instance owns the site")
	last := "homeassistant/binary_sensor/aliquot_mole/node_fixed_online/config"
	listener.await(0, "the last announcement", on(last, "connectivity"))
	mark := listener.mark()
	listener.say("homeassistant/status", "offline", false)
	if _, found := listener.find(mark, 3*time.Second, on(last, "")); found {
		t.Error("a dashboard that goes is told everything")
	}
	mark, states := listener.mark(), r.spy.mark()
	listener.say("homeassistant/status", "online", false)
	listener.await(mark, "the announcement again", on(last, "connectivity"))
	r.spy.await(states, "the states again", on(r.topic("state/container/iodine-jug"), "capacity_ml"))
}
