package commission

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"aliquot/bridge/machine"
	"aliquot/planner/metering"
	"aliquot/safety"
)

func TestNumbers(t *testing.T) {
	for _, c := range []struct {
		v          float64
		num, three string
	}{
		{0, "0", "0"}, {math.Copysign(0, -1), "0", "0"}, {1, "1", "1"}, {10, "10", "10"}, {100, "100", "100"}, {1500, "1500", "1500"},
		{0.0626, "0.063", "0.0626"}, {9.8, "9.8", "9.8"}, {58.8, "58.8", "58.8"}, {58.849, "58.849", "58.8"}, {-0.02, "-0.02", "-0.02"},
		{0.00012345, "0", "0.000123"}, {123.456, "123.456", "123"},
	} {
		if got := num(c.v); got != c.num {
			t.Errorf("num(%g) = %s; want %s", c.v, got, c.num)
		}
		if got := three(c.v); got != c.three && !(c.v == 0 && got == "-0") {
			t.Errorf("three(%g) = %s; want %s", c.v, got, c.three)
		}
	}
}

// Nothing is lost where a text is broken, and no line is too long but for a word that is.
func TestWrap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.SliceOf(rapid.StringMatching(`[a-zäµ0-9%.]{1,30}`)).Draw(t, "words")
		lines := wrap("  ", strings.Join(words, " "))
		for _, l := range lines {
			if n := len([]rune(l)); n > width || !strings.HasPrefix(l, "  ") {
				t.Fatalf("%d columns: %q", n, l)
			}
		}
		if got := strings.Fields(strings.Join(lines, " ")); strings.Join(got, " ") != strings.Join(words, " ") {
			t.Fatalf("%v became %v", words, got)
		}
	})
	if got := say("a", "", "b"); len(got) != 3 || got[1] != "" {
		t.Errorf("an empty line gets lost: %q", got)
	}
}

func TestSentence(t *testing.T) {
	for in, want := range map[string]string{"": "", "a": "A.", "the rate moved.": "The rate moved.", "µL": "ΜL."} {
		if got := sentence(in); got != want {
			t.Errorf("sentence(%q) = %q; want %q", in, got, want)
		}
	}
}

func TestCut(t *testing.T) {
	for _, c := range []struct {
		in   string
		most int
		want string
	}{{"abc", 3, "abc"}, {"abcd", 3, "ab…"}, {"äöü", 3, "äöü"}, {"", 3, ""}} {
		if got := cut(c.in, c.most); got != c.want {
			t.Errorf("cut(%q, %d) = %q; want %q", c.in, c.most, got, c.want)
		}
	}
}

func TestVolumeAsTyped(t *testing.T) {
	for in, want := range map[string]float64{"9.8": 9.8, "9.8 mL": 9.8, "9.8mL": 9.8, "0.5 L": 500, "-1": -1} {
		if got, err := volume(in); err != nil || math.Abs(got-want) > 1e-9 {
			t.Errorf("volume(%q) = %g, %v; want %g", in, got, err, want)
		}
	}
	for _, in := range []string{"", "9,8", "9,8 mL", "ten", "9.8 g", "NaN", "1e400", "mL", "9.8 mL mL"} {
		if got, err := volume(in); err == nil {
			t.Errorf("volume(%q) = %g; want an error", in, got)
		}
	}
	for in, want := range map[string]float64{"10.2": 10.2, "10.2 g": 10.2, "0.01 kg": 10} {
		if got, err := grams(in); err != nil || math.Abs(got-want) > 1e-9 {
			t.Errorf("grams(%q) = %g, %v; want %g", in, got, err, want)
		}
	}
	for _, in := range []string{"", "10,2", "9.8 mL", "NaN"} {
		if got, err := grams(in); err == nil {
			t.Errorf("grams(%q) = %g; want an error", in, got)
		}
	}
}

// The statistics are those of the measure that the service takes.
func TestStatisticsAgreeWithTheMeasure(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 8).Draw(t, "trials")
		trials := make([]metering.Trial, n)
		for i := range trials {
			trials[i] = metering.Trial{Seconds: 60, MeasuredML: rapid.Float64Range(58, 60).Draw(t, "mL")}
		}
		got := statisticsOf(trials, 60)
		want, _, err := metering.Calibrate(trials, 0)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(got.mean-want.Rate.MillilitresPerMinute()) > 0.001 || math.Abs(got.cv-want.CV) > 1e-9 {
			t.Fatalf("mean %g and CV %g; the measure has %g and %g", got.mean, got.cv, want.Rate.MillilitresPerMinute(), want.CV)
		}
		if !got.compared || math.Abs(got.systematic-(got.mean/60-1)) > 1e-12 {
			t.Fatalf("systematic error %g of %g against 60", got.systematic, got.mean)
		}
	})
	if k := statisticsOf([]metering.Trial{{Seconds: 60, MeasuredML: 9}}, 0); k.cv != 0 || k.compared || k.pattern() != "" {
		t.Errorf("one trial, and nothing to compare with: %+v", k)
	}
}

func TestOddTrial(t *testing.T) {
	for _, c := range []struct {
		name string
		ml   []float64
		want int
	}{
		{"none", []float64{10, 10, 10}, 0},
		{"the first", []float64{11, 10, 10}, 1},
		{"the last of five", []float64{10, 10.05, 10, 9.95, 9}, 5},
		{"just within", []float64{10, 10.4, 10}, 0},
		{"just beyond", []float64{10, 10.5, 10}, 2},
		{"two of four", []float64{10, 10, 11, 11}, 0},
		{"the rest scatters too", []float64{10, 10.5, 12}, 0},
	} {
		var trials []metering.Trial
		for _, ml := range c.ml {
			trials = append(trials, metering.Trial{Seconds: 60, MeasuredML: ml})
		}
		if got := statisticsOf(trials, 0).odd(); got != c.want {
			t.Errorf("%s: trial %d is odd; want %d", c.name, got, c.want)
		}
	}
}

func TestComparedWithBefore(t *testing.T) {
	if got := (trialSheet{}).compared(machine.CalibrationResult{}); got != nil {
		t.Errorf("nothing before: %q", got)
	}
	for change, want := range map[float64]string{0: "nothing to worry", 5: "nothing to worry", -5.1: "a pump tube wears", 15: "a pump tube wears", -15.1: "air or a slipped tube", 40: "air or a slipped tube"} {
		got := strings.Join((trialSheet{}).compared(machine.CalibrationResult{ChangePercent: &change}), " ")
		if !strings.Contains(got, want) {
			t.Errorf("%+g %%: %q; want %q", change, got, want)
		}
	}
}

// A sheet is not changed by the next one.
func TestSheetsAreValues(t *testing.T) {
	a := trialSheet{}.with(metering.Reading{Seconds: 1, MeasuredML: 1}, 0)
	b := a.with(metering.Reading{Seconds: 2, MeasuredML: 2}, 0)
	c := b.with(metering.Reading{Seconds: 3, MeasuredML: 3}, 1)
	if len(a.readings) != 1 || b.readings[0].Seconds != 1 || c.readings[0].Seconds != 3 || len(c.readings) != 2 {
		t.Errorf("%v, %v, %v", a, b, c)
	}
	if d := b.with(metering.Reading{Seconds: 4}, 9); len(d.readings) != 3 {
		t.Errorf("a trial that is not there is redone as %v", d)
	}
	density := 1.05
	g := trialSheet{liquid: metering.Liquid{DensityKgPerL: &density}}.with(metering.Reading{Seconds: 60, MeasuredG: 10.2}, 0)
	if got := g.flags(); got != " --trial 60s=10.2g --density 1.05kg/L" {
		t.Errorf("flags are %q", got)
	}
}

// Each code that a person can do something about says what.
func TestWaysOut(t *testing.T) {
	u := Setup{Channel: "alk", Node: "board"}
	for _, c := range []safety.Code{safety.ClockUntrusted, safety.NodeOffline, safety.ChannelBusy, safety.KeptApart, safety.RestTime, safety.RunCap,
		safety.RunTimeCap, safety.DayCap, safety.OnHold, safety.Fault, safety.OutOfService} {
		if wayOut(c, u) == "" {
			t.Errorf("%s has no way out", c)
		}
	}
	for _, c := range []safety.Code{safety.NotPrimed, safety.NotCalibrated, safety.NoProof, safety.ContainerEmpty} {
		if _, ok := missing(c); !ok {
			t.Errorf("%s leads nowhere", c)
		}
	}
	if _, ok := missing(safety.DayCap); ok {
		t.Error("a cap is no missing step")
	}
}

// Every question has words, help, and fits into a terminal that is as narrow as one can be.
func TestEveryQuestionHasWords(t *testing.T) {
	top := -200.0
	s := Session{u: Setup{Channel: "alk", Container: "jug", AttendedML: 30, PrimeML: 5, SmallestML: 1, PerRunML: 4}, top: &top}
	for p := atName; p < atEnd; p++ {
		s.place = p
		if s.prompt() == "" {
			t.Errorf("place %d asks nothing", p)
		}
		if s.help() == "" {
			t.Errorf("place %d has no help", p)
		}
	}
	if s.place = atEnd; s.prompt() != "" {
		t.Error("the end asks something")
	}
	for _, step := range Steps() {
		if s.u.command(step, s.f) == "" || len(headline(step)) != 3 {
			t.Errorf("%s has no command or no headline", step)
		}
		for _, l := range byHand(s.u, step, s.f) {
			if len([]rune(l)) > 80 {
				t.Errorf("%d columns: %q", len([]rune(l)), l)
			}
		}
	}
	if s.u.command(Finished, s.f) != "" {
		t.Error("the end has a command")
	}
}
