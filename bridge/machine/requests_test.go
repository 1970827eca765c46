package machine_test

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// Whatever is wrong with a request is said in one of the closed list's words, names what was wrong, and changes nothing
// but that it was answered.
func TestRequestsRefused(t *testing.T) {
	r := newRig(t, previews, noon)
	r.boot()
	r.commission()
	minutes := func(m float64) *float64 { return &m }
	for _, c := range []struct {
		name string
		verb machine.Verb
		q    machine.Request
		code safety.Code
		text string
	}{
		{"no such verb", "sing", machine.Request{}, safety.UnknownVerb, "there are: test"},
		{"no unit", machine.VerbTest, machine.Request{Quantity: "alkalinity", Value: ref(8.1)}, safety.MissingUnit, "no unit"},
		{"a unit of something else", machine.VerbTest, machine.Request{Quantity: "alkalinity", Value: ref(8.1), Unit: "degC"}, safety.WrongUnit, "degC"},
		{"no such quantity", machine.VerbTest, machine.Request{Quantity: "kalium", Value: ref(8.1), Unit: "mg/L"}, safety.UnknownName, `"kalium"`},
		{"no such system", machine.VerbTest, machine.Request{System: "pond", Quantity: "alkalinity", Value: ref(8.1), Unit: "dKH"}, safety.UnknownName, `"pond"`},
		{"a test of nothing known", machine.VerbTest, machine.Request{Quantity: "alkalinity", Value: ref(8.1), Unit: "dKH", Of: "soup"}, safety.BadPayload, `"soup"`},
		{"a test from tomorrow", machine.VerbTest, machine.Request{Quantity: "alkalinity", Value: ref(8.1), Unit: "dKH", At: ref(noon.Add(48 * time.Hour))}, safety.InTheFuture, "only"},
		{"no water", machine.VerbWaterChange, machine.Request{}, safety.OutOfRange, "volume_l"},
		{"more water than there is", machine.VerbWaterChange, machine.Request{VolumeL: ref(680.1)}, safety.OutOfRange, "680 L"},
		{"a mix of nothing known", machine.VerbWaterChange, machine.Request{VolumeL: ref(30.0), Mix: map[string]machine.Measure{"soup": {Value: 1, Unit: "mg/L"}}}, safety.UnknownName, `"soup"`},
		{"a mix out of range", machine.VerbWaterChange, machine.Request{VolumeL: ref(30.0), Mix: map[string]machine.Measure{"alkalinity": {Value: 143, Unit: "dKH"}}}, safety.OutOfRange, "mix.alkalinity"},
		{"no such channel", machine.VerbPrime, machine.Request{Channel: "gone"}, safety.UnknownName, `"gone"`},
		{"no channel", machine.VerbPrime, machine.Request{}, safety.UnknownName, "which channel"},
		{"into the bath", machine.VerbPrime, machine.Request{Channel: "alk", Into: "bath"}, safety.BadPayload, `"bath"`},
		{"for no time", machine.VerbPrime, machine.Request{Channel: "alk", Into: "vessel", Seconds: ref(0.0)}, safety.OutOfRange, "above 0"},
		{"for longer than any run", machine.VerbPrime, machine.Request{Channel: "alk", Into: "vessel", Seconds: ref(600.1)}, safety.OutOfRange, "600"},
		{"how much?", machine.VerbRun, machine.Request{Channel: "alk"}, safety.BadPayload, "volume_ml or seconds"},
		{"a negative volume", machine.VerbRun, machine.Request{Channel: "alk", VolumeML: ref(-1.0)}, safety.OutOfRange, "volume_ml"},
		{"primed into the tank is a dose", machine.VerbPrime, machine.Request{Channel: "alk", Into: "tank", VolumeML: ref(20.0)}, safety.RunCap, "into a vessel"},
		{"a proof into the tank", machine.VerbProve, machine.Request{Channel: "mg", Into: "tank"}, safety.BadPayload, "vessel"},
		{"a proof of a board", machine.VerbProve, machine.Request{Channel: "alk", Into: "vessel"}, safety.NothingToDo, "times its own runs"},
		{"no trials that fit", machine.VerbCalibrate, machine.Request{Channel: "alk", Trials: []machine.Trial{{Seconds: 30, MeasuredML: 0}}}, safety.OutOfRange, "trial 1"},
		{"a refill of nothing", machine.VerbRefill, machine.Request{Container: "carbonate-jug"}, safety.BadPayload, "remaining_ml"},
		{"more than fits", machine.VerbRefill, machine.Request{Container: "carbonate-jug", RemainingML: ref(5000.1)}, safety.OutOfRange, "5000 mL"},
		{"a swap of unknown size", machine.VerbSwap, machine.Request{Container: "carbonate-jug"}, safety.BadPayload, "full"},
		{"a swap for nothing known", machine.VerbSwap, machine.Request{Container: "carbonate-jug", Supplement: "brine", Full: true}, safety.UnknownName, `"brine"`},
		{"a hold on two things", machine.VerbHold, machine.Request{Channel: "alk", All: true}, safety.BadPayload, "one of"},
		{"a hold on nothing", machine.VerbHold, machine.Request{}, safety.BadPayload, "one of"},
		{"a hold of less than no time", machine.VerbHold, machine.Request{All: true, Minutes: minutes(-1)}, safety.OutOfRange, "above 0"},
		{"a hold that is over", machine.VerbHold, machine.Request{All: true, Until: ref(noon.Add(-time.Hour))}, safety.InThePast, "past"},
		{"a long hold", machine.VerbHold, machine.Request{All: true, Minutes: minutes(240.1)}, safety.NeedsConfirm, "confirm"},
		{"a hold for ever", machine.VerbHold, machine.Request{All: true, Minutes: minutes(1440.1), Confirm: true}, safety.OutOfRange, "out of service"},
		{"nothing to release", machine.VerbRelease, machine.Request{All: true}, safety.NothingToDo, "no hold"},
		{"out of service for no reason", machine.VerbOutOfService, machine.Request{All: true}, safety.BadPayload, "reason"},
		{"nothing to clear", machine.VerbClear, machine.Request{Channel: "alk", Code: "not_primed"}, safety.NothingToDo, "prime the line"},
		{"no such interlock", machine.VerbClear, machine.Request{What: "puddle"}, safety.UnknownName, `"puddle"`},
		{"nothing to accept", machine.VerbAccept, machine.Request{What: "ledger"}, safety.NothingToDo, "not in doubt"},
		{"no such thing to accept", machine.VerbAccept, machine.Request{What: "fate"}, safety.UnknownName, `"fate"`},
		{"no such alert", machine.VerbAcknowledge, machine.Request{Alert: "flood"}, safety.UnknownName, `"flood"`},
		{"a clock that is believed", machine.VerbClock, machine.Request{}, safety.NothingToDo, "believed already"},
		{"no such kind of note", machine.VerbNote, machine.Request{Kind: "weather"}, safety.UnknownName, `"weather"`},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows, before := len(r.rows), machine.Durable(&r.state)
			a := r.ask(c.verb, c.q)
			if a.Code != c.code || !strings.Contains(a.Text, c.text) || a.OK != (c.code == safety.NothingToDo) {
				t.Errorf("answer %v %s %q; want %s with %q", a.OK, a.Code, a.Text, c.code, c.text)
			}
			if _, answered := r.rows[len(r.rows)-1].Body.(machine.Answered); len(r.rows) != rows+1 || !answered {
				t.Errorf("%d rows were written, the last a %s; want the answer only", len(r.rows)-rows, r.rows[len(r.rows)-1].Body.Kind())
			}
			after := machine.Durable(&r.state)
			if _, rest, _ := strings.Cut(before, "\n"); !strings.HasSuffix(after, rest) { // the first line counts rows
				t.Errorf("the state changed:\n%s", firstDifference(before, after))
			}
		})
	}
}

// A hold is counted from the moment of its row on the true axis: a restart or a clock that steps does not end it.
func TestH42_HoldsLastTheirTime(t *testing.T) {
	for _, c := range []struct {
		name string
		do   func(r *rig)
	}{
		{"nothing happens", func(*rig) {}},
		{"a restart", func(r *rig) { r.crash(); r.advance(10 * time.Minute); r.boot() }},
		{"the clock jumps ahead", func(r *rig) {
			r.offset, r.synced = 5*time.Hour, false
			r.advance(10 * time.Minute)
			r.offset, r.synced = 0, true
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, previews, noon)
			r.boot()
			r.commission()
			begun := r.now
			r.must(machine.VerbHold, machine.Request{Channel: "alk", Minutes: ref(60.0), Reason: "cleaning"})
			c.do(r)
			for _, at := range []struct {
				minutes int
				held    bool
			}{{45, true}, {59, true}, {61, false}} {
				r.advance(begun + time.Duration(at.minutes)*time.Minute - r.now)
				held := false
				for _, b := range r.channel("alk").Withheld {
					held = held || b.Code == safety.OnHold
				}
				if held != at.held {
					t.Errorf("held after %d min: %v; want %v", at.minutes, held, at.held)
				}
			}
		})
	}
}

// After a ledger failure nothing is sent, whoever asks; stop works (INV-11, INV-4).
func TestH39_INV11_NothingButStopsAfterALedgerFailure(t *testing.T) {
	r := newRig(t, previews, noon)
	r.boot()
	r.commission()
	r.appendFails = true
	sent := r.check.sends["mg"]
	stops := 0
	r.told = func(_ time.Time, e machine.Effect) {
		if _, ok := e.(machine.StopRuns); ok {
			stops++
		}
	}
	if a := r.ask(machine.VerbRun, machine.Request{Channel: "mg", VolumeML: ref(1.0)}); a.Ref != "" {
		t.Errorf("a run that could not be recorded was answered: %+v", a)
	}
	if r.check.sends["mg"] != sent || stops == 0 {
		t.Errorf("%d runs were sent and %d stops; want none and some", r.check.sends["mg"]-sent, stops)
	}
	stops = 0
	if a := r.ask(machine.VerbStop, machine.Request{Channel: "alk"}); !a.OK || stops != 1 {
		t.Errorf("stop answers %+v with %d stops; want ok and one", a, stops)
	}
	if a := r.ask(machine.VerbHold, machine.Request{All: true}); a.OK || a.Code != safety.LedgerFault {
		t.Errorf("hold answers %+v; want %s", a, safety.LedgerFault)
	}
	r.appendFails = false
	before := len(r.rows)
	r.advance(3 * time.Hour)
	if len(r.rows) != before {
		t.Errorf("%d rows were written after a failure; want none in this process", len(r.rows)-before)
	}
}

// Somebody who asks for a stop wants the pumps to stop, also with a reference that was used before: a button on a
// dashboard may say the same message every time. The answer is the first one, and nothing is written.
func TestINV11_H43_ARepeatedStopStopsAgain(t *testing.T) {
	r := newRig(t, lagoon(time.UTC), noon)
	r.boot()
	r.commission()
	stops := 0
	r.told = func(_ time.Time, e machine.Effect) {
		if s, ok := e.(machine.StopRuns); ok && s.Run == "*" {
			stops++
		}
	}
	ask := func(ref string) machine.Answered {
		stops = 0
		return r.ask(machine.VerbStop, machine.Request{Ref: ref, All: true})
	}
	first := ask("button")
	if all := len(r.site.Channels); !first.OK || stops != all {
		t.Fatalf("the first stop answers %+v with %d stops; want ok and %d", first, stops, all)
	}
	rows, all := len(r.rows), stops
	if again := ask("button"); again != first || stops != all || len(r.rows) != rows {
		t.Errorf("the second answers %+v with %d stops and %d rows; want the first answer, %d stops and no row", again, stops, len(r.rows)-rows, all)
	}
	r.ask(machine.VerbNote, machine.Request{Ref: "taken", Kind: "other"})
	if ask("taken"); stops != all {
		t.Errorf("a stop with the reference of another request makes %d stops; want %d", stops, all)
	}
}

// A relay with a time of its own cannot run for longer: a run that is asked for ends with it, and is not given up.
func TestAskedRunEndsWithTheRelay(t *testing.T) {
	for _, c := range []struct {
		name    string
		seconds float64
		want    float64
	}{{"below its time", 59, 59}, {"at its time", 60, 60}, {"above its time", 90, 60}} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, lagoon(time.UTC), noon)
			r.boot()
			r.commission()
			r.advance(30 * time.Minute)
			a := r.must(machine.VerbPrime, machine.Request{Channel: "mg", Into: "vessel", Seconds: &c.seconds})
			var started machine.RunResult
			if err := json.Unmarshal([]byte(a.Result), &started); err != nil || started.Seconds != c.want {
				t.Fatalf("prime for %g s of a relay that goes off after 60 s = %s, %v; want %g s", c.seconds, a.Result, err, c.want)
			}
			r.advance(2 * time.Minute)
			if v := r.channel("mg"); v.LastOutcome != string(machine.Finished) || v.Running {
				t.Fatalf("the run ended %q (running %v); want finished", v.LastOutcome, v.Running)
			}
		})
	}
}
