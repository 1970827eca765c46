package commission_test

import (
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/commission"
	"aliquot/bridge/machine"
	"aliquot/safety"
)

// What is sent at each step, to the field.
func TestRequestsToTheField(t *testing.T) {
	answers := whole()
	for _, c := range []struct {
		name string
		u    commission.Setup
		n    int // answers before
		then string
		verb machine.Verb
		want map[string]any
	}{
		{"contents, full", setup(), 8, "full", machine.VerbRefill, map[string]any{"container": "jug", "full": true}},
		{"contents, volume", setup(), 8, "1.8 L", machine.VerbRefill, map[string]any{"container": "jug", "remaining_ml": 1800.0}},
		{"direction of a board", setup(), 9, "", machine.VerbPrime, map[string]any{"channel": "alk", "into": "vessel", "seconds": 3.0}},
		{"proof of a relay", plug(), 9, "", machine.VerbProve, map[string]any{"channel": "alk", "into": "vessel"}},
		{"priming", setup(), 12, "", machine.VerbPrime, map[string]any{"channel": "alk", "into": "vessel"}},
		{"priming, so much", setup(), 12, "5 mL", machine.VerbPrime, map[string]any{"channel": "alk", "into": "vessel", "volume_ml": 5.0}},
		{"priming, all that may be", setup(), 12, "60", machine.VerbPrime, map[string]any{"channel": "alk", "into": "vessel", "volume_ml": 60.0}},
		{"liquid", setup(), 13, "y", machine.VerbPrimed, map[string]any{"channel": "alk"}},
		{"trial", setup(), 15, "", machine.VerbCalibrate, map[string]any{"channel": "alk", "into": "vessel", "seconds": 10.0}},
		{"trial, so long", setup(), 15, "1.5 min", machine.VerbCalibrate, map[string]any{"channel": "alk", "into": "vessel", "seconds": 90.0}},
		{"trial, plain seconds", setup(), 15, "20", machine.VerbCalibrate, map[string]any{"channel": "alk", "into": "vessel", "seconds": 20.0}},
		{"test run", setup(), 24, "", machine.VerbRun, map[string]any{"channel": "alk", "kind": "test", "volume_ml": 1.0, "into": "vessel"}},
	} {
		s := newService(t, c.u)
		k := begin(s, "", nil).all(answers[:c.n]...)
		_, out := k.now.Typed(c.then, s.facts())
		c.want["by"] = "Ada"
		if out.Wants != commission.Answer || out.Send.Verb != c.verb || !reflect.DeepEqual(out.Send.Fields, c.want) {
			t.Errorf("%s: %q sends %s %v; want %s %v", c.name, c.then, out.Send.Verb, out.Send.Fields, c.verb, c.want)
		}
	}
}

// A relay that carries its time has it shown too, though no gate asks for it.
func TestTimedRelayIsWatched(t *testing.T) {
	u := setup()
	u.Style, u.Node = machine.Switch, "timed"
	s := newService(t, u)
	begin(s, "", nil).all(whole()...)
	if s.sent[2].Verb != machine.VerbProve || s.f.Channel.Commissioned == nil {
		t.Errorf("sent %s for the direction", s.sent[2].Verb)
	}
}

func TestContents(t *testing.T) {
	for _, c := range []struct{ typed, says string }{
		{"50 mL", "more than 50 mL"}, {"50.1 mL", ""}, {"5 L", ""}, {"5001 mL", "more than 5000 mL"}, {"2", "volume with its unit"},
		{"2 kg", "volume with its unit"}, {"-1 L", "volume with its unit"}, {"", "volume with its unit"},
	} {
		s := newService(t, setup())
		k := begin(s, "", nil).all(whole()[:8]...)
		k.types(c.typed)
		if sent := len(s.sent) == 2; sent != (c.says == "") || !k.shows(c.says) {
			t.Errorf("%q: %d requests, asks %q", c.typed, len(s.sent), k.out.Prompt)
		}
	}
}

// A container that ran down to its stop in the middle of a calibration leaves air in the line, whatever was seen before.
func TestAnEmptiedContainerAsksForPriming(t *testing.T) {
	for _, lag := range []bool{false, true} {
		s := newService(t, setup())
		s.lag = lag
		k := begin(s, "", nil).all(whole()[:15]...)
		s.f.Container.RemainingMinML, s.refuse = 50, safety.ContainerEmpty
		s.facts()
		if k.types(""); !k.asks("What does jug hold now?") {
			t.Fatalf("an empty container asks %q", k.out.Prompt)
		}
		if k.types("full"); !k.asks("Enter pumps") {
			t.Errorf("lag %v: after the refill it asks %q", lag, k.out.Prompt)
		}
		k.all("", "y", "c", "10s", "9.8")
	}
}

func TestNames(t *testing.T) {
	for typed, taken := range map[string]bool{"": false, "   ": false, "A": true, " Ada ": true, strings.Repeat("a", 64): true, strings.Repeat("a", 65): false} {
		k := begin(newService(t, setup()), "", nil).types(typed)
		if k.asks("(1/7)") != taken {
			t.Errorf("the name %q leads to %q", typed, k.out.Prompt)
		}
	}
}

// Help may be asked for at any question; it asks the same again, and nothing is sent.
func TestHelpEverywhere(t *testing.T) {
	answers := whole()
	for n := range answers {
		for _, word := range []string{"?", "help", " HELP "} {
			s := newService(t, setup())
			k := begin(s, "", nil).all(answers[:n]...)
			prompt, sent := k.out.Prompt, len(s.sent)
			k.types(word)
			if k.out.Prompt != prompt || len(k.out.Say) == 0 || len(s.sent) != sent {
				t.Errorf("%q after %d answers asks %q; want %q", word, n, k.out.Prompt, prompt)
			}
		}
	}
}

// Each step of a channel that is in use can be done once more, and nothing else has to be.
func TestOnceMore(t *testing.T) {
	for step, answers := range map[commission.Step][]string{
		commission.Placement:   placed,
		commission.Contents:    {"1.5 L"},
		commission.Turning:     {"", "y", "y"},
		commission.Priming:     {"", "y"},
		commission.Calibration: {"c", "10s", "9.8", "", "", "9.8", "", "", "9.8", "", "", "1.0"},
		commission.TestRun:     {"", "1.0"},
		commission.Handover:    {"yes"},
	} {
		s := newService(t, setup())
		begin(s, "", nil).all(whole()...)
		sent := len(s.sent)
		k := begin(s, "Bo", nil, step)
		if k.now.Step() != step {
			t.Errorf("%s once more begins with %s", step, k.now.Step())
		}
		k.all(answers...)
		if k.out.Wants != commission.Nothing || len(s.sent) == sent {
			t.Errorf("%s once more leads to %q", step, k.out.Prompt)
		}
	}
	s := newService(t, setup())
	begin(s, "", nil).all(whole()...)
	if k := begin(s, "Bo", nil); k.out.Wants != commission.Nothing || !k.shows("--again calibration") {
		t.Errorf("a channel with nothing left to do asks %q", k.out.Prompt)
	}
}

// The plan knows nothing of a vessel: who works on a channel in use is told of its next run.
func TestThePlanGoesOnMeanwhile(t *testing.T) {
	for _, step := range []commission.Step{commission.Turning, commission.Priming, commission.Calibration, commission.TestRun} {
		s := newService(t, setup())
		begin(s, "", nil).all(whole()...)
		s.f.Channel.Next = &machine.PlannedRun{At: midnight.Add(12 * time.Hour), VolumeML: 2}
		if k := begin(s, "Bo", nil, step); !k.shows("its next run is at 12:00 (1 March), 2 mL, and goes to wherever the outlet hangs then") {
			t.Errorf("%s says nothing of the next run: %q", step, k.said)
		}
	}
	s := newService(t, setup())
	begin(s, "", nil).all(whole()...)
	if k := begin(s, "Bo", nil, commission.Priming); k.shows("goes to wherever") {
		t.Error("without a planned run one is spoken of")
	}
}

// A provisional calibration is counted on to 15 %, and its test run is judged so.
func TestProvisionalTestRun(t *testing.T) {
	for ml, asks := range map[string]string{"1.2": "Do you agree", "1.21": "Enter: once more", "0.8": "Do you agree", "0.79": "Enter: once more"} {
		s := newService(t, setup())
		k := begin(s, "", nil).all(whole()[:25]...)
		s.f.Channel.Provisional = true
		if k.types(ml); !k.asks(asks) {
			t.Errorf("%s mL of 1 mL asks %q; want %q", ml, k.out.Prompt, asks)
		}
	}
}

// What was pumped before liquid came is counted by the time that it was on.
func TestAPushThatWasStoppedCountsInPart(t *testing.T) {
	for _, c := range []struct {
		after time.Duration
		want  string
	}{{0, "So far 0 mL"}, {9 * time.Second, "So far 9 mL"}, {time.Minute, "So far 18 mL"}, {-time.Second, "So far 0 mL"}} {
		s := newService(t, setup())
		k := begin(s, "", nil).all(whole()[:12]...)
		var out commission.Out
		k.now, _ = k.now.Typed("", s.facts())
		k.now, _ = k.now.Answered(commission.Reply{OK: true, Code: safety.Started, Run: machine.RunResult{Run: "r", Seconds: 18, VolumeML: 18}}, s.facts())
		f := s.facts()
		f.At = f.At.Add(c.after)
		k.now, _ = k.now.Ended(machine.RunEvent{Run: "r", Seconds: 18, VolumeML: 18, Outcome: machine.Partial}, f)
		_, out = k.now.Typed("n", f)
		if got := strings.Join(out.Say, " "); !strings.Contains(got, c.want) {
			t.Errorf("stopped after %s: %q; want %q", c.after, got, c.want)
		}
	}
}

// A refusal leaves the question standing from which it came, and what was typed before is kept.
func TestRefusalsKeepThePlace(t *testing.T) {
	answers := whole()
	k := begin(newService(t, setup()), "", nil)
	for n, answer := range answers {
		prompt := k.out.Prompt
		k.s.refuse = safety.ChannelBusy
		sent := len(k.s.sent)
		k.types(answer)
		if len(k.s.sent) == sent {
			k.s.refuse = ""
			continue
		}
		if k.s.sent[sent].Fields["what"] == machine.Trials {
			if !k.shows("The trial counts, but is lost if this session ends now.") {
				t.Errorf("a trial that is not remembered: %q", k.out.Say)
			}
			continue // it was measured all the same
		}
		if k.out.Prompt != prompt {
			t.Errorf("answer %d refused asks %q; want %q again", n, k.out.Prompt, prompt)
		}
		k.types(answer)
	}
	if k.out.Wants != commission.Nothing || k.s.f.Channel.Commissioned == nil {
		t.Errorf("with each request refused once the session ends at %q", k.out.Prompt)
	}
}

// A session is a value: going on from an earlier one is as if the later had not been.
func TestSessionsAreValues(t *testing.T) {
	answers := whole()
	for n := range answers {
		a := begin(newService(t, setup()), "", nil).all(answers[:n]...)
		f := a.s.facts()
		_, first := a.now.Typed(answers[n], f)
		_, _ = a.now.Typed("y", f)
		_, _ = a.now.Typed("12", f)
		if _, again := a.now.Typed(answers[n], f); !reflect.DeepEqual(first, again) {
			t.Errorf("answer %d leads to %v at first, and to %v later", n, first, again)
		}
	}
}

func TestLeftSaysWhereItStands(t *testing.T) {
	answers := whole()
	for n, want := range map[int]string{
		1:  "Nothing is done yet. Next is placement.",
		8:  "Done and recorded: placement. Next is contents.",
		9:  "Done and recorded: placement, contents. Next is direction.",
		12: "Done and recorded: placement, contents, direction. Next is priming.",
		14: "Done and recorded: placement, contents, direction, priming. Next is calibration. To go on: aliquot commission alk",
		17: "To go on: aliquot commission alk --trial 10s=9.8mL",
		26: "Next is handover. To go on: aliquot commission alk",
		27: "Done and recorded: placement, contents, direction, priming, calibration, test-run, handover.",
	} {
		k := begin(newService(t, setup()), "", nil).all(answers[:n]...)
		if got := strings.Join(strings.Fields(strings.Join(k.now.Left(), " ")), " "); !strings.Contains(got, want) {
			t.Errorf("after %d answers it says %q; want %q", n, got, want)
		}
	}
}

// The text of a record fits into a request, however many quantities a solution moves.
func TestRecordsFit(t *testing.T) {
	u := setup()
	for i := range 40 {
		u.Effects = append(u.Effects, commission.Effect{Quantity: fmt.Sprintf("trace element %d", i), Unit: "mg/L", AtCap: 0.0123})
	}
	s := newService(t, u)
	begin(s, "", nil).all(whole()...)
	text, _ := s.sent[len(s.sent)-1].Fields["text"].(string)
	if n := len([]rune(text)); n != 500 || !strings.HasSuffix(text, "…") {
		t.Errorf("%d characters: %q", n, text)
	}
}
