package main

import (
	"encoding/json"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"testing"

	"aliquot/bridge/ledger"
	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
)

// carer is a keeper in everyday life, with a real broker, service and simulated nodes in processes of their own.
type carer struct{ *rig }

// tests are those in the ledger.
func (e *carer) tests() []machine.Row {
	e.t.Helper()
	book, err := ledger.Open(ledger.Options{Path: e.quay.Ledger, ReadOnly: true})
	if err != nil {
		e.t.Fatal(err)
	}
	defer book.Close()
	var out []machine.Row
	if err := book.Each(1, func(r machine.Row) error {
		if _, ok := r.Body.(machine.Test); ok {
			out = append(out, r)
		}
		return nil
	}); err != nil {
		e.t.Fatal(err)
	}
	return out
}

func TestDailyCare(t *testing.T) {
	t.Parallel()
	b := mosquittotest.Start(t, mosquittotest.Options{})
	e := &carer{newRig(t, b, "care")}
	e.commission("alk", "trace")
	e.nodes()
	p := e.daemon("")
	e.owns(p)

	e.manyTests()
	e.tableOfALaboratory()
	e.containersAndLines()
	e.repairs()
	e.supervisedRun()
	e.interruptedRun()
}

// manyTests enters several at once, one of them wrong.
func (e *carer) manyTests() {
	e.t.Helper()
	said := must(e.t, "enter", "alkalinity", "7.9", "dKH", "calcium", "420", "mg/L", "--by", "nele", "-c", e.config)
	if !contains(said, "alkalinity of quay: 7.9 dKH taken; now planned: alk ") || !contains(said, "mL a day (before 0)") || !contains(said, "calcium of quay: 420 mg/L taken") {
		e.t.Errorf("enter says %q", said)
	}
	if rows := e.tests(); len(rows) != 2 || rows[0].By != "nele" || rows[1].By != "nele" {
		e.t.Errorf("in the ledger: %+v", rows)
	}
	got := command(e.t, "enter", "alkalinity", "143", "dKH", "calcium", "421", "mg/L", "-c", e.config)
	if got.code != exitFailed || !contains(got.err, "(out_of_range)") || !contains(got.err, "ppm CaCO3") || !contains(got.err, "1 of 2 tests were not taken") || !contains(got.out, "calcium of quay: 421 mg/L taken") {
		e.t.Errorf("one wrong test of two: %s", got)
	}
	got = command(e.t, "enter", "alkalinity", "11.5", "dKH", "--format", "json", "-c", e.config)
	var r reply
	if err := json.Unmarshal([]byte(got.out), &r); err != nil || got.code != exitOK || r.Code != "unconfirmed" || !contains(r.Text, "above what was expected") || !contains(string(r.Result), `"before_ml_per_day"`) {
		e.t.Errorf("a test far off: %s", got)
	}
	must(e.t, "enter", "alkalinity", "7.9", "dKH", "-c", e.config)
	got = command(e.t, "enter", "alkalinity", "8.0", "dKH", "--at", "2021-03-01", "-c", e.config)
	if got.code != exitFailed || !contains(got.err, "more than 400 days ago") {
		e.t.Errorf("a sample of long ago: %s", got)
	}
	for _, args := range [][]string{{"enter"}, {"enter", "alkalinity", "8", "dKH", "--csv", "x"}, {"clear"}, {"clear", "alk", "--interlock", "x"}, {"swap", "trace-jug"}, {"swap", "trace-jug", "--full", "--remaining", "1L"}} {
		if got := command(e.t, append(args, "-c", e.config)...); got.code != exitUsage {
			e.t.Errorf("aliquot %s: %s", strings.Join(args, " "), got)
		}
	}
}

func (e *carer) containersAndLines() {
	e.t.Helper()
	for _, c := range []struct {
		want string
		args []string
	}{
		{"irritates eyes and skin", []string{"swap", "carbonate-jug", "--full", "--supplement", "carbonate"}},
		{"now holds 1500 mL", []string{"swap", "trace-jug", "--remaining", "1.5L", "--by", "nele"}},
		{"prime it and calibrate it again", []string{"tube", "trace"}},
		{"noted for quay", []string{"note", "livestock_added", "two", "colonies"}},
		{"medicine", []string{"note", "medicine"}},
	} {
		got := command(e.t, append(c.args, "-c", e.config)...)
		if !contains(got.out+got.err, c.want) {
			e.t.Errorf("aliquot %s: %s; want %q", strings.Join(c.args, " "), got, c.want)
		}
	}
}

func (e *carer) repairs() {
	e.t.Helper()
	mark := e.spy.mark()
	if said := must(e.t, "out-of-service", "trace", "--reason", "pump head broken", "--by", "nele", "-c", e.config); !contains(said, "out of service until") {
		e.t.Errorf("out-of-service says %q", said)
	}
	e.spy.await(mark, "the alert", on(e.topic("alert/lockout-trace-out_of_service"), "pump head broken"))
	if said := must(e.t, "acknowledge", "lockout-trace-out_of_service", "2h", "-c", e.config); !contains(said, "is acknowledged until") {
		e.t.Errorf("acknowledge says %q", said)
	}
	if said := must(e.t, "clear", "trace", "out_of_service", "-c", e.config); !contains(said, "cleared for channel trace") {
		e.t.Errorf("clear says %q", said)
	}
	if got := command(e.t, "acknowledge", "lockout-trace-out_of_service", "-c", e.config); got.code != exitFailed {
		e.t.Errorf("acknowledging what is over: %s", got)
	}
	if said := must(e.t, "stop", "-c", e.config); !contains(said, "told to stop") {
		e.t.Errorf("stop says %q", said)
	}
	if said := must(e.t, "accept", "ledger", "-c", e.config); !contains(said, "not in doubt") {
		e.t.Errorf("accept says %q", said)
	}
	if table := must(e.t, "history", "-c", e.config); !contains(table, "nele") {
		e.t.Errorf("the history does not say who: %s", table)
	}
}

func (e *carer) supervisedRun() {
	e.t.Helper()
	if said := must(e.t, "give", "alk", "1mL", "--test", "-c", e.config); !contains(said, "into the tank") || !contains(said, "the run ended: finished") {
		e.t.Errorf("give says %q", said)
	}
	var ended machine.RunEvent
	said := must(e.t, "give", "alk", "1mL", "--into", "vessel", "--format", "json", "-c", e.config)
	if i := strings.Index(said, "\n}\n{"); i < 0 || json.Unmarshal([]byte(said[i+3:]), &ended) != nil || ended.Outcome != machine.Finished {
		e.t.Errorf("give as JSON says %s", said)
	}
}

// interruptedRun goes away in the middle of a run: the pump must have stopped before the command ends.
func (e *carer) interruptedRun() {
	e.t.Helper()
	leaving := []os.Signal{os.Interrupt, syscall.SIGHUP}
	if signal.Ignored(syscall.SIGHUP) { // these tests run without a terminal to lose
		leaving[1] = syscall.SIGTERM
	}
	for _, sig := range leaving {
		mark := e.spy.mark()
		p := start(e.t, "a run that is left", "", "prime", "alk", "--into", "vessel", "--volume", "20mL", "-c", e.config)
		e.spy.await(mark, "the start", on(e.quay.Site+"/board/1/report", `"state":"started"`))
		_ = p.cmd.Process.Signal(sig)
		if code := p.code(); code != exitFailed || !contains(p.out.text(), "interrupted; channel alk is told to stop") {
			e.t.Errorf("%v: ended with %d:\n%s", sig, code, p.out.text())
		}
		e.spy.await(mark, "the board's stop", on(e.quay.Site+"/board/1/report", `"state":"stopped"`))
	}
}
