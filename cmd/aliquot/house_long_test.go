//go:build long

package main

import (
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
)

// appearance is how an entity has to look: its classes and unit, and its state where that is certain.
type appearance struct{ id, state, class, unit, stateClass string }

var looks = []appearance{
	{"binary_sensor.aliquot_pier_problem", "", "problem", "", ""},
	{"binary_sensor.aliquot_pier_ready_to_dose", "on", "", "", ""},
	{"sensor.aliquot_pier_alerts", "", "", "", "measurement"},
	{"switch.aliquot_pier_hold_everything", "off", "", "", ""},
	{"button.aliquot_pier_hold_everything_for_1_h", "", "", "", ""},
	{"button.aliquot_pier_release_everything", "", "", "", ""},
	{"button.aliquot_pier_stop_all_pumps_now", "", "", "", ""},
	{"button.aliquot_pier_acknowledge_alerts", "", "", "", ""},
	{"sensor.aliquot_pier_last_answer", "", "", "", ""},
	{"event.aliquot_pier_event", "", "", "", ""},
	{"switch.pier_system_quay_hold", "off", "", "", ""},
	{"sensor.pier_system_quay_aragonite_saturation", "unknown", "", "", "measurement"},
	{"sensor.pier_system_quay_alkalinity_level", "unknown", "", "dKH", "measurement"},
	{"sensor.pier_system_quay_alkalinity_use", "unknown", "", "dKH/d", "measurement"},
	{"sensor.pier_system_quay_alkalinity_next_test", "unavailable", "timestamp", "", ""},
	{"number.pier_system_quay_alkalinity_test", "unknown", "", "ppm CaCO3", ""},
	{"number.pier_system_quay_calcium_test", "unknown", "", "mg/L", ""},
	{"sensor.pier_channel_alk_given_today", "0", "volume", "mL", "total_increasing"},
	{"sensor.pier_channel_alk_planned_a_day", "", "", "mL/d", "measurement"},
	{"sensor.pier_channel_trace_next_run", "", "timestamp", "", ""},
	{"sensor.pier_channel_alk_last_run", "unavailable", "timestamp", "", ""},
	{"binary_sensor.pier_channel_alk_running", "off", "running", "", ""},
	{"binary_sensor.pier_channel_alk_locked_out", "off", "problem", "", ""},
	{"binary_sensor.pier_channel_ca_locked_out", "on", "problem", "", ""},
	{"sensor.pier_channel_alk_waits_because", "", "", "", ""},
	{"switch.pier_channel_alk_hold", "off", "", "", ""},
	{"button.pier_channel_alk_prime", "", "", "", ""},
	{"sensor.pier_container_carbonate_jug_remaining", "1500", "volume_storage", "mL", "measurement"},
	{"sensor.pier_container_carbonate_jug_days_left", "", "duration", "d", "measurement"},
	{"binary_sensor.pier_container_carbonate_jug_low", "off", "problem", "", ""},
	{"binary_sensor.pier_container_calcium_jug_empty", "on", "problem", "", ""},
	{"sensor.pier_probe_ph_reading", "8.21", "ph", "", "measurement"},
	{"sensor.pier_probe_water_reading", "25.4", "temperature", "°C", "measurement"},
	{"binary_sensor.pier_probe_leak_on", "off", "", "", ""},
	{"binary_sensor.pier_probe_ph_no_good_reading", "off", "problem", "", ""},
	{"binary_sensor.pier_node_board_online", "on", "connectivity", "", ""},
}

// TestDashboard joins a real dashboard to a real broker, and has it show and steer a site.
func TestDashboard(t *testing.T) {
	b := mosquittotest.Start(t, mosquittotest.Options{})
	h := openHouse(t, b)
	r := newRig(t, b, "pier", func(q *quay) {
		q.Discovery, q.AlkTarget, q.TraceSlots, q.TracePerDay = true, "143 ppm CaCO3", "* * * * *", "1500"
	})
	r.commission()
	r.nodes()
	p := r.daemon("")
	r.owns(p)
	for probe, reading := range map[string]string{"ph": "8.21", "water": "25.4", "leak": "dry"} {
		r.spy.say("pier/probe/"+probe, reading, false)
	}
	r.spy.await(r.from, "the probes", on(r.topic("state/probe/leak"), `"good":true`))
	h.checkLooks(r)
	h.checkTest(r)
	h.checkHold(r)
	h.checkButtons(r)
	h.pictures()
	h.checkOutage(r, p)
	h.checkRemoval(r, p)
	for _, line := range h.complaints() {
		t.Errorf("the dashboard complains: %s", line)
	}
}

func (h *house) checkLooks(r *rig) {
	h.t.Helper()
	h.is("binary_sensor.aliquot_pier_ready_to_dose", "on")
	time.Sleep(3 * time.Second) // for the rest of the announcements
	all := h.states()
	for _, l := range looks {
		s, ok := all[l.id]
		if !ok {
			h.t.Errorf("the dashboard does not have %s", l.id)
			continue
		}
		attribute := func(name string) string { v, _ := s.Attributes[name].(string); return v }
		got := appearance{l.id, s.State, attribute("device_class"), attribute("unit_of_measurement"), attribute("state_class")}
		if l.state == "" {
			got.state = ""
		}
		if got != l {
			h.t.Errorf("%s shows %+v (state %s); want %+v", l.id, got, s.State, l)
		}
	}
	ours := 0
	for id := range all {
		if strings.Contains(id, "pier_") {
			ours++
		}
	}
	if want := announcedAt(h.t, r); ours != want {
		h.t.Errorf("the dashboard has %d entities of ours; %d are announced", ours, want)
	}
	for _, s := range all {
		if s.State == "unavailable" && !strings.HasSuffix(s.ID, "_next_test") && !strings.HasSuffix(s.ID, "_run") {
			h.t.Errorf("%s is unavailable", s.ID)
		}
	}
}

// announcedAt counts the announcements that lie on the broker.
func announcedAt(t *testing.T, r *rig) int {
	t.Helper()
	all := join(t, r.broker, "", "announced", "homeassistant/+/aliquot_"+r.quay.Site+"/+/config")
	time.Sleep(time.Second)
	topics := map[string]bool{} // they may be announced anew meanwhile
	for _, m := range all.since(0) {
		topics[m.Topic] = len(m.Payload) > 0
	}
	maps.DeleteFunc(topics, func(_ string, stands bool) bool { return !stands })
	return len(topics)
}

// checkTest types a test: it reaches the plan. One that cannot be is answered, and does not stay.
func (h *house) checkTest(r *rig) {
	h.t.Helper()
	mark := r.spy.mark()
	h.do("number/set_value", "number.pier_system_quay_alkalinity_test", map[string]any{"value": 130})
	h.await("sensor.pier_system_quay_alkalinity_level", "7.28 dKH", func(s shown) bool { return strings.HasPrefix(s.State, "7.2") })
	h.is("number.pier_system_quay_alkalinity_test", "130.0")
	r.channel(mark, "alk", func(v machine.ChannelView) bool { return v.PlannedMLPerDay > 0 })
	h.await("sensor.pier_channel_alk_planned_a_day", "a plan", func(s shown) bool { return s.State != "0" && s.State != "0.0" })
	h.await("sensor.pier_system_quay_alkalinity_next_test", "a time", func(s shown) bool { return strings.Contains(s.State, "T") })
	h.do("number/set_value", "number.pier_system_quay_alkalinity_test", map[string]any{"value": 20})
	h.await("sensor.aliquot_pier_last_answer", "a refusal", func(s shown) bool { return strings.Contains(s.State, "test: ") && strings.Contains(s.State, "20") })
	h.is("number.pier_system_quay_alkalinity_test", "130.0")
}

// checkHold holds from the dashboard: what runs each minute does so no more, until it is released there.
func (h *house) checkHold(r *rig) {
	h.t.Helper()
	started := func(heardMark int, within time.Duration) bool {
		_, ok := r.spy.find(heardMark, within, func(m heard) bool {
			return m.Topic == r.topic("event/run_started") && contains(string(m.Payload), `"channel":"trace"`)
		})
		return ok
	}
	// A slot that comes while the channel rests from a late run before it is missed: the one after it is not.
	const twoSlots = 140 * time.Second
	mark := r.spy.mark()
	if !started(mark, twoSlots) {
		h.t.Fatal("the channel does not run by its schedule")
	}
	// A hold stops what runs. Of a relay that was stopped in its run nobody knows when it went off, so that its channel
	// would rest for minutes.
	r.spy.await(mark, "the end of the run", func(m heard) bool {
		return m.Topic == r.topic("event/run_ended") && contains(string(m.Payload), `"channel":"trace"`)
	})
	h.await("event.aliquot_pier_event", "an event", func(s shown) bool { return strings.HasPrefix(fmt.Sprint(s.Attributes["event_type"]), "run_") })
	for round := range 2 {
		h.do("switch/turn_on", "switch.pier_channel_trace_hold", nil)
		h.is("switch.pier_channel_trace_hold", "on")
		if round == 0 {
			if started(r.spy.mark(), 75*time.Second) {
				h.t.Error("the channel runs although it is on hold")
			}
			h.await("sensor.pier_channel_trace_waits_because", "the hold", func(s shown) bool { return strings.Contains(s.State, "dashboard") })
		}
		h.do("switch/turn_off", "switch.pier_channel_trace_hold", nil)
		h.is("switch.pier_channel_trace_hold", "off")
	}
	if !started(r.spy.mark(), twoSlots) {
		h.t.Error("the channel does not run again after its release")
	}
}

// checkButtons presses each button twice, since they say the same words each time.
func (h *house) checkButtons(r *rig) {
	h.t.Helper()
	for range 2 {
		h.do("button/press", "button.aliquot_pier_hold_everything_for_1_h", nil)
		h.is("switch.aliquot_pier_hold_everything", "on")
		h.do("button/press", "button.aliquot_pier_release_everything", nil)
		h.is("switch.aliquot_pier_hold_everything", "off")
	}
	h.do("switch/turn_on", "switch.aliquot_pier_hold_everything", nil)
	h.is("switch.aliquot_pier_hold_everything", "on")
	for range 2 {
		mark := r.spy.mark()
		h.do("button/press", "button.pier_channel_alk_prime", nil)
		r.spy.await(mark, "an answer to prime", on(r.topic("answer"), `"verb":"prime"`))
		mark = r.spy.mark()
		h.do("button/press", "button.aliquot_pier_stop_all_pumps_now", nil)
		r.spy.await(mark, "an answer to stop", on(r.topic("answer"), `"verb":"stop"`))
	}
	h.do("switch/turn_off", "switch.aliquot_pier_hold_everything", nil)
	h.is("switch.aliquot_pier_hold_everything", "off")
	mark := r.spy.mark()
	h.do("button/press", "button.aliquot_pier_acknowledge_alerts", nil)
	r.spy.await(mark, "an answer to acknowledge", on(r.topic("answer"), `"verb":"acknowledge"`))
}

// checkOutage kills the service: everything is unavailable until it is back.
func (h *house) checkOutage(r *rig, p *process) {
	h.t.Helper()
	r.isDead(p)
	h.is("sensor.pier_container_carbonate_jug_remaining", "unavailable")
}

// checkRemoval starts the service with a smaller configuration: what is gone from it goes from the dashboard.
func (h *house) checkRemoval(r *rig, _ *process) {
	h.t.Helper()
	smaller := withoutChannel(r)
	p := start(h.t, "the smaller site", "", "run", "-c", smaller)
	p.await("this instance owns the site")
	h.await("sensor.pier_container_carbonate_jug_remaining", "available", func(s shown) bool { return s.State != "unavailable" })
	late := time.Now().Add(patience)
	for {
		left := []string{}
		for id := range h.states() {
			if strings.Contains(id, "iodine") {
				left = append(left, id)
			}
		}
		if len(left) == 0 {
			break
		}
		if time.Now().After(late) {
			h.t.Fatalf("the dashboard still has %v", left)
		}
		time.Sleep(time.Second)
	}
}

// pictures takes screenshots of the dashboard as a keeper sees it, where the environment says where to put them.
func (h *house) pictures() {
	h.t.Helper()
	dir := os.Getenv("HOUSE_PICTURES")
	if dir == "" {
		return
	}
	tokens, err := json.Marshal(h.token)
	if err != nil {
		h.t.Fatal(err)
	}
	mustRun(h.t, "node", filepath.Join("testdata", "dashboard", "picture.cjs"), h.base, string(tokens), dir,
		"dashboard-overview=/lovelace/0", "dashboard-devices=/config/devices/dashboard")
}
