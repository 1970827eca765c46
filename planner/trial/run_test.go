package trial

import (
	"math"
	"reflect"
	"testing"
	"time"
)

// scripted gives the same every day and writes down what it hears.
type scripted struct {
	perDay  float64
	asked   []time.Time
	tests   []time.Time
	changes []float64
	dosed   float64
}

func (k *scripted) Reset(Told)                   { *k = scripted{perDay: k.perDay} }
func (k *scripted) Test(at time.Time, _ float64) { k.tests = append(k.tests, at) }
func (k *scripted) WaterChange(_ time.Time, fraction, mix float64) {
	k.changes = append(k.changes, fraction, mix)
}
func (k *scripted) Dosed(_ time.Time, rise float64) { k.dosed += rise }
func (k *scripted) Daily(at time.Time) float64      { k.asked = append(k.asked, at); return k.perDay }

func TestGiven(t *testing.T) {
	for _, c := range []struct{ wish, want float64 }{{-1, 0}, {0, 0}, {2, 2}, {6, 6}, {6.1, 6}, {math.Inf(1), 6}, {math.NaN(), 0}} {
		if got := given(c.wish, 6); got != c.want {
			t.Errorf("given(%v) = %v, want %v", c.wish, got, c.want)
		}
	}
}

func TestRunAsksAndTells(t *testing.T) {
	for _, f := range Families() {
		little, much := &scripted{perDay: 0.5}, &scripted{perDay: 99}
		s, capped := Run(f, 7, Options{}, little), Run(f, 7, Options{}, much)
		if !reflect.DeepEqual(little.tests, much.tests) || !reflect.DeepEqual(little.changes, much.changes) {
			t.Errorf("%s: the keeper's deeds depend on the policy", f)
		}
		if n := len(little.asked); n < Days+len(little.tests)/2 || n > Days+len(little.tests)+len(little.changes)/2 {
			t.Errorf("%s: asked %d times, tests %d, changes %d", f, n, len(little.tests), len(little.changes)/2)
		}
		if math.Abs(little.dosed-0.5*Days) > 1e-9 || math.Abs(s.MostADay-0.5) > 1e-9 || s.AtCap != 0 {
			t.Errorf("%s: dosed %v, most %v, at cap %d; want 60, 0.5, 0", f, little.dosed, s.MostADay, s.AtCap)
		}
		if math.Abs(capped.MostADay-capPerDay) > 1e-9 || capped.AtCap != len(much.asked) {
			t.Errorf("%s: a wish of 99 gives %v a day and counts %d of %d times", f, capped.MostADay, capped.AtCap, len(much.asked))
		}
		if !math.IsNaN(s.Coverage.Level) {
			t.Errorf("%s: coverage %v of one that believes nothing", f, s.Coverage.Level)
		}
	}
}

func TestRunIsRepeatable(t *testing.T) {
	for _, name := range []string{"hand3", "ours", "learnable", "informed"} {
		p, err := NewPolicy(name)
		if err != nil {
			t.Fatal(err)
		}
		first := Run(Mixed, 3, Options{}, p)
		Run(Moody, 4, Options{}, p) // leaves nothing behind
		if again := Run(Mixed, 3, Options{}, p); again.All != first.All || again.Late != first.Late {
			t.Errorf("%s: %+v, then %+v", name, first, again)
		}
	}
}

func TestSeedsAndFamiliesDiffer(t *testing.T) {
	seen := map[float64]bool{}
	for _, f := range Families() {
		for _, seed := range []uint64{1, 2, HeldOut} {
			seen[Run(f, seed, Options{}, Never()).All.RMS] = true
		}
	}
	if len(seen) != 15 {
		t.Errorf("%d different scores of 15 trials", len(seen))
	}
}

func TestHandFindsTheUse(t *testing.T) {
	k := Hand3()
	k.Reset(Told{Target: 8, MaxRise: 1, MaxFall: 1, CapPerDay: 6, Base: 0.5})
	at := func(day float64) time.Time { return Start.Add(time.Duration(day * 24 * float64(time.Hour))) }
	if got := k.Daily(at(0)); got != 0.5 {
		t.Errorf("before any test %v, want the base", got)
	}
	k.Test(at(0), 8)
	k.Dosed(at(0), 1)
	k.WaterChange(at(1), 0.1, 9) // brings 0.1
	k.Test(at(2), 7.1)           // used 2 dKH in two days
	if got, want := k.Daily(at(2)), 1+0.9/3; math.Abs(got-want) > 1e-12 {
		t.Errorf("dose %v, want %v", got, want)
	}
	k.Test(at(3), 12) // too soon to be used
	if got, want := k.Daily(at(3)), 1.3; math.Abs(got-want) > 1e-12 {
		t.Errorf("dose after a test a day later %v, want it unchanged", got)
	}
	k.Dosed(at(2), 4)
	k.Test(at(5), 12) // rose more than was given: no use, and less than nothing is not dosed
	if got := k.Daily(at(5)); got != 0 {
		t.Errorf("dose above the target without use %v, want 0", got)
	}
}

func TestHandIsLimited(t *testing.T) {
	k := HandWeekly()
	k.Reset(Told{Target: 8, MaxRise: 1, MaxFall: 1, CapPerDay: 6})
	k.Test(Start, 30)
	k.Test(Start.Add(24*time.Hour), -30)
	if got := k.Daily(Start); got != 6 {
		t.Errorf("dose %v, want the cap", got)
	}
}

func TestNeverSettlesOnce(t *testing.T) {
	k := Never()
	k.Reset(Told{Target: 8, MaxRise: 1, MaxFall: 1, CapPerDay: 6})
	k.Test(Start, 8)
	k.Test(Start.Add(48*time.Hour), 6)
	for _, v := range []float64{5, 12, 8} {
		k.Test(Start.Add(96*time.Hour), v)
		if got := k.Daily(Start); got != 1 {
			t.Errorf("dose %v after a test of %v, want 1 for good", got, v)
		}
	}
}

func TestOursIsFedAsTold(t *testing.T) {
	k := &Ours{}
	told := Told{Litres: 200, StrengthDKHLitresPerML: 50, Target: 8.3, Band: 0.5, MaxRise: 1, MaxFall: 1, CapPerDay: 6, TestSD: 0.15, Base: 1}
	k.Reset(told)
	if got := k.Daily(Start); math.Abs(got-1) > 0.001 {
		t.Errorf("before any test %v, want the base 1", got)
	}
	if _, ok := k.Belief(Start); ok {
		t.Error("believes something before any test")
	}
	k.Test(Start, 8.3)
	for h := range 48 {
		k.Dosed(Start.Add(time.Duration(h)*time.Hour), 1.0/24)
	}
	at := Start.Add(48 * time.Hour)
	k.Test(at, 7.3) // used 3 dKH in two days
	b, ok := k.Belief(at)
	if !ok || math.Abs(b.Use-1.5) > 0.25 || math.Abs(b.Level-7.3) > 0.1 {
		t.Errorf("believes %+v, want a use of 1.5 and a level of 7.3", b)
	}
	if ref := k.reference(at); ref == nil || math.Abs(ref.Millilitres()-4) > 0.01 {
		t.Errorf("reference %v, want the 4 mL of a day ago", ref)
	}
	if got := k.Daily(at); !(got > b.Use && got < b.Use+1) {
		t.Errorf("gives %v a day, want the use %v and a correction within max_rise", got, b.Use)
	}
	if k.Test(at.Add(time.Hour), 15); k.Held != 1 {
		t.Errorf("%d tests held after 15 dKH, want 1", k.Held)
	}
}

// doubting doubts every test.
type doubting struct{ scripted }

func (k *doubting) Doubts() bool { return true }

func TestRepeats(t *testing.T) {
	plain, again, trusting := &doubting{}, &doubting{}, &scripted{}
	Run(Steady, 5, Options{}, plain)
	Run(Steady, 5, Options{Repeats: true}, again)
	Run(Steady, 5, Options{Repeats: true}, trusting)
	if len(again.tests) != 2*len(plain.tests) || len(trusting.tests) != len(plain.tests) {
		t.Fatalf("%d tests, %d with repeats of all, %d with none to repeat", len(plain.tests), len(again.tests), len(trusting.tests))
	}
	for i, at := range plain.tests {
		if !again.tests[2*i].Equal(at) || !again.tests[2*i+1].Equal(at.Add(time.Hour)) {
			t.Fatalf("test %d at %v repeated: %v, %v", i, at, again.tests[2*i], again.tests[2*i+1])
		}
	}
}
