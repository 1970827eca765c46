package machine_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
)

// changes notes when an alert is raised (+) and over (-), to the minute, and leaves reminders out.
func (r *rig) changes(name string) *[]string {
	var out []string
	from, up := r.now, false
	r.told = func(_ time.Time, e machine.Effect) {
		s, ok := e.(machine.ShowAlert)
		if !ok || s.Name != name || s.Raised == up {
			return
		}
		sign := "-"
		if up = s.Raised; up {
			sign = "+"
		}
		out = append(out, fmt.Sprint(sign, int((r.now-from).Minutes())))
	}
	return &out
}

// A node that comes and goes 500 times is told three times while it does so, and once when it is over.
func TestH41FlapsAreDamped(t *testing.T) {
	for _, c := range []struct {
		name    string
		gone    time.Duration // down, of which two minutes are no alert
		back    time.Duration
		times   int
		settles time.Duration // after the last time
		want    string
	}{
		{"once", 3 * time.Minute, time.Hour, 1, 0, "[+2 -3]"},
		{"twice, with half an hour between", 3 * time.Minute, 31 * time.Minute, 2, time.Hour, "[+2 -3 +36 -37]"},
		{"twice, sooner", 3 * time.Minute, 20 * time.Minute, 2, time.Hour, "[+2 -3 +25 -70]"},
		{"three times in a day", 3 * time.Minute, 2 * time.Hour, 3, 6 * time.Hour, "[+2 -3 +125 -126 +248 -493]"},
		{"once a day", 3 * time.Minute, 24 * time.Hour, 4, time.Hour, "[+2 -3 +1445 -1446 +2888 -2889 +4331 -4332]"},
		{"500 times", 3 * time.Minute, 3 * time.Minute, 500, time.Hour, "[+2 -3 +8 -3007]"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, previews, noon)
			r.boot()
			r.commission()
			r.coarse = 30 * time.Second
			got := r.changes("node-offline-board")
			for range c.times {
				r.disconnect("board")
				r.advance(c.gone)
				r.reconnect("board")
				r.advance(c.back)
			}
			r.advance(c.settles)
			if s := fmt.Sprint(*got); s != c.want {
				t.Errorf("told at minutes %s; want %s", s, c.want)
			}
		})
	}
}

// While an alert stays although its condition is gone, it says so.
func TestH41FlapSaysThatItStays(t *testing.T) {
	r := newRig(t, previews, noon)
	r.boot()
	r.commission()
	for range 2 {
		r.disconnect("board")
		r.advance(3 * time.Minute)
		r.reconnect("board")
		r.advance(5 * time.Minute)
	}
	a, ok := r.alerts["node-offline-board"]
	if !ok || !strings.HasSuffix(a.Text, "; it comes and goes, so that this stands until it has been gone for 14m0s") {
		t.Errorf("the alert is %+v, %v; want it to say for how long it stays", a, ok)
	}
	if !r.view().Nodes[0].Online {
		t.Errorf("the node is shown as offline: only the alert stays")
	}
}

// What a person ends is over at once, however often.
func TestH41WhatAPersonEndsIsNoFlap(t *testing.T) {
	r := newRig(t, previews, noon)
	r.boot()
	r.commission()
	for i := range 5 {
		r.foreignRun()
		r.advance(time.Minute)
		if _, ok := r.alerts["lockout-alk-fault"]; !ok {
			t.Fatalf("time %d: no alert", i)
		}
		r.must(machine.VerbClear, machine.Request{Channel: "alk", Code: "fault"})
		r.advance(time.Minute)
		if a, ok := r.alerts["lockout-alk-fault"]; ok {
			t.Fatalf("time %d: cleared, and the alert stands: %s", i, a.Text)
		}
	}
}
