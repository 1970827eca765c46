package commission_test

import (
	"fmt"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"aliquot/bridge/commission"
	"aliquot/bridge/machine"
	"aliquot/planner/metering"
	"aliquot/safety"
)

var placed = []string{"y", "y", "y", "y", "y", "y", "y"}

// whole is every answer from the name to the agreement.
func whole() []string {
	list := append([]string{"Ada"}, placed...)
	return append(list, "full", "", "y", "y", "", "y", "c", "10s", "9.8", "", "", "9.9", "", "", "9.8", "", "", "0.99", "yes")
}

func TestWholeSession(t *testing.T) {
	for _, u := range []commission.Setup{setup(), plug()} {
		for _, lag := range []bool{false, true} {
			s := newService(t, u)
			s.lag = lag
			c := begin(s, "", nil).all(whole()...)
			if c.out.Wants != commission.Nothing || s.f.Channel.Commissioned == nil || !c.shows("Channel alk is commissioned") {
				t.Errorf("%s, lag %v: asks %q at the end", u.Node, lag, c.out.Prompt)
			}
			want := "accept refill prime prime primed calibrate accept calibrate accept calibrate accept calibrate run accept"
			if u.AutoOff > 0 {
				want = strings.Replace(want, "prime", "prove", 1)
			}
			var verbs []string
			for _, q := range s.sent {
				verbs = append(verbs, string(q.Verb))
				if q.Fields["by"] != "Ada" {
					t.Errorf("%s was sent by %v", q.Verb, q.Fields["by"])
				}
			}
			if got := strings.Join(verbs, " "); got != want {
				t.Errorf("%s: sent %s; want %s", u.Node, got, want)
			}
			last := s.sent[len(s.sent)-1].Fields["text"]
			if want := "planned 0 mL a day in 2 slots, at most 40 mL a day, alkalinity +0.317 dKH, pH -0.02 pH; test run of 1 mL gave 0.99 mL"; last != want {
				t.Errorf("agreed to is %q; want %q", last, want)
			}
			for _, l := range append(c.said, strings.Split(c.out.Prompt, "\n")...) {
				if len([]rune(l)) > 80 {
					t.Errorf("%d columns: %q", len([]rune(l)), l)
				}
			}
		}
	}
}

// Left at any question and taken up again, a session never asks for what is recorded.
func TestLeaveAndComeBack(t *testing.T) {
	answers := whole()
	for leave := range answers {
		s := newService(t, setup())
		c := begin(s, "", nil).all(answers[:leave]...)
		step := c.now.Step()
		c.types("q")
		if c.out.Wants != commission.Nothing || !c.shows(fmt.Sprintf("Next is %s. To go on: aliquot commission alk", step)) {
			t.Fatalf("after %d answers q leaves with %v", leave, c.out)
		}
		again := begin(s, "Bo", nil)
		back := step
		switch {
		case step == commission.Priming:
			back = commission.Turning // who saw it turn is not on record until liquid came
		case leave == len(answers)-2:
			back = commission.Handover // the test run has finished; only its volume was not read
		}
		if got := again.now.Step(); got != back {
			t.Errorf("after %d answers the session was at %s, and comes back at %s", leave, step, got)
		}
		if leave > 0 && leave < 8 && !again.asks("(1/7)") {
			t.Errorf("a placement that was left half way goes on with %q", again.out.Prompt)
		}
	}
}

// What is no answer changes nothing, wherever it is typed.
func TestRubbishChangesNothing(t *testing.T) {
	answers := whole()
	for n := 1; n < len(answers); n++ { // anything may be a name
		for _, rubbish := range []string{"perhaps", "-3", "1e400", "NaN mL", "9,8", "r 99", "\x1b[A", strings.Repeat("y", 300), "∞", "5 kg/h"} {
			s := newService(t, setup())
			c := begin(s, "", nil).all(answers[:n]...)
			f := s.facts()
			before, _ := c.now.Typed("?", f) // takes the same facts
			sent := len(s.sent)
			after, out := c.now.Typed(rubbish, f)
			if !reflect.DeepEqual(before, after) || out.Wants != commission.Line || len(out.Say) == 0 || out.Prompt != c.out.Prompt || len(s.sent) != sent {
				t.Errorf("%q at %q leads to %q, sends %v", rubbish, c.out.Prompt, out.Prompt, out.Send)
			}
		}
	}
}

// The service of the test fails where a request comes before what it rests on, whatever is answered and refused.
func TestNothingIsSkipped(t *testing.T) {
	codes := []safety.Code{safety.ChannelBusy, safety.NodeOffline, safety.NotPrimed, safety.NotCalibrated, safety.NoProof, safety.ContainerEmpty, safety.DayCap, safety.OutOfRange}
	rapid.Check(t, func(t *rapid.T) {
		u := setup()
		if rapid.Bool().Draw(t, "relay") {
			u = plug()
		}
		if rapid.Bool().Draw(t, "height unknown") {
			u.TopToOutletMM = nil
		}
		s := &service{t: t, u: u, lag: rapid.Bool().Draw(t, "lag"), needsWord: rapid.Bool().Draw(t, "second word")}
		s.begin()
		answers := rapid.SampledFrom([]string{"", "y", "y", "y", "n", "b", "s", "c", "k", "m", "r 1", "x", "yes", "full", "20 cm", "-5 cm", "1.8 L", "9.8", "9.9 mL", "10.2 g", "21degC", "1.05kg/L", "again", "10s", "?", "oh", "-1"})
		c := begin(s, "Ada", nil)
		for range 150 {
			if c.out.Wants == commission.Nothing {
				break
			}
			switch rapid.IntRange(0, 19).Draw(t, "luck") {
			case 0:
				s.refuse = rapid.SampledFrom(codes).Draw(t, "refused with")
			case 1:
				s.outcome = rapid.SampledFrom([]machine.Outcome{machine.Partial, machine.Unknown, machine.NotSent, machine.Refused}).Draw(t, "outcome")
			case 2:
				c = begin(s, "Ada", nil) // left, and came back
			case 3:
				if s.f.Container.RemainingMinML > 0 {
					s.f.Container.RemainingMinML = 0
				}
			}
			c.types(answers.Draw(t, "answer"))
		}
		if ch := s.f.Channel; c.out.Wants == commission.Nothing && (ch.Commissioned == nil || !ch.Primed || ch.RateMLPerMin == nil) {
			t.Fatalf("the session is over with %+v", ch)
		}
	})
}

func TestTurnedDown(t *testing.T) {
	before := append([]string{}, whole()[:9]...) // up to the direction
	for _, c := range []struct {
		code safety.Code
		says string
		asks string
	}{
		{safety.NodeOffline, "Look at the node board", "Enter runs the pump"},
		{safety.ClockUntrusted, "aliquot ask clock", "Enter runs the pump"},
		{safety.OnHold, "aliquot release alk", "Enter runs the pump"},
		{safety.Fault, "aliquot ask clear channel=alk code=fault", "Enter runs the pump"},
		{safety.DayCap, "raise attended.per_day", "Enter runs the pump"},
		{safety.ChannelBusy, "passes by itself", "Enter runs the pump"},
		{safety.ContainerEmpty, "(container_empty)", "What does jug hold now?"},
	} {
		s := newService(t, setup())
		k := begin(s, "", nil).all(before...)
		s.refuse = c.code
		if k.types(""); !k.shows(c.says) || !k.asks(c.asks) {
			t.Errorf("%s: asks %q and says %q", c.code, k.out.Prompt, k.said[len(k.said)-6:])
		}
	}
}

func TestRunsThatDoNotEndAsTheyShould(t *testing.T) {
	answers := whole()
	for _, c := range []struct {
		name    string
		n       int // answers before
		outcome machine.Outcome
		asks    string
	}{
		{"direction", 9, machine.Unknown, "Enter runs the pump"},
		{"priming, lost", 12, machine.Unknown, "Enter pumps"},
		{"priming, stopped by Enter", 12, machine.Partial, "Liquid at the outlet?"},
		{"trial", 15, machine.Partial, "Trial 1."},
		{"test run", 24, machine.Partial, "Enter gives 1 mL"},
	} {
		s := newService(t, setup())
		k := begin(s, "", nil).all(answers[:c.n]...)
		s.outcome = c.outcome
		k.types("")
		if !k.asks(c.asks) {
			t.Errorf("%s: %s leads to %q", c.name, c.outcome, k.out.Prompt)
		}
	}
}

func TestStatus(t *testing.T) {
	s := newService(t, setup())
	if got := commission.StatusOf(s.u, s.f); got.Next != "placement" || len(got.Steps) != 7 || got.Steps[0].Done || got.Steps[0].At != nil {
		t.Errorf("at first %+v", got)
	}
	begin(s, "", nil).all(whole()[:14]...)
	got := commission.StatusOf(s.u, s.f)
	if got.Next != "calibration" || got.Steps[0].At == nil || !got.Steps[3].Done || got.Steps[4].Command == "" {
		t.Errorf("after priming %+v", got)
	}
	u := plug()
	f := s.f
	f.Channel.Primed = true
	if got := commission.StatusOf(u, f); got.Steps[commission.Turning].Done {
		t.Error("a relay that has not proven itself counts as looked at")
	}
	for _, one := range commission.Steps() {
		if back, ok := commission.StepNamed(one.String()); !ok || back != one {
			t.Errorf("%s is not found by its name", one)
		}
	}
	if _, ok := commission.StepNamed("finished"); ok || commission.Step(99).String() != "unknown" {
		t.Error("there are more steps than there are")
	}
}

// A channel that is in use is calibrated again, with what an earlier session measured.
func TestCalibrateAgain(t *testing.T) {
	s := newService(t, setup())
	begin(s, "", nil).all(whole()...)
	c := begin(s, "Ada", []metering.Reading{{Seconds: 10, MeasuredML: 9.3}, {Seconds: 10, MeasuredML: 9.2}}, commission.Calibration)
	if !c.asks("Enter: next trial") || !c.shows("systematic error -5.6 % against last time (58.8 mL/min)") {
		t.Fatalf("it asks %q after %q", c.out.Prompt, c.said)
	}
	c.all("", "", "9.3")
	if left := strings.Join(c.now.Left(), " "); !strings.Contains(strings.Join(strings.Fields(left), " "), "--trial 10s=9.3mL --trial 10s=9.2mL --trial 10s=9.3mL") {
		t.Errorf("left with %q", left)
	}
	s.needsWord = true
	c.types("")
	if !c.asks("Is it right as it stands?") {
		t.Fatalf("a large change leads to %q", c.out.Prompt)
	}
	if c.types("n"); !c.asks("Enter: use these") {
		t.Errorf("no leads to %q", c.out.Prompt)
	}
	c.all("", "yes")
	if last := s.sent[len(s.sent)-1]; last.Fields["confirm"] != true || !c.asks("Enter gives 1 mL") {
		t.Errorf("yes sends %v and leads to %q", last.Fields, c.out.Prompt)
	}
}
