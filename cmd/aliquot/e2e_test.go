package main

import (
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
	e.checkWire()
	keepsPromises(t, "aliquot/"+site, e.spy.since(0))
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
	e.up(e.p)
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
	// 2.1 g over 1.05 kg/L, and the buoyancy in air: 2.002 mL in 2 s.
	said = e.cli("calibrate", "alk", "--trial", "2s=2.1g", "--trial", "2s=2.1g", "--trial", "2s=2.1g", "--density", "1.05kg/L")
	if !contains(said, "delivers 60.06 mL/min (3 trials") {
		e.t.Errorf("calibrate by mass says %q", said)
	}
	e.refused("bad_payload", "calibrate", "alk", "--trial", "2s=2.1g", "--density", "1.05kg/L", "--water", "20degC")
	got := command(e.t, "calibrate", "alk", "--trial", "2s=2g", "--trial", "2s=2g", "--trial", "2s=2g", "-c", e.keeper)
	if got.code != exitOK || !contains(got.out, "delivers 60.17 mL/min") || !contains(got.err, "plain water of 20 degC") {
		e.t.Errorf("calibrate by the mass of whatever it was: %s", got)
	}
	e.cli("calibrate", "alk", "--trial", "2s=2.0mL", "--trial", "2s=2.02mL", "--trial", "2s=1.98mL")
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
	if said := e.cli("enter", "salinity", "42.914", "mS/cm", "--at-temperature", "15degC", "--of", "reference"); !contains(said, "42.914 mS/cm at 15 degC") || !contains(said, ": 35 psu taken") {
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
