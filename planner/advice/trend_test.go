package advice_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"aliquot/planner/advice"
	"aliquot/planner/estimate"
	"aliquot/planner/units"
)

var start = time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC)

func day(d float64) time.Time { return start.Add(time.Duration(d * 24 * float64(time.Hour))) }

// line is a log of n uses over so many days, the newest at day 60.
func line(n int, span, sd float64, use func(day float64) float64) (l advice.Log) {
	for i := range n {
		d := 60 - span + span*float64(i)/float64(n-1)
		l = l.Add(advice.Use{At: day(d), PerDay: use(d), SD: sd}, time.UTC)
	}
	return l
}

func TestTrendNeedsEnough(t *testing.T) {
	flat := func(float64) float64 { return 1 }
	for _, c := range []struct {
		name string
		log  advice.Log
		want bool
	}{
		{"nothing", nil, false},
		{"three over 20 days", line(3, 20, .1, flat), false},
		{"four over 20 days", line(4, 20, .1, flat), true},
		{"four over just under 10 days", line(4, 9.99, .1, flat), false},
		{"four over 10 days", line(4, 10, .1, flat), true},
		{"of six over 50 days only those of the last 28 count", line(6, 50, .1, flat), false},
		{"eleven over 50 days", line(11, 50, .1, flat), true},
	} {
		t.Run(c.name, func(t *testing.T) {
			if _, ok := c.log.Trend(day(60)); ok != c.want {
				t.Errorf("a trend of %d uses: %v, want %v", len(c.log), ok, c.want)
			}
		})
	}
}

// By hand: five uses a week apart with sd 0.1 and a slope of 0.02 a day. The spread is 7²·(4+1+0+1+4) = 490 days², so the
// slope's sd is 0.1/√490 = 0.004518; five uses over 28 days are as many as five weeks.
func TestTrendByHand(t *testing.T) {
	l := line(5, 28, .1, func(d float64) float64 { return .02 * d })
	got, ok := l.Trend(day(60))
	if !ok || math.Abs(got.PerDay-.02) > 1e-12 || math.Abs(got.SD-.1/math.Sqrt(490)) > 1e-12 || !got.Sure() {
		t.Errorf("%+v, %v; want 0.02 ± 0.004518 and sure", got, ok)
	}
	// Every day for four weeks: 29 uses count as five.
	daily := line(29, 28, .1, func(d float64) float64 { return .02 * d })
	got, _ = daily.Trend(day(60))
	if want := .1 * math.Sqrt(29./5/2030); math.Abs(got.SD-want) > 1e-12 {
		t.Errorf("the sd of 29 uses is %v, want %v", got.SD, want)
	}
	for _, c := range []struct {
		slope float64
		sure  bool
	}{{.00742, false}, {.00744, true}, {-.00742, false}, {-.00744, true}, {0, false}} { // 1.645 × 0.004518 = 0.007432
		if got := (advice.Trend{PerDay: c.slope, SD: .1 / math.Sqrt(490)}); got.Sure() != c.sure {
			t.Errorf("a slope of %v is sure: %v, want %v", c.slope, got.Sure(), c.sure)
		}
	}
}

func TestLogKeepsOneALocalDay(t *testing.T) {
	zone := time.FixedZone("far east", 10*3600)
	at := func(hour int) time.Time { return time.Date(2027, 3, 1, hour, 0, 0, 0, time.UTC) }
	var l advice.Log
	for i, h := range []int{10, 13, 15, 20} { // local 20:00, 23:00, then 01:00 and 06:00 of the next day
		l = l.Add(advice.Use{At: at(h), PerDay: float64(i), SD: 1}, zone)
	}
	if len(l) != 2 || l[0].PerDay != 1 || l[1].PerDay != 3 {
		t.Errorf("%+v; want the last of each local day", l)
	}
	for name, u := range map[string]advice.Use{"older": {At: at(9), PerDay: 1, SD: 1}, "no number": {At: at(23), PerDay: math.NaN(), SD: 1},
		"no sd": {At: at(23), PerDay: 1}, "sd is no number": {At: at(23), PerDay: 1, SD: math.NaN()}, "endless": {At: at(23), PerDay: math.Inf(1), SD: 1}} {
		if got := l.Add(u, zone); len(got) != 2 || got[1] != l[1] {
			t.Errorf("%s: %+v changes the log to %+v", name, u, got)
		}
	}
	before := l[1]
	if l.Add(advice.Use{At: at(21), PerDay: 7, SD: 1}, zone); l[1] != before {
		t.Error("Add changes the log that it was given")
	}
	for d := range 100 {
		l = l.Add(advice.Use{At: at(20).AddDate(0, 0, d), PerDay: float64(d), SD: 1}, nil)
	}
	if len(l) != 60 || l[59].PerDay != 99 || l[0].PerDay != 40 {
		t.Errorf("%d uses from %v to %v; want the last 60", len(l), l[0].PerDay, l[len(l)-1].PerDay)
	}
}

func TestAgo(t *testing.T) {
	week := 7 * 24 * time.Hour
	l := advice.Log{}.Add(advice.Use{At: day(10), PerDay: 1, SD: 1}, nil).Add(advice.Use{At: day(20), PerDay: 2, SD: 1}, nil)
	for _, c := range []struct {
		at   float64
		want float64
		ok   bool
	}{{16.99, 0, false}, {17, 1, true}, {24, 1, true}, {24.01, 0, false}, {26.99, 0, false}, {27, 2, true}, {34, 2, true}, {34.01, 0, false}} {
		u, ok := l.Ago(day(c.at), week)
		if ok != c.ok || (ok && u.PerDay != c.want) {
			t.Errorf("a week before day %v: %v, %v; want %v, %v", c.at, u.PerDay, ok, c.want, c.ok)
		}
	}
}

// keeper plays an invented tank: tested every third day with a scatter of 0.12 dKH, given what was used 3 days ago, for so
// many days. It gives the filter, the log and the last estimate.
func keeper(seed uint64, days int, use func(d float64) float64) (*estimate.Filter, advice.Log, estimate.Estimate) {
	rng := rand.New(rand.NewPCG(seed, 3))
	f := estimate.New(340, []estimate.Spec{{Quantity: units.Alkalinity, Target: 8.3, Upper: 8.8, TestSD: .15}})
	var l advice.Log
	level := 8.3
	for d := range days {
		at := day(float64(d))
		if d%3 == 0 {
			f.Test(estimate.Test{At: at, Quantity: units.Alkalinity, Value: level + .12*rng.NormFloat64()})
			if e := f.At(at, units.Alkalinity); e.TestsUsed >= advice.TestsFirst {
				l = l.Add(advice.Use{At: at, PerDay: e.Consumption, SD: e.ConsumptionSD}, nil)
			}
		}
		dose := use(float64(d)) + .5*(8.3-f.At(at, units.Alkalinity).Level)
		if dose > 0 {
			f.Dose(at, []estimate.Rise{{Quantity: units.Alkalinity, Mean: dose, Lo: .97 * dose, Hi: 1.03 * dose}})
			level += dose
		}
		level -= use(float64(d)) * (1 + .05*rng.NormFloat64())
	}
	return f, l, f.At(day(float64(days)), units.Alkalinity)
}

// A tank that uses the same each day is seldom said to have a trend, one that grows by 2 % a day mostly is.
func TestTrendIsSureWhenItShouldBe(t *testing.T) {
	share := func(growth float64) float64 {
		sure := 0
		const tanks = 100
		for seed := range uint64(tanks) {
			_, l, _ := keeper(seed, 60, func(d float64) float64 { return 1.2 * math.Exp(growth*max(0, d-20)) })
			if tr, ok := l.Trend(day(60)); ok && tr.Sure() && (growth == 0 || tr.PerDay*growth > 0) {
				sure++
			}
		}
		return float64(sure) / tanks
	}
	if got := share(0); got > .1 {
		t.Errorf("%.0f %% of tanks with an even use are said to have a trend, want at most 10", 100*got)
	}
	for _, growth := range []float64{.02, -.02} {
		if got := share(growth); got < .7 {
			t.Errorf("a trend is seen in %.0f %% of tanks that change by %v a day, want at least 70", 100*got, growth)
		}
	}
}

func TestTrendInWords(t *testing.T) {
	e := estimate.Estimate{Quantity: units.Alkalinity, Known: true, Consumption: 1.2, ConsumptionSD: .06, Gain: 1}
	for _, c := range []struct {
		trend *advice.Trend
		want  string
	}{
		{nil, ""},
		{&advice.Trend{PerDay: .018, SD: .02}, ""},
		{&advice.Trend{PerDay: .018, SD: .002}, "the consumption is 1.2 dKH a day (90 %: 1.1 to 1.3) and rising by about 1.5 % a day"},
		{&advice.Trend{PerDay: -.012, SD: .002}, "falling by about 1 % a day"},
	} {
		got := advice.About(e, c.trend)
		if c.want == "" && len(got) > 0 || c.want != "" && !(len(got) == 1 && got[0].Kind == advice.UseTrend && strings.Contains(got[0].Text, c.want) && !got[0].Urgent()) {
			t.Errorf("%+v: %+v; want %q", c.trend, got, c.want)
		}
	}
}
