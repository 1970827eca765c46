package main

import (
	"net"
	"os"
	"slices"
	"strings"
	"syscall"
	"testing"

	"aliquot/bridge/machine"
	"aliquot/bridge/mqtt/mosquittotest"
	"aliquot/safety"
)

// rewrite changes the site's configuration where it stands.
func (r *rig) rewrite(change func(string) string) {
	r.t.Helper()
	before, err := os.ReadFile(r.config)
	if err != nil {
		r.t.Fatal(err)
	}
	after := change(string(before))
	if after == string(before) {
		r.t.Fatal("the configuration did not change")
	}
	if err := os.WriteFile(r.config, []byte(after), 0o600); err != nil {
		r.t.Fatal(err)
	}
}

func replaced(old, new string) func(string) string {
	return func(s string) string { return strings.Replace(s, old, new, 1) }
}

func (p *process) reload() {
	p.t.Helper()
	if err := p.cmd.Process.Signal(syscall.SIGHUP); err != nil {
		p.t.Fatal(err)
	}
}

// TestReload has a running service read its configuration anew: what does not pass, or does not start, changes nothing; what
// does is shown, and begins once the run under way has ended (H-36).
func TestReload_H36(t *testing.T) {
	t.Parallel()
	r := newRig(t, mosquittotest.Start(t, mosquittotest.Options{}), "reload")
	r.commission()
	r.nodes()
	p := r.daemon("")
	r.owns(p)
	r.runsAgain(p)

	p.reload()
	p.await("nothing has changed")
	r.rewrite(replaced("per_day: 40 mL", "per_day: 40 lightyears"))
	p.reload()
	p.await("is not accepted; the one before it stays in use")
	if !p.said("channels.alk.limits.per_day") || !p.said("lightyears") || !p.said("site.yaml:") {
		t.Error("the log does not say what is wrong with the configuration, and where")
	}
	r.runsAgain(p)

	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	r.rewrite(replaced("per_day: 40 lightyears", "per_day: 40 mL"))
	r.rewrite(replaced("listen: 127.0.0.1:0", "listen: "+taken.Addr().String()))
	r.from = r.spy.mark()
	p.reload()
	p.await("cannot start with the changed configuration; the one before it stays in use")
	p.awaitTimes("this instance owns the site", 2)
	r.confirmsClock()
	r.runsAgain(p)
	r.rewrite(replaced("listen: "+taken.Addr().String(), "listen: 127.0.0.1:0"))

	r.reloadsWithinARun(p)
	p.terminate()
	if code := p.code(); code != exitOK {
		t.Errorf("the service ended with code %d", code)
	}
	r.checkWire()
}

func (r *rig) confirmsClock() {
	r.t.Helper()
	if a := r.ask(machine.VerbClock, ""); !a.OK {
		r.t.Fatalf("confirming the clock: %s (%s)", a.Text, a.Code)
	}
}

// reloadsWithinARun raises a cap while a run is under way: the run ends as it would have, and the raised cap waits.
func (r *rig) reloadsWithinARun(p *process) {
	r.t.Helper()
	r.rewrite(replaced("per_day: 40 mL", "per_day: 60 mL"))
	mark := r.spy.mark()
	r.from = mark
	a := r.ask(machine.VerbRun, `"channel":"alk","volume_ml":4,"kind":"test"`)
	if a.Code != string(safety.Started) {
		r.t.Fatalf("the run before the reload: %s (%s)", a.Text, a.Code)
	}
	p.reload()
	p.await("channels.alk.limits.per_day: 60 mL, was 40 mL")
	r.awaitEnd(mark, runOf(r.t, a), machine.Finished)
	p.awaitTimes("this instance owns the site", 3)
	r.confirmsClock()
	r.spy.await(mark, "the raised cap waits", on(r.topic("state/channel/alk"), "not_accepted"))
	mark = r.spy.mark()
	if a := r.ask(machine.VerbAccept, `"what":"configuration"`); !a.OK {
		r.t.Errorf("accepting: %s (%s)", a.Text, a.Code)
	}
	r.channel(mark, "alk", func(c machine.ChannelView) bool {
		return c.PerDayML == 60 && !slices.ContainsFunc(c.Withheld, func(b machine.BlockView) bool { return b.Code == safety.NotAccepted })
	})
}

func TestCheckAgainst(t *testing.T) {
	q := newQuay(t, nil, "against")
	older := q.write(t, "older.yaml")
	q.AlkPerDay = "30 mL"
	newer := q.write(t, "newer.yaml")
	out := must(t, "check", "-c", newer, "--against", older)
	if !contains(out, "newer.yaml:") || !contains(out, ": channels.alk.limits.per_day: 30 mL, was 40 mL\n") || !contains(out, "1 difference from") {
		t.Errorf("check --against says: %s", out)
	}
	if out := must(t, "check", "-c", newer, "--against", newer, "--format", "json"); strings.TrimSpace(out) != "[]" {
		t.Errorf("a file against itself: %s", out)
	}
	if got := command(t, "check", "-c", newer, "--against", writeFile(t, "no.yaml", "site: x\n")); got.code != exitConfig {
		t.Errorf("against a file that does not pass: %s", got)
	}
}
