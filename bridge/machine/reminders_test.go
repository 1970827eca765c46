package machine_test

import (
	"fmt"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// tellings notes when an alert is told, to five minutes: the machine wakes now and then only.
func (r *rig) tellings(name string) *[]time.Duration {
	var at []time.Duration
	from := r.now
	r.told = func(_ time.Time, e machine.Effect) {
		if s, ok := e.(machine.ShowAlert); ok && s.Name == name && s.Raised {
			at = append(at, (r.now - from).Truncate(5*time.Minute))
		}
	}
	return &at
}

func TestH41_INV13_AlertsAreToldAgain(t *testing.T) {
	day := 24 * time.Hour
	for _, c := range []struct {
		name  string
		alert string
		raise func(*rig)
		wait  time.Duration
		want  string
	}{
		{"critical", "lockout-alk-fault", func(r *rig) { r.foreignRun() }, 3*time.Hour + 30*time.Minute, "[0s 15m0s 1h15m0s 2h15m0s 3h15m0s]"},
		{"warning", "node-offline-board", func(r *rig) { r.disconnect("board") }, 2*day + time.Hour, "[0s 24h0m0s 48h0m0s]"},
		{"out of service", "lockout-alk-out_of_service", func(r *rig) {
			r.must(machine.VerbOutOfService, machine.Request{Channel: "alk", Reason: "pump head broken"})
		}, 15 * day, "[0s 168h0m0s 336h0m0s]"},
		{"a long hold", "hold-alk", func(r *rig) {
			r.must(machine.VerbHold, machine.Request{Channel: "alk", Minutes: ref(14 * 60.0), Confirm: true})
		}, day, "[4h0m0s 8h0m0s 12h0m0s]"},
		{"a short hold", "hold-alk", func(r *rig) {
			r.must(machine.VerbHold, machine.Request{Channel: "alk", Minutes: ref(239.0)})
		}, day, "[]"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, previews, noon)
			r.boot()
			r.commission()
			r.coarse = time.Minute
			at := r.tellings(c.alert)
			c.raise(r)
			r.advance(c.wait)
			if got := fmt.Sprint(*at); got != c.want {
				t.Errorf("told at %s; want %s", got, c.want)
			}
		})
	}
}

// foreignRun has a stranger command a pump: a lockout.
func (r *rig) foreignRun() {
	r.step(machine.CommandSeen{Node: "board", Output: 1, Run: "01FOREIGN"})
}

func TestH41SilenceEnds(t *testing.T) {
	const alert = "lockout-alk-fault"
	for _, c := range []struct {
		name    string
		minutes *float64
		code    safety.Code
		want    string // tellings in 4 h after the answer, its own first
	}{
		{"for good", nil, safety.OK, "[0s]"},
		{"for an hour, then as at first", ref(60.0), safety.OK, "[0s 1h0m0s 1h15m0s 2h15m0s 3h15m0s]"},
		{"the most for a critical one", ref(120.0), safety.OK, "[0s 2h0m0s 2h15m0s 3h15m0s]"},
		{"more than that", ref(120.5), safety.OutOfRange, "[15m0s 1h15m0s 2h15m0s 3h15m0s]"},
		{"nothing", ref(0.0), safety.OutOfRange, "[15m0s 1h15m0s 2h15m0s 3h15m0s]"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, previews, noon)
			r.boot()
			r.commission()
			r.coarse = time.Minute
			r.foreignRun()
			at := r.tellings(alert)
			if a := r.ask(machine.VerbAcknowledge, machine.Request{Alert: alert, Minutes: c.minutes}); a.Code != c.code {
				t.Fatalf("answer %s %s; want %s", a.Code, a.Text, c.code)
			}
			r.advance(4 * time.Hour)
			if got := fmt.Sprint(*at); got != c.want {
				t.Errorf("told at %s; want %s", got, c.want)
			}
			r.check.refolds(r)
		})
	}
}

// A restart in a silence ends it no sooner, and no later.
func TestH41SilenceOutlivesARestart(t *testing.T) {
	r := newRig(t, previews, noon)
	r.boot()
	r.commission()
	r.foreignRun()
	r.must(machine.VerbAcknowledge, machine.Request{Alert: "lockout-alk-fault", Minutes: ref(60.0)})
	r.advance(30 * time.Minute)
	r.crash()
	r.boot()
	acknowledged := func() bool {
		for _, a := range r.view().Alerts {
			if a.Name == "lockout-alk-fault" {
				return a.Acknowledged
			}
		}
		t.Fatal("the alert is gone")
		return false
	}
	for _, c := range []struct {
		wait time.Duration
		want bool
	}{{29 * time.Minute, true}, {2 * time.Minute, false}} {
		r.advance(c.wait)
		if got := acknowledged(); got != c.want {
			t.Errorf("%s on: acknowledged %v; want %v", c.wait, got, c.want)
		}
	}
}

// Nothing is told that is not written down before it, but that nothing can be written down.
func TestINV13AlertsAreRecordedBeforeTheyAreTold(t *testing.T) {
	r := newRig(t, previews, noon)
	written := map[string]string{}
	told := 0
	r.told = func(_ time.Time, e machine.Effect) {
		switch e := e.(type) {
		case machine.Append:
			for _, row := range e.Rows {
				if a, ok := row.Body.(machine.AlertChanged); ok {
					written[a.Name] = fmt.Sprint(a.Level, a.Raised)
				}
			}
		case machine.ShowAlert:
			told++
			if e.Name == "ledger" {
				return
			}
			if want := fmt.Sprint(e.Level, e.Raised); written[e.Name] != want {
				t.Errorf("%s is told as %s; the ledger has %q", e.Name, want, written[e.Name])
			}
		}
	}
	r.boot()
	r.commission()
	r.foreignRun()
	r.disconnect("board")
	r.advance(2 * time.Hour)
	r.reconnect("board")
	r.must(machine.VerbClear, machine.Request{Channel: "alk", Code: "fault"})
	r.advance(time.Minute)
	if told < 6 {
		t.Fatalf("only %d alerts were told; the test needs some that come and go", told)
	}
	r.appendFails = true
	before := told
	r.ask(machine.VerbHold, machine.Request{All: true})
	r.advance(time.Minute)
	if a, ok := r.alerts["ledger"]; !ok || a.Level != machine.Critical || told != before+1 {
		t.Errorf("%d alerts were told behind a failed write, that of the ledger %v; want that one alone", told-before, ok)
	}
}
