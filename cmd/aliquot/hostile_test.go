package main

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
	"aliquot/safety"
)

// foreignRun is a command of somebody else, such as the board would obey; of -1 seconds one that is out of date.
func foreignRun(id string, seconds float64) string {
	if seconds < 0 {
		return fmt.Sprintf(`{"v":1,"id":%q,"seconds":5.000,"volume_ml":5.00,"expires":"2020-01-01T00:00:00Z"}`, id)
	}
	return fmt.Sprintf(`{"v":1,"id":%q,"seconds":%.3f,"volume_ml":%.2f,"expires":%q}`, id, seconds, seconds, time.Now().UTC().Add(10*time.Second).Format(time.RFC3339))
}

// TestRetainedCommandPlanted finds a retained run command at the first connection (H-04): it is removed, told, and
// never runs.
func TestRetainedCommandPlanted(t *testing.T) {
	t.Parallel()
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), "planted")
	r.commission()
	topic := r.quay.Site + "/board/1/run"
	r.spy.say(topic, foreignRun("PLANTED", 5), true)
	r.nodes()
	p := r.daemon("")
	r.spy.await(r.from, "the alert", on(r.topic("alert/retained-command-board"), `"critical"`))
	r.spy.await(r.from, "the removal", func(h heard) bool { return h.Topic == topic && len(h.Payload) == 0 })
	r.spy.await(r.from, "the end of the alert", func(h heard) bool {
		return h.Topic == r.topic("alert/retained-command-board") && len(h.Payload) == 0
	})
	r.owns(p)
	newcomer := join(t, r.broker, "", "newcomer-planted", topic, r.topic("availability"))
	newcomer.await(0, "the availability", on(r.topic("availability"), "online"))
	for _, h := range newcomer.since(0) {
		if h.Topic == topic {
			t.Errorf("a newcomer finds on the run topic: %s", h.Payload)
		}
	}
	r.runsAgain(p)
	r.checkNeverRan("PLANTED")
}

// checkNeverRan looks for reports about a run.
func (r *rig) checkNeverRan(run string) {
	r.t.Helper()
	for _, h := range r.spy.since(0) {
		if contains(h.Topic, "/report") && contains(string(h.Payload), run) && contains(string(h.Payload), `"started"`) {
			r.t.Errorf("the run %s ran", run)
		}
	}
}

// TestRetainedCommandStays finds a retained run command that the broker's access rules keep it from removing: its
// node does not run until somebody else has removed it.
func TestRetainedCommandStays(t *testing.T) {
	t.Parallel()
	const site = "stays"
	users := users()
	b := mosquittotest.Start(t, mosquittotest.Options{Users: users, ACL: accessRules(site, "read")})
	r := newGuardedRig(t, b, site)
	r.commission()
	topic := site + "/board/1/run"
	r.spy.say(topic, foreignRun("PLANTED", 5), true)
	r.nodes()
	r.owns(r.daemon(""))
	r.spy.await(r.from, "the alert", on(r.topic("alert/retained-command-board"), `"critical"`))
	for range 2 {
		if a := r.ask(machine.VerbRun, `"channel":"alk","volume_ml":1`); a.Code != string(safety.RetainedCommand) {
			t.Fatalf("a run with a retained command on the topic: %s (%s)", a.Text, a.Code)
		}
	}
	if a := r.ask(machine.VerbRun, `"channel":"trace","volume_ml":1`); a.Code != string(safety.Started) {
		t.Errorf("a run at a node without a retained command: %s (%s)", a.Text, a.Code)
	}
	// Now the rules are put right, and the command is removed by hand.
	if err := os.WriteFile(filepath.Join(b.Dir, "acl"), []byte(accessRules(site, "readwrite")), 0o600); err != nil {
		t.Fatal(err)
	}
	b.SetUsers(users)
	r.awaitRights()
	gone := r.spy.mark()
	r.spy.say(topic, "", true)
	r.spy.await(gone, "the end of the alert", func(h heard) bool {
		return h.Topic == r.topic("alert/retained-command-board") && len(h.Payload) == 0
	})
	a := r.ask(machine.VerbRun, `"channel":"alk","volume_ml":1`)
	if a.Code != string(safety.Started) {
		t.Fatalf("a run after the retained command was removed: %s (%s)", a.Text, a.Code)
	}
	r.awaitEnd(gone, runOf(t, a), machine.Finished)
	r.checkNeverRan("PLANTED")
}

// awaitRights waits until the broker has read its access rules anew: a stop as the service's user gets through.
func (r *rig) awaitRights() {
	r.t.Helper()
	double := join(r.t, r.broker, "aliquot", "double-"+r.quay.Site)
	for deadline := time.Now().Add(patience); time.Now().Before(deadline); {
		mark := r.spy.mark()
		double.say(r.quay.Site+"/board/2/stop", `{"v":1,"id":"*"}`, false)
		if _, ok := r.spy.find(mark, 100*time.Millisecond, on(r.quay.Site+"/board/2/stop", "")); ok {
			return
		}
	}
	r.t.Fatal("the broker does not read its access rules again")
}

// TestForeignCommand has somebody else publish on the command topics (H-37): the output is told to stop within 2 s
// and the channel is latched; the same at a relay, whose commands carry no id.
func TestForeignCommand(t *testing.T) {
	t.Parallel()
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), "foreign")
	r.commission()
	r.nodes()
	p := r.daemon("")
	r.owns(p)
	for _, c := range []struct{ topic, payload, output, channel string }{
		// What the node does not obey shows all the same that somebody else writes there.
		{"board/1/run", foreignRun("STALE", -1), "board/1", "alk"},
		{"timed/set", "ON", "timed", "trace"},
		{"board/1/run", foreignRun("FOREIGN", 8), "board/1", "alk"},
		{"timed/set", `{"on":true,"for_seconds":8,"n":1}`, "timed", "trace"},
	} {
		r.checkForeign(c.topic, c.payload, c.output, c.channel)
	}
	r.spy.await(0, "the board's stop", on(r.quay.Site+"/board/1/report", `"stopped"`))
	r.spy.await(0, "the relay's off", func(h heard) bool {
		return h.Topic == r.quay.Site+"/timed/state" && !h.Retained && contains(string(h.Payload), "false")
	})
	r.clears("ca")
	r.runsAgain(p)
}

// checkForeign sends a foreign command, waits for the fault that it causes, and clears it.
func (r *rig) checkForeign(topic, payload, output, channel string) {
	r.t.Helper()
	mark := r.spy.mark()
	r.spy.say(r.quay.Site+"/"+topic, payload, false)
	r.spy.await(mark, "the fault of "+channel, on(r.topic("alert/lockout-"+channel+"-fault"), `"critical"`))
	var ran, stopped time.Time
	for _, k := range r.commands(mark) {
		switch {
		case k.output == output && string(k.Payload) == payload:
			ran = k.at
		case k.output == output && k.stop && stopped.IsZero():
			stopped = k.at
		}
	}
	if wait := stopped.Sub(ran); stopped.IsZero() || ran.IsZero() || wait > 2*time.Second {
		r.t.Errorf("%s: a foreign command was stopped after %s, must be within 2 s", output, wait)
	}
	if a := r.ask(machine.VerbRun, fmt.Sprintf(`"channel":%q,"volume_ml":1`, channel)); a.Code != string(safety.Fault) {
		r.t.Errorf("a run of %s after a foreign command: %s (%s)", channel, a.Text, a.Code)
	}
	if output == "board/1" && contains(payload, "FOREIGN") {
		// The other channel of the board is latched too: what else its foreign master does nobody knows.
		r.spy.await(mark, "the fault of ca", on(r.topic("alert/lockout-ca-fault"), `"critical"`))
	}
	r.clears(channel)
}

// clears ends the faults of channels.
func (r *rig) clears(channels ...string) {
	r.t.Helper()
	for _, c := range channels {
		if a := r.ask(machine.VerbClear, fmt.Sprintf(`"channel":%q,"code":"fault"`, c)); !a.OK {
			r.t.Errorf("clearing %s: %s (%s)", c, a.Text, a.Code)
		}
	}
}

// TestForgedReport has somebody else report a run as nearly nothing: what may have gone in does not fall.
func TestForgedReport(t *testing.T) {
	t.Parallel()
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), "forged")
	r.commission()
	r.nodes()
	r.owns(r.daemon(""))
	mark := r.spy.mark()
	run := runOf(t, r.ask(machine.VerbRun, `"channel":"alk","volume_ml":4`))
	r.spy.await(mark, "the board's start", on(r.quay.Site+"/board/1/report", `"started"`))
	r.spy.say(r.quay.Site+"/board/1/report", fmt.Sprintf(`{"v":1,"id":%q,"state":"finished","seconds":0.001,"boot":1,"seq":4000}`, run), false)
	if e := r.awaitEnd(mark, run, machine.Finished); e.HiML < 4*1.05 {
		t.Errorf("after a forged report at most %v mL are counted, must be 4.2 or more", e.HiML)
	}
	v := r.channel(mark, "alk", func(v machine.ChannelView) bool { return v.LastOutcome != "" })
	if v.Window24hHiML < 4*1.05 {
		t.Errorf("window_24h_hi_ml is %v after a forged report, must be 4.2 or more", v.Window24hHiML)
	}
}
