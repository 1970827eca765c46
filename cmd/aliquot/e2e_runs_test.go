package main

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"strings"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

func (e *endToEnd) container(mark int, id string, wanted func(machine.ContainerView) bool) machine.ContainerView {
	e.t.Helper()
	var v machine.ContainerView
	e.spy.await(mark, "a state of container "+id, func(h heard) bool {
		v = machine.ContainerView{}
		return h.Topic == e.topic("state/container/"+id) && json.Unmarshal(h.Payload, &v) == nil && wanted(v)
	})
	return v
}

// latest gives the newest message on a topic.
func (e *endToEnd) latest(topic string, v any) {
	e.t.Helper()
	log := e.spy.since(0)
	for i := len(log) - 1; i >= 0; i-- {
		if log[i].Topic == topic {
			if err := json.Unmarshal(log[i].Payload, v); err != nil {
				e.t.Fatal(err)
			}
			return
		}
	}
	e.t.Fatalf("nothing was heard on %s", topic)
}

// rested waits until alk has rested: that is a minute after the last of its runs.
func (e *endToEnd) rested() {
	e.t.Helper()
	var last time.Time
	for _, h := range e.spy.since(0) {
		if h.Topic == e.topic("event/run_ended") && contains(string(h.Payload), `"channel":"alk"`) {
			last = h.at
		}
	}
	<-time.After(time.Until(last.Add(safety.MinRest + time.Second)))
}

// checkManualRun asks for one dose, twice under one reference, and looks at all that it changes.
func (e *endToEnd) checkManualRun() {
	e.t.Helper()
	var jug machine.ContainerView
	var before machine.ChannelView
	e.latest(e.topic("state/container/carbonate-jug"), &jug)
	e.latest(e.topic("state/channel/alk"), &before)
	mark := e.spy.mark()
	first := e.askAs("one dose", machine.VerbRun, `"channel":"alk","volume_ml":2,"by":"keeper"`)
	run := runOf(e.t, first)
	e.spy.await(mark, "the event", on(e.topic("event/run_started"), run))
	end := e.awaitEnd(mark, run, machine.Finished)
	if end.HiML < 2*1.05-1e-6 || end.HiML > 2.3 || end.LoML > 2 || end.LoML < 1.8 {
		e.t.Errorf("a run of 2 mL counts as %v..%v mL", end.LoML, end.HiML)
	}
	near := func(got, want float64) bool { return math.Abs(got-want) < 0.002 }
	e.container(mark, "carbonate-jug", func(v machine.ContainerView) bool {
		return near(v.RemainingMinML, jug.RemainingMinML-end.HiML) && near(v.RemainingMaxML, jug.RemainingMaxML-end.LoML)
	})
	e.channel(mark, "alk", func(v machine.ChannelView) bool {
		return near(v.Window24hHiML, before.Window24hHiML+end.HiML) && near(v.TotalHiML, before.TotalHiML+end.HiML) && v.LastOutcome == "finished"
	})
	again := e.askAs("one dose", machine.VerbRun, `"channel":"alk","volume_ml":2,"by":"keeper"`)
	if again.Text != first.Text || runOf(e.t, again) != run {
		e.t.Errorf("the same request again was answered with %s", again.Text)
	}
	e.refused("rest", "ask", "run", "channel=alk", "volume_ml=2")
	if sent := e.sentAt("board/1", mark); len(sent) != 1 {
		e.t.Errorf("%d runs were on the wire for one request", len(sent))
	}
}

// checkApart asks for a run of the channel that must not follow so soon.
func (e *endToEnd) checkApart() {
	e.t.Helper()
	e.refused("kept_apart", "prime", "ca", "--into", "vessel", "--volume", "2mL")
}

// checkFixedRun books the whole on-time of a relay for any run.
func (e *endToEnd) checkFixedRun() {
	e.t.Helper()
	mark := e.spy.mark()
	run := runOf(e.t, e.ask(machine.VerbRun, `"channel":"iodine","volume_ml":1,"kind":"test"`))
	end := e.awaitEnd(mark, run, machine.Finished)
	if want := 30.0 / 60 * 3 * 1.05; math.Abs(end.HiML-want) > 0.002 {
		e.t.Errorf("a run of 1 mL at a relay that may be on for 3 s counts as %v mL, must be %v", end.HiML, want)
	}
	var offs int
	for _, c := range e.commands(mark) {
		if c.output == "fixed" && c.stop {
			offs++
		}
	}
	if offs == 0 {
		e.t.Error("a relay was not told to go off at the end of its run")
	}
}

// checkStrangers has others publish on a run topic: the broker's rules refuse them.
func (e *endToEnd) checkStrangers() {
	e.t.Helper()
	stranger := join(e.t, e.broker, "stranger", "stranger")
	mark := e.spy.mark()
	for _, who := range []*party{stranger, e.rig.keeper} {
		who.say(e.quay.Site+"/board/1/run", foreignRun("FOREIGN", 5), false)
	}
	stranger.say("strange/end", "x", false)
	e.spy.await(mark, "the stranger's own topic", on("strange/end", "x"))
	e.ask(machine.VerbRelease, `"all":true`) // the keeper's own end
	for _, h := range e.spy.since(mark) {
		if contains(string(h.Payload), "FOREIGN") {
			e.t.Errorf("a stranger's command came through on %s", h.Topic)
		}
	}
}

func (e *endToEnd) checkHold() {
	e.t.Helper()
	mark := e.spy.mark()
	e.cli("hold", "alk", "30m", "--reason", "feeding")
	e.refused("hold", "ask", "run", "channel=alk", "volume_ml=1", "kind=test")
	found := false
	for _, c := range e.commands(mark) {
		found = found || c.output == "board/1" && c.stop
	}
	if !found {
		e.t.Error("a hold does not stop its channel")
	}
	e.cli("release", "alk")
	if said := must(e.t, "stop-all", "-c", e.config); !contains(said, "4 outputs told to stop") {
		e.t.Errorf("stop-all says %q", said)
	}
}

// checkScheduled waits for a run that nobody asked for but the schedule.
func (e *endToEnd) checkScheduled() {
	e.t.Helper()
	var event struct {
		Data machine.RunEvent `json:"data"`
	}
	_, ok := e.spy.find(0, 61*time.Second+patience, func(h heard) bool {
		event.Data = machine.RunEvent{}
		return h.Topic == e.topic("event/run_ended") && json.Unmarshal(h.Payload, &event) == nil && event.Data.Purpose == machine.Dose
	})
	if !ok || event.Data.Outcome != machine.Finished || event.Data.Channel != "trace" {
		e.t.Fatalf("the scheduled run: %+v", event.Data)
	}
	sent := e.sentAt("timed", 0)
	if len(sent) == 0 || math.Abs(sent[0].For-event.Data.Seconds) > 0.001 || sent[0].N <= 0 {
		e.t.Errorf("the commands of a relay that is told its time were %v, for a run of %v s", sent, event.Data.Seconds)
	}
	if want := 1500.0 / 1440; math.Abs(event.Data.VolumeML-want) > 0.01 {
		e.t.Errorf("the scheduled run moved %v mL, must be %v", event.Data.VolumeML, want)
	}
	reserved, _ := e.runs()
	for _, run := range reserved {
		if run.Run == event.Data.Run && run.Slot == "" {
			e.t.Error("the scheduled run serves no slot")
		}
	}
}

// checkPages compares a scrape with what the topics say.
func (e *endToEnd) checkPages() {
	e.t.Helper()
	scrape := e.p.metrics()
	if got := value(e.t, scrape, `aliquot_runs_total{channel="alk",outcome="finished"}`); got != 3 {
		e.t.Errorf("the scrape counts %v finished runs of alk: one each was for priming, calibrating and dosing", got)
	}
	if got := value(e.t, scrape, `aliquot_runs_total{channel="trace",outcome="finished"}`); got < 1 {
		e.t.Errorf("the scrape counts %v finished runs of trace, must be 1 or more", got)
	}
	var jug machine.ContainerView
	e.latest(e.topic("state/container/carbonate-jug"), &jug)
	for bound, ml := range map[string]float64{"min": jug.RemainingMinML, "max": jug.RemainingMaxML} {
		got := value(e.t, scrape, fmt.Sprintf(`aliquot_container_remaining_liters{bound=%q,container="carbonate-jug"}`, bound))
		if math.Abs(got-ml/1000) > 1e-6 {
			e.t.Errorf("the scrape says that at least or most (%s) %v L remain, the topic %v mL", bound, got, ml)
		}
	}
	if status, body := e.p.get("/"); status != http.StatusOK || !contains(body, "carbonate-jug") {
		e.t.Errorf("the page: %d %s", status, body)
	}
}

// checkHistoryAndPlan exports beside the running service, and plans from the export.
func (e *endToEnd) checkHistoryAndPlan() {
	e.t.Helper()
	export := must(e.t, "history", "-c", e.config, "--format", "jsonl")
	for _, line := range []string{`"type":"self_stop_proof"`, `"type":"calibration","by"`, `"purpose":"prime"`, `"type":"water_change"`} {
		if !contains(export, strings.Split(line, ",")[0]) {
			e.t.Errorf("the export has no line with %s", line)
		}
	}
	if table := must(e.t, "history", "-c", e.config, "--since", time.Now().Add(-time.Hour).Format(time.RFC3339)); !contains(table, "run  ") {
		e.t.Errorf("the table has no run: %s", table)
	}
	file := writeFile(e.t, "export.jsonl", export)
	args := []string{"plan", "-c", e.config, "--history", file, "--at", time.Now().UTC().Add(time.Minute).Format(time.RFC3339), "--format", "json"}
	out := must(e.t, args...)
	if again := must(e.t, args...); again != out {
		e.t.Error("the same plan again reads differently")
	}
	var plan machine.PlanView
	if err := json.Unmarshal([]byte(out), &plan); err != nil {
		e.t.Fatal(err)
	}
	runs := map[string]int{}
	for _, r := range plan.Runs {
		runs[r.Channel]++
	}
	// Its slots are as far apart as it has to rest: the plan leaves every second one out.
	if runs["trace"] < 700 || runs["iodine"] != 1 || runs["ca"] != 0 {
		e.t.Errorf("the plan has runs %v", runs)
	}
	if len(plan.Estimates) != 2 || plan.Estimates[0].TestsUsed != 1 {
		e.t.Errorf("the plan believes %+v", plan.Estimates)
	}
}

// checkStop ends the service in the middle of a run: every output is told to stop, and it says so.
func (e *endToEnd) checkStop() (window float64) {
	e.t.Helper()
	mark := e.spy.mark()
	run := runOf(e.t, e.ask(machine.VerbRun, `"channel":"alk","volume_ml":4,"kind":"test"`))
	e.spy.await(mark, "the board's start", on(e.quay.Site+"/board/1/report", run))
	v := e.channel(mark, "alk", func(v machine.ChannelView) bool { return v.Running })
	mark = e.spy.mark()
	e.p.terminate()
	e.spy.await(mark, "the end", on(e.topic("availability"), "offline"))
	e.checkStopsFirst(mark)
	e.spy.await(mark, "the board's stop", on(e.quay.Site+"/board/1/report", `"stopped"`))
	if code := e.p.code(); code != exitOK {
		e.t.Errorf("the service ended with code %d", code)
	}
	if !contains(e.p.out.text(), "aliquot: stopped") {
		e.t.Error("the service does not say that it stopped")
	}
	return v.Window24hHiML
}

// checkRestart holds what must outlive a process.
func (e *endToEnd) checkRestart(window float64) {
	e.t.Helper()
	e.p = e.daemon("")
	e.up(e.p)
	e.refused(string(safety.ClockUntrusted), "ask", "run", "channel=alk", "volume_ml=1", "kind=test")
	v := e.channel(e.from, "alk", func(machine.ChannelView) bool { return true })
	if !v.Primed || v.RateMLPerMin == nil || math.Abs(*v.RateMLPerMin-60) > 0.01 || v.Window24hHiML < window-1e-6 || v.LastOutcome != string(machine.Unknown) {
		e.t.Errorf("after the restart alk is %+v, its window was %v mL", v, window)
	}
	e.awaitState(e.from, "node/fixed", `"proven":"`)
	e.cli("ask", "clock")
	e.runsAgain(e.p)
}
