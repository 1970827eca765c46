package machine_test

import (
	"fmt"
	"testing"
	"time"

	"aliquot/bridge/machine"
)

// told is a copy of a site whose alerts go out beside the broker too.
func told(site *machine.Site) *machine.Site {
	s := *site
	s.Told, s.AlertTest = true, mustCron("0 10 * * MON")
	return &s
}

// A lost broker is an alert after five minutes, and is told again on the ways beside it.
func TestH10LostBrokerIsAnAlert(t *testing.T) {
	for _, c := range []struct {
		name string
		site *machine.Site
		want string
	}{
		{"the broker alone", previews, "[5m0s]"},
		{"a way beside it", told(previews), "[5m0s 24h5m0s]"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, c.site, noon)
			r.boot()
			r.commission()
			r.coarse = time.Minute
			at := r.tellings("broker")
			r.cut()
			r.advance(5*time.Minute - time.Second)
			if len(*at) != 0 {
				t.Fatalf("told before five minutes: %v", *at)
			}
			r.advance(25 * time.Hour)
			if got := fmt.Sprint(*at); got != c.want {
				t.Errorf("told at %s; want %s", got, c.want)
			}
			r.connect()
			r.advance(time.Minute)
			if a, ok := r.alerts["broker"]; ok {
				t.Errorf("the broker is back, and the alert stands: %s", a.Text)
			}
		})
	}
}

// A service that never reached its broker says so too.
func TestH10BrokerNeverReached(t *testing.T) {
	r := newRig(t, previews, noon)
	r.linkUp = false
	r.boot()
	r.advance(4 * time.Minute)
	if _, ok := r.alerts["broker"]; ok {
		t.Error("an alert after four minutes")
	}
	r.advance(2 * time.Minute)
	if _, ok := r.alerts["broker"]; !ok {
		t.Error("no alert after six minutes")
	}
}

func TestH41_INV13_ClosedWayIsAnAlert(t *testing.T) {
	r := newRig(t, told(previews), noon)
	r.boot()
	r.step(machine.AlertWay{Way: "webhook", Why: "the receiver answers 401 Unauthorized"})
	r.step(machine.AlertWay{Way: "command", Why: "exit status 1"})
	a := r.alerts["alert-way-webhook"]
	if want := "alerts are not told by webhook: the receiver answers 401 Unauthorized; try aliquot notify --test"; a.Text != want || a.Level != machine.Warning {
		t.Errorf("the alert is %+v; want a warning: %s", a, want)
	}
	r.step(machine.AlertWay{Way: "webhook"})
	if _, ok := r.alerts["alert-way-webhook"]; ok {
		t.Error("the webhook carries again, and its alert stands")
	}
	if _, ok := r.alerts["alert-way-command"]; !ok {
		t.Error("the alert of the command went with that of the webhook")
	}
	r.step(machine.AlertWay{Way: "webhook"})
}

// tries notes when test messages go out.
func (r *rig) tries() *[]string {
	var at []string
	r.told = func(now time.Time, e machine.Effect) {
		if _, ok := e.(machine.TryAlerts); ok {
			at = append(at, now.Format("Mon 02 15:04"))
		}
	}
	return &at
}

func TestH41WeeklyTestMessage(t *testing.T) {
	day := 24 * time.Hour
	week := "[Mon 08 10:00 Mon 15 10:00]"
	for _, c := range []struct {
		name string
		site *machine.Site
		live func(*rig)
		want string
	}{
		{"nobody to tell", previews, func(r *rig) { r.advance(15 * day) }, "[]"},
		{"each week", told(previews), func(r *rig) { r.advance(15 * day) }, week},
		{"without a broker", told(previews), func(r *rig) { r.cut(); r.advance(15 * day) }, week},
		{"a restart between", told(previews), func(r *rig) { r.advance(3 * day); r.crash(); r.boot(); r.advance(12 * day) }, week},
		{"no process at its time", told(previews), func(r *rig) {
			r.advance(6 * day)
			r.crash()
			r.advance(day)
			r.boot()
			r.advance(8 * day)
		}, "[Mon 15 10:00]"},
		{"no clock at its time", told(previews), func(r *rig) {
			r.advance(6*day + 21*time.Hour)
			r.offset = 2 * time.Hour
			r.synced = false
			r.advance(3 * time.Hour)
			r.offset = 0
			r.synced = true
			r.advance(8 * day)
		}, "[Mon 15 10:00]"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, c.site, noon)
			r.boot()
			r.coarse = time.Minute
			at := r.tries()
			c.live(r)
			if got := fmt.Sprint(*at); got != c.want {
				t.Errorf("tested at %s; want %s", got, c.want)
			}
		})
	}
}
