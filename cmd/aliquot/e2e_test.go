package main

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
	"aliquot/safety"
)

// endToEnd is a site with everything real but water: a broker that asks for passwords, checks access and speaks
// TLS; the service and the pump nodes in processes of their own; a keeper with the command line.
type endToEnd struct {
	*rig
	p      *process
	keeper string // the keeper's configuration
}

// TestEndToEnd commissions a site from nothing, has it run by request and by schedule, and stops and restarts it.
func TestEndToEnd(t *testing.T) {
	t.Parallel()
	const site = "harbour"
	b := mosquittotest.Start(t, mosquittotest.Options{Users: users(), ACL: accessRules(site, "readwrite"), TLS: true})
	e := &endToEnd{rig: newGuardedRig(t, b, site, func(q *quay) { q.TraceSlots, q.TracePerDay = "* * * * *", "1500" })}
	e.keeper = e.configOf("keeper")
	e.commission("trace") // what runs by schedule need not rest first
	e.nodes()
	e.p = e.daemon("")

	e.checkStart()
	e.checkRefusedAtFirst()
	e.fill()
	e.commissionBoard()
	e.commissionFixed()
	e.enterTests()
	e.checkApart()
	e.checkStrangers()
	e.checkHold()
	e.checkScheduled()
	e.rested()
	e.checkManualRun()
	e.checkFixedRun()
	e.checkPages()
	e.checkHistoryAndPlan()
	window := e.checkStop()
	e.checkRestart(window)
	e.checkOnce()
}

// cli runs a command as the keeper; it must succeed.
func (e *endToEnd) cli(args ...string) string {
	e.t.Helper()
	return must(e.t, append(args, "-c", e.keeper)...)
}

// refused runs a command as the keeper that the service must refuse.
func (e *endToEnd) refused(code string, args ...string) {
	e.t.Helper()
	got := command(e.t, append(args, "-c", e.keeper)...)
	if got.code != exitFailed || !contains(got.err, "("+code+")") {
		e.t.Errorf("aliquot %s: must be refused with %s: %s", strings.Join(args, " "), code, got)
	}
}

func (e *endToEnd) checkStart() {
	e.t.Helper()
	e.p.await("this instance owns the site")
	for _, n := range []string{"board", "timed", "fixed"} {
		e.awaitState(e.from, "node/"+n, `"online":true`)
	}
	e.spy.await(e.from, "the birth", on(e.topic("availability"), "online"))
	e.checkStopsFirst(e.from)
	if status, body := e.p.get("/healthz"); status != http.StatusOK {
		e.t.Errorf("/healthz: %d %s", status, body)
	}
	if status, body := e.p.get("/readyz"); status != http.StatusServiceUnavailable || !contains(body, string(safety.ClockUntrusted)) {
		e.t.Errorf("/readyz before the clock is confirmed: %d %s", status, body)
	}
	if said := e.cli("ask", "clock", "--by", "keeper"); !contains(said, "the clock is confirmed") {
		e.t.Errorf("ask clock says %q", said)
	}
	e.channel(e.from, "alk", func(v machine.ChannelView) bool {
		return len(v.Withheld) > 0 && !slices.ContainsFunc(v.Withheld, func(b machine.BlockView) bool { return b.Code == safety.ClockUntrusted })
	})
	if status, body := e.p.get("/readyz"); status != http.StatusOK {
		e.t.Errorf("/readyz after the clock was confirmed: %d %s", status, body)
	}
}

// checkRefusedAtFirst holds that a channel begins locked out.
func (e *endToEnd) checkRefusedAtFirst() {
	e.t.Helper()
	v := e.channel(e.from, "alk", func(machine.ChannelView) bool { return true })
	if v.Primed || v.RateMLPerMin != nil {
		e.t.Errorf("a new channel is primed %v and has the rate %v", v.Primed, v.RateMLPerMin)
	}
	e.refused("not_calibrated", "ask", "run", "channel=alk", "volume_ml=1")
	e.refused("container_empty", "prime", "alk", "--into", "vessel", "--volume", "3mL")
	e.refused("needs_confirm", "hold", "all", "5h")
}

func (e *endToEnd) fill() {
	e.t.Helper()
	for _, c := range [][]string{{"refill", "carbonate-jug", "--add", "1.5L"}, {"refill", "calcium-jug", "--full"},
		{"refill", "iodine-jug", "--remaining", "400mL"}} {
		if said := e.cli(c...); !contains(said, "now holds") {
			e.t.Errorf("%s says %q", strings.Join(c, " "), said)
		}
	}
	e.refused("out_of_range", "refill", "carbonate-jug", "--add", "1.5L")
}

// commissionBoard primes and calibrates alk, and looks at the command of a board on the wire.
func (e *endToEnd) commissionBoard() {
	e.t.Helper()
	mark := e.spy.mark()
	before := time.Now()
	said := e.cli("prime", "alk", "--into", "vessel", "--volume", "3mL", "--by", "keeper")
	for _, word := range []string{"into the vessel", "the run ended: finished", "aliquot primed alk", "sodium carbonate"} {
		if !contains(said, word) {
			e.t.Errorf("prime does not say %q: %s", word, said)
		}
	}
	runs := e.sentAt("board/1", mark)
	if len(runs) != 1 {
		e.t.Fatalf("%d runs were on the wire for one priming", len(runs))
	}
	c := runs[0]
	until, err := time.Parse(time.RFC3339, c.Until)
	if err != nil || until.Before(before) || until.After(time.Now().Add(safety.RunTTL+time.Second)) {
		e.t.Errorf("the run expires at %q", c.Until)
	}
	if c.output != "board/1" || c.V != 1 || len(c.ID) != 26 || math.Abs(c.Secs-3) > 0.01 || math.Abs(c.ML-3) > 0.01 || c.Retained || c.QoS != 0 {
		e.t.Errorf("the run on the wire was %s at QoS %d on %s", c.Payload, c.QoS, c.Topic)
	}
	e.spy.await(mark, "the board's end", on(e.quay.Site+"/board/1/report", fmt.Sprintf(`"id":%q,"state":"finished"`, c.ID)))
	e.cli("primed", "alk")
	if said := e.cli("calibrate", "alk", "--for", "2s"); !contains(said, "finished") {
		e.t.Errorf("calibrate --for says %q", said)
	}
	said = e.cli("calibrate", "alk", "--trial", "2s=2.0mL", "--trial", "2s=2.02mL", "--trial", "2s=1.98mL")
	if !contains(said, "delivers 60 mL/min (3 trials") {
		e.t.Errorf("calibrate says %q", said)
	}
}

// commissionFixed proves the relay whose time is fixed inside it: it gets no off, and goes off by itself (H-02).
func (e *endToEnd) commissionFixed() {
	e.t.Helper()
	e.refused("no_self_stop_proof", "prime", "iodine", "--into", "vessel", "--volume", "1mL")
	mark := e.spy.mark()
	e.cli("prove", "fixed")
	h := e.awaitState(mark, "node/fixed", `"proven":"`)
	for _, c := range e.commands(mark) {
		if c.output == "fixed" && c.stop && c.at.Before(h.at) {
			e.t.Error("a relay was told to go off while it had to prove that it does so by itself")
		}
	}
	e.cli("prime", "iodine", "--into", "vessel", "--volume", "1mL")
	e.cli("primed", "iodine")
	if said := e.cli("calibrate", "iodine", "--trial", "10s=5mL"); !contains(said, "provisional") {
		e.t.Errorf("a calibration of one trial says %q", said)
	}
	e.cli("calibrate", "iodine", "--trial", "10s=5mL", "--trial", "10s=5mL", "--trial", "10s=5mL")
}

func (e *endToEnd) enterTests() {
	e.t.Helper()
	mark := e.spy.mark()
	if said := e.cli("enter", "alkalinity", "7.9", "dKH", "--method", "titration"); !contains(said, "7.9 dKH taken") {
		e.t.Errorf("enter says %q", said)
	}
	if said := e.cli("enter", "calcium", "420", "mg/L"); !contains(said, "420 mg/L taken") {
		e.t.Errorf("enter says %q", said)
	}
	e.cli("water-change", "20L", "--mix", "alkalinity=8.0 dKH", "--mix", "calcium=430 mg/L")
	e.awaitState(mark, "quantity/quay/calcium", `"tests_used":1`)
	e.refused("out_of_range", "enter", "alkalinity", "143", "dKH")
	got := command(e.t, "enter", "alkalinity", "8,3", "dKH", "-c", e.keeper)
	if got.code != exitUsage || !contains(got.err, "use a point as decimal mark") {
		e.t.Errorf("a decimal comma: %s", got)
	}
}

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
	if table := must(e.t, "history", "-c", e.config, "--since", time.Now().Add(-time.Hour).Format(time.RFC3339)); !contains(table, "run_reserved") {
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
	if !contains(e.p.out.text(), "every pump was told to stop") {
		e.t.Error("the service does not say that it stopped the pumps")
	}
	return v.Window24hHiML
}

// checkRestart holds what must outlive a process.
func (e *endToEnd) checkRestart(window float64) {
	e.t.Helper()
	e.p = e.daemon("")
	e.p.await("this instance owns the site")
	e.awaitState(e.from, "node/board", `"online":true`)
	e.refused(string(safety.ClockUntrusted), "ask", "run", "channel=alk", "volume_ml=1", "kind=test")
	v := e.channel(e.from, "alk", func(machine.ChannelView) bool { return true })
	if !v.Primed || v.RateMLPerMin == nil || math.Abs(*v.RateMLPerMin-60) > 0.01 || v.Window24hHiML < window-1e-6 || v.LastOutcome != string(machine.Unknown) {
		e.t.Errorf("after the restart alk is %+v, its window was %v mL", v, window)
	}
	e.awaitState(e.from, "node/fixed", `"proven":"`)
	e.cli("ask", "clock")
	e.runsAgain(e.p)
}
