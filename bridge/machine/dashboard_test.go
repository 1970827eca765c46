package machine_test

import (
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// A sender that can only say the same words each time is obeyed each time, where twice does no harm.
func TestOpenReferences(t *testing.T) {
	r := newRig(t, previews, noon)
	r.boot()
	r.commission()
	seen := map[string]bool{}
	for i := range 3 {
		hold := r.ask(machine.VerbHold, machine.Request{Ref: "wall-*", All: true, Minutes: ref(60.0)})
		release := r.ask(machine.VerbRelease, machine.Request{Ref: "wall-*", All: true})
		for _, a := range []machine.Answered{hold, release} {
			if a.Code != safety.OK || seen[a.Ref] || !strings.HasPrefix(a.Ref, "wall-*") || len(a.Ref) == len("wall-*") {
				t.Errorf("round %d: %+v; want it done, with a reference of its own", i, a)
			}
			seen[a.Ref] = true
		}
		if v := r.view(); v.HoldUntil != nil {
			t.Errorf("round %d: a hold stands until %v after its release", i, v.HoldUntil)
		}
	}
	r.check.refolds(r)
}

func TestOpenReferencesOnlyWhereTwiceDoesNoHarm(t *testing.T) {
	allowed := map[machine.Verb]bool{machine.VerbHold: true, machine.VerbRelease: true, machine.VerbStop: true, machine.VerbCut: true, machine.VerbAcknowledge: true, machine.VerbClock: true}
	for _, verb := range machine.Verbs() {
		r := newRig(t, fed, noon)
		r.boot()
		rows := len(r.rows)
		a := r.ask(verb, machine.Request{Ref: "*", All: true, Kind: "other", What: "feed"})
		refused := a.Code == safety.BadPayload && !a.OK && a.Ref == "*" && strings.Contains(a.Text, "reference of its own")
		if refused == allowed[verb] || a == (machine.Answered{}) {
			t.Errorf("%s with an open reference: %+v; allowed %v", verb, a, allowed[verb])
		}
		if !allowed[verb] && len(r.rows) != rows {
			t.Errorf("%s with an open reference wrote %d rows", verb, len(r.rows)-rows)
		}
	}
}

// A switch has one topic: it ends a hold as one of no length, and ends no other.
func TestHoldOfNoLengthReleases(t *testing.T) {
	r := newRig(t, previews, noon)
	r.boot()
	if a := r.ask(machine.VerbHold, machine.Request{Channel: "alk", Minutes: ref(0.0)}); a.Code != safety.NothingToDo {
		t.Errorf("ending a hold that does not stand: %s %s", a.Code, a.Text)
	}
	r.must(machine.VerbHold, machine.Request{Channel: "alk", Minutes: ref(30.0)})
	r.must(machine.VerbHold, machine.Request{System: r.site.Systems[0].ID})
	v := r.view()
	if until := r.channel("alk").HoldUntil; until == nil || !until.Equal(v.At.Add(30*time.Minute)) {
		t.Errorf("the channel is held until %v; want 30 min from %v", until, v.At)
	}
	if v.Systems[0].HoldUntil == nil || v.HoldUntil != nil || r.channel("mg").HoldUntil != nil {
		t.Errorf("holds: system %v, everything %v, mg %v; want one of the system", v.Systems[0].HoldUntil, v.HoldUntil, r.channel("mg").HoldUntil)
	}
	r.must(machine.VerbHold, machine.Request{Channel: "alk", Minutes: ref(0.0)})
	if r.channel("alk").HoldUntil != nil || r.view().Systems[0].HoldUntil == nil {
		t.Error("the hold of the channel must have ended, that of the system not")
	}
	r.advance(safety.HoldDefault + time.Minute)
	if until := r.view().Systems[0].HoldUntil; until != nil {
		t.Errorf("the hold of the system still shows its end %v", until)
	}
}

func TestAcknowledgeAll(t *testing.T) {
	r := newRig(t, previews, noon)
	r.boot()
	r.commission()
	if a := r.ask(machine.VerbAcknowledge, machine.Request{All: true, Alert: "clock"}); a.Code != safety.BadPayload {
		t.Errorf("both a name and all: %s %s", a.Code, a.Text)
	}
	r.foreignRun() // critical
	r.must(machine.VerbOutOfService, machine.Request{Channel: "mg", Reason: "pump head"})
	r.must(machine.VerbAcknowledge, machine.Request{All: true})
	levels := map[string]int{}
	for _, a := range r.view().Alerts {
		levels[a.Level]++
		if !a.Acknowledged || (a.SilentUntil != nil) != (a.Level == machine.Critical) {
			t.Errorf("%s (%s): acknowledged %v, silent until %v; only a critical one is told again", a.Name, a.Level, a.Acknowledged, a.SilentUntil)
		}
	}
	if levels[machine.Critical] == 0 || len(levels) < 2 {
		t.Fatalf("alerts by level: %v; the test wants a critical one and another", levels)
	}
	if a := r.ask(machine.VerbAcknowledge, machine.Request{All: true}); a.Code != safety.NothingToDo {
		t.Errorf("a second time: %s %s", a.Code, a.Text)
	}
	r.advance(2*time.Hour + time.Minute)
	for _, a := range r.view().Alerts {
		if a.Acknowledged != (a.Level != machine.Critical) {
			t.Errorf("after 2 h %s (%s) is acknowledged: %v", a.Name, a.Level, a.Acknowledged)
		}
	}
	r.check.refolds(r)
}

// What was given today begins anew at local midnight; what was run into a vessel is no part of it.
func TestGivenToday(t *testing.T) {
	r := newRig(t, previews, noon)
	r.boot()
	r.commission()
	if got := r.channel("alk").TodayML; got != 0 {
		t.Errorf("primed and calibrated into a vessel: %g mL given today; want 0", got)
	}
	r.advance(30 * time.Minute)
	first := r.channel("alk").TodayML
	r.must(machine.VerbRun, machine.Request{Channel: "alk", VolumeML: ref(2.0)})
	r.advance(time.Minute)
	before := r.channel("alk")
	if more := before.TodayML - first; !(more > 1.9 && more < 2.1) {
		t.Errorf("after 2 mL: %g mL more given today", more)
	}
	zone := r.site.Zone
	now := r.trueTime().In(zone)
	r.must(machine.VerbHold, machine.Request{All: true, Minutes: ref(1440.0), Confirm: true})
	r.until(time.Date(now.Year(), now.Month(), now.Day(), 23, 59, 0, 0, zone))
	late := r.channel("alk").TodayML
	r.advance(2 * time.Minute)
	if got := r.channel("alk").TodayML; late < before.TodayML || got != 0 {
		t.Errorf("a minute before midnight %g mL, a minute after it %g; want at least %g and 0", late, got, before.TodayML)
	}
}

// A channel is locked out exactly while something stands that only a person can end.
func TestLockedOutShows(t *testing.T) {
	r := newRig(t, previews, noon)
	r.boot()
	if !r.channel("alk").LockedOut {
		t.Error("a channel that was never calibrated is not shown as locked out")
	}
	r.commission()
	r.advance(30 * time.Minute)
	if v := r.channel("alk"); v.LockedOut {
		t.Errorf("commissioned and shown as locked out: %v", v.Withheld)
	}
	r.must(machine.VerbHold, machine.Request{Channel: "alk"})
	if v := r.channel("alk"); v.LockedOut {
		t.Errorf("a hold ends by itself, and is shown as a lockout: %v", v.Withheld)
	}
	r.must(machine.VerbOutOfService, machine.Request{Channel: "alk", Reason: "pump head"})
	if !r.channel("alk").LockedOut {
		t.Error("out of service is not shown as locked out")
	}
}
