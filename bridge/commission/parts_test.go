package commission_test

import (
	"strings"
	"testing"

	"aliquot/bridge/commission"
	"aliquot/bridge/machine"
	"aliquot/planner/metering"
)

func TestHeightsAreChecked(t *testing.T) {
	known := placed[:6]
	for _, c := range []struct {
		name   string
		change func(*commission.Setup)
		top    string // typed where it is asked for
		sent   bool
		says   string
	}{
		{"below", nil, "", true, "20 cm below the outlet"},
		{"at the outlet, asked", func(u *commission.Setup) { u.TopToOutletMM = nil }, "0 cm", false, "empties itself into the tank"},
		{"just below, asked", func(u *commission.Setup) { u.TopToOutletMM = nil }, "1 mm", true, "0.1 cm below the outlet"},
		{"above, asked", func(u *commission.Setup) { u.TopToOutletMM = nil }, "-5 cm", false, "A check valve is none"},
		{"above with a break, asked", func(u *commission.Setup) { u.TopToOutletMM, u.SiphonBreak = nil, true }, "-5 cm", true, "5 cm ABOVE the outlet"},
		{"above, declared", func(u *commission.Setup) { u.TopToOutletMM = ref(50.0) }, "", false, "nothing breaks the siphon"},
		{"lift at the warning", func(u *commission.Setup) { u.LiftMM = 1500 }, "", true, "lifts 1.5 m"},
		{"lift above it", func(u *commission.Setup) { u.LiftMM = 1501 }, "", true, "That is much"},
		{"lift at the limit", func(u *commission.Setup) { u.LiftMM = 1800 }, "", true, "That is much"},
		{"lift beyond", func(u *commission.Setup) { u.LiftMM = 1801 }, "", false, "Move the container"},
	} {
		u := setup()
		if c.change != nil {
			c.change(&u)
		}
		s := newService(t, u)
		k := begin(s, "Ada", nil).all(known...)
		if c.top != "" {
			if !k.asks("How far is the highest level") {
				t.Errorf("%s: asks %q", c.name, k.out.Prompt)
			}
			k.types(c.top)
		}
		k.types("y")
		if (len(s.sent) == 1) != c.sent || !k.shows(c.says) {
			t.Errorf("%s: %d requests, and asks %q after %q", c.name, len(s.sent), k.out.Prompt, k.said)
		}
	}
}

func TestNoToThePlacement(t *testing.T) {
	s := newService(t, setup())
	k := begin(s, "Ada", nil).all("y", "n")
	if !k.asks("(2/7)") || !k.shows("Push it on") {
		t.Errorf("a slipped tube leads to %q", k.out.Prompt)
	}
	k.all("y", "n")
	if !k.asks("(4/7)") || !k.shows("Noted. It keeps the line full") {
		t.Errorf("a missing valve leads to %q", k.out.Prompt)
	}
	k.all("y", "y", "y", "n")
	if !k.asks("(7/7)") {
		t.Errorf("wrong heights lead to %q", k.out.Prompt)
	}
	k.types("y")
	if text, _ := s.sent[0].Fields["text"].(string); !strings.Contains(text, "check valve: no; water break: yes") || len(text) > 500 {
		t.Errorf("recorded is %q", text)
	}
	u := setup()
	u.UnderWater = true
	if k := begin(newService(t, u), "Ada", nil); !k.asks("(1/6)") {
		t.Errorf("an outlet under water is asked %q", k.out.Prompt)
	}
}

func TestPrimingIsBounded(t *testing.T) {
	s := newService(t, setup())
	k := begin(s, "", nil).all(whole()[:12]...)
	if k.types("61 mL"); !k.shows("at most 60 mL") || !k.asks("Enter pumps 17.9 mL") {
		t.Errorf("too much at once leads to %q", k.out.Prompt)
	}
	pushes := 0
	for ; !k.asks("Found the cause?") && pushes < 20; pushes++ {
		k.all("", "n")
	}
	if pushes != 4 { // 18 mL each are four times what fills the line
		t.Errorf("%d pushes without liquid before it asks for the cause", pushes)
	}
	sent := len(s.sent)
	if k.types(""); len(s.sent) != sent {
		t.Error("Enter pumps on")
	}
	if k.types("again"); len(s.sent) != sent+1 || !k.asks("Liquid") {
		t.Errorf("again leads to %q", k.out.Prompt)
	}
	if k.types("b"); !k.shows("Bubbles measure as liquid") || !k.asks("Enter pushes 3.6 mL more") {
		t.Errorf("bubbles lead to %q", k.out.Prompt)
	}
}

func TestDirection(t *testing.T) {
	k := begin(newService(t, setup()), "", nil).all(whole()[:10]...)
	if k.types("n"); !k.shows("Pull the pump's plug NOW") || !k.asks("stand still") {
		t.Errorf("a pump that goes on leads to %q", k.out.Prompt)
	}
	if k.all("y", "n"); !k.shows("Change the two tubes over") || !k.asks("Enter runs the pump") {
		t.Errorf("the wrong way leads to %q", k.out.Prompt)
	}
	if k.all("", "y", "s"); !k.asks("Enter pumps") {
		t.Errorf("not seen leads to %q", k.out.Prompt)
	}
}

func TestPatternsOfTrials(t *testing.T) {
	for _, c := range []struct {
		name string
		ml   []string
		says string
		not  string
	}{
		{"good", []string{"9.8", "9.9", "9.8"}, "CV 0.6 %", "redo it"},
		{"nominal 10 mL gives 9.8 mL", []string{"9.8", "9.8", "9.8"}, "systematic error -2.0 % against the nominal rate (60 mL/min)", "scatter"},
		{"rising", []string{"9.5", "9.7", "9.9"}, "the line was not full yet", "fewer"},
		{"falling", []string{"9.9", "9.7", "9.5"}, "it draws air", "fewer"},
		{"rising within good", []string{"9.8", "9.85", "9.9"}, "CV 0.5 %", "not full yet"},
		{"one odd", []string{"9.8", "10.9", "9.8"}, "Trial 2 does not fit the others: redo it (r 2)", "slipping rotor"},
		{"scatter", []string{"9.8", "10.5", "9.2"}, "slipping rotor", "does not fit"},
	} {
		k := begin(newService(t, setup()), "", nil).all(whole()[:15]...)
		for i, ml := range c.ml {
			if i > 0 {
				k.types("")
			}
			k.all("10s", ml)
		}
		if !k.shows(c.says) || k.shows(c.not) {
			t.Errorf("%s: %q", c.name, k.said[len(k.said)-8:])
		}
	}
}

func TestRedoATrial(t *testing.T) {
	s := newService(t, setup())
	k := begin(s, "", nil).all(whole()[:15]...)
	k.all("10s", "9.8", "", "", "4.9", "", "", "9.8", "r 2")
	if !k.asks("Trial 2.") {
		t.Fatalf("r 2 asks %q", k.out.Prompt)
	}
	k.all("", "x")
	if !k.asks("Trial 2.") {
		t.Errorf("a redone trial that does not count leads to %q", k.out.Prompt)
	}
	k.all("", "9.9", "m", "", "9.8", "")
	list, _ := s.sent[len(s.sent)-1].Fields["trials"].([]map[string]any)
	if len(list) != 4 || list[1]["measured_ml"] != 9.9 || list[3]["seconds"] != 10.0 {
		t.Errorf("entered are %v", list)
	}
}

func TestScale(t *testing.T) {
	for _, c := range []struct{ liquid, field string }{{"21degC", "water_celsius"}, {"1.05kg/L", "density_kg_per_l"}} {
		s := newService(t, setup())
		k := begin(s, "", nil).all(whole()[:14]...)
		k.all("s", "9 kg/L")
		if !k.asks("What is weighed") {
			t.Errorf("a solution heavier than any leads to %q", k.out.Prompt)
		}
		k.all(c.liquid, "", "10.2 g", "", "", "10.2", "", "", "10.3", "")
		last := s.sent[len(s.sent)-1].Fields
		list, _ := last["trials"].([]map[string]any)
		if last[c.field] == nil || len(list) != 3 || list[0]["measured_g"] != 10.2 {
			t.Errorf("%s: entered is %v", c.liquid, last)
		}
	}
	// What was weighed in an earlier session, and not of what: it is asked for before anything is entered.
	s := newService(t, setup())
	begin(s, "", nil).all(whole()[:14]...)
	k := begin(s, "Ada", []metering.Reading{{Seconds: 10, MeasuredG: 10}, {Seconds: 10, MeasuredG: 10}, {Seconds: 10, MeasuredG: 10}})
	if k.types(""); !k.asks("What is weighed") {
		t.Errorf("grams of nothing lead to %q", k.out.Prompt)
	}
	if k.types("21degC"); !k.asks("Enter: use these") || !strings.Contains(strings.Join(k.now.Left(), ""), "--water 21degC") {
		t.Errorf("asks %q", k.out.Prompt)
	}
}

func TestLengthOfATrial(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*commission.Setup)
		want   string
	}{
		{"10 mL at 60 mL/min", nil, "Enter runs 10 s"},
		{"no rate known", func(u *commission.Setup) { u.NominalMLPerMin = 0 }, "Enter runs 20 s"},
		{"a slow pump", func(u *commission.Setup) { u.NominalMLPerMin = 2 }, "Enter runs 120 s"},
		{"a fast pump", func(u *commission.Setup) { u.NominalMLPerMin = 600 }, "Enter runs 2 s"},
		{"a small vessel", func(u *commission.Setup) { u.AttendedML = 12 }, "Enter runs 5 s"},
	} {
		u := setup()
		if c.change != nil {
			c.change(&u)
		}
		k := begin(newService(t, u), "", nil).all(whole()[:15]...)
		if !k.asks(c.want) {
			t.Errorf("%s: asks %q", c.name, k.out.Prompt)
		}
	}
}

func TestTestRun(t *testing.T) {
	for _, c := range []struct {
		ml, says, asks string
	}{
		{"0.9", "0.9 mL of 1 mL (-10.0 %): good", "Do you agree"}, // 5 %, and what a cylinder can be read to
		{"0.89", "the line drains between runs", "Enter: once more"},
		{"1.1", "good", "Do you agree"},
		{"1.11", "liquid runs on after the stop", "Enter: once more"},
		{"", "Not measured", "Do you agree"},
		{"0", "the line drains", "Enter: once more"},
	} {
		k := begin(newService(t, setup()), "", nil).all(whole()[:25]...)
		if k.types(c.ml); !k.shows(c.says) || !k.asks(c.asks) {
			t.Errorf("%q: asks %q after %q", c.ml, k.out.Prompt, k.said[len(k.said)-8:])
		}
	}
	off := func() *talk { return begin(newService(t, setup()), "", nil).all(whole()[:25]...).types("0.5") }
	for word, asks := range map[string]string{"": "Enter gives 1 mL", "k": "Do you agree", "c": "Cylinder or scale?"} {
		if k := off().types(word); !k.asks(asks) {
			t.Errorf("%q after a bad test run asks %q", word, k.out.Prompt)
		}
	}
}

func TestWorkingSize(t *testing.T) {
	for _, c := range []struct {
		name string
		ch   func(*machine.ChannelView)
		asks string
		says string
	}{
		{"by the next run", func(v *machine.ChannelView) { v.Next = &machine.PlannedRun{At: midnight, VolumeML: 2.5} }, "Enter gives 2.5 mL", "at 00:00 (1 March)"},
		{"by the plan", func(v *machine.ChannelView) { v.PlannedMLPerDay = 6 }, "Enter gives 3 mL", "One run of 3 mL"},
		{"no less than the smallest", func(v *machine.ChannelView) { v.PlannedMLPerDay = 0.1 }, "Enter gives 1 mL", "One run of 1 mL"},
		{"no more than the largest", func(v *machine.ChannelView) { v.PlannedMLPerDay = 60 }, "Enter gives 4 mL", "One run of 4 mL"},
	} {
		s := newService(t, setup())
		begin(s, "", nil).all(whole()[:24]...)
		c.ch(&s.f.Channel)
		if k := begin(s, "Ada", nil); !k.asks(c.asks) || !k.shows(c.says) {
			t.Errorf("%s: asks %q after %q", c.name, k.out.Prompt, k.said)
		}
	}
}

func TestTheDay(t *testing.T) {
	s := newService(t, setup())
	begin(s, "", nil).all(whole()[:26]...)
	s.f.Channel.PlannedMLPerDay = 3
	s.f.Channel.Withheld = []machine.BlockView{{Code: "no_test", Text: "enter a test"}}
	k := begin(s, "Ada", nil)
	text := strings.Join(k.said, "\n")
	want := `7 of 7  The day, and your word for it
-------------------------------------
  Monday 1 March (UTC)
  Each sign is half an hour; a figure is how many runs it may have.
    0     3     6     9     12    15    18    21    24
    ..................1........................1....|
  2 slots today; planned are 3 mL a day; in any 24 h at most 40 mL (per_day),
  in one run at most 4 mL (per_run).
  It waits: enter a test (no_test).

  The largest effect in a day, if everything that per_day allows were given:
    alkalinity   +0.317 dKH a day  (max_dose 2, max_rise 0.6)
    pH           -0.02 pH a day
  By hand:
    aliquot ask accept what=commissioned channel=alk text='what you agree to'`
	if !strings.Contains(text, want) {
		t.Errorf("the day reads\n%s\nwant\n%s", text, want)
	}
	sent := len(s.sent)
	if k.types("y"); len(s.sent) != sent || !k.asks("Do you agree") {
		t.Error("a mere y agrees")
	}
}
