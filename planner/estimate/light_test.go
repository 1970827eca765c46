package estimate

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"aliquot/planner/units"
)

// Light for 12 h and twice the use of the dark: 4/3 of the mean by day, 2/3 by night. In the light 12 h · 1/3 of the mean
// more go than on the mean, so that the level is 1/12 of a day's use above its mean when the light comes and as much below
// when it goes.
func TestPhaseOfHalfADayOfLight(t *testing.T) {
	l := Light{From: 8 * time.Hour, Long: 12 * time.Hour, Ratio: 2}
	for hour, want := range map[int]float64{8: -1.0 / 12, 14: 0, 20: 1.0 / 12, 2: 0, 11: -1.0 / 24, 23: 1.0 / 24} {
		at := time.Date(2027, 5, 3, hour, 0, 0, 0, time.UTC)
		if got := l.phase(at); math.Abs(got-want) > 1e-12 {
			t.Errorf("at %d h: %v, want %v", hour, got, want)
		}
	}
}

func TestPhaseIsZeroOnTheMeanOfADay(t *testing.T) {
	for _, l := range []Light{UsualLight(time.UTC), ToldLight(time.UTC, 22*time.Hour, 6*time.Hour), ToldLight(time.UTC, 0, 23*time.Hour)} {
		sum, most := 0.0, 0.0
		for m := range 24 * 60 {
			p := l.phase(time.Date(2027, 5, 3, 0, m, 30, 0, time.UTC))
			sum += p
			most = max(most, math.Abs(p))
		}
		if math.Abs(sum)/(24*60) > 1e-9 || most > 0.25 || most < 0.01 {
			t.Errorf("%+v: mean %v, most %v", l, sum/(24*60), most)
		}
	}
}

func TestPhaseGoesByLocalTime(t *testing.T) {
	east := time.FixedZone("east", 11*3600)
	here, there := UsualLight(time.UTC), UsualLight(east)
	at := time.Date(2027, 5, 3, 9, 0, 0, 0, time.UTC)
	if got, want := there.phase(at.Add(-11*time.Hour)), here.phase(at); got != want || want >= 0 {
		t.Errorf("at nine in the east %v, at nine here %v; both are before the day's use", got, want)
	}
}

func TestNoLightIsNoCycle(t *testing.T) {
	for _, l := range []Light{{}, {Long: 24 * time.Hour, Ratio: 2}, {Long: 10 * time.Hour, Ratio: 1}, {Long: 10 * time.Hour}} {
		for h := range 24 {
			if p := l.phase(time.Date(2027, 5, 3, h, 0, 0, 0, time.UTC)); math.Abs(p) > 1e-15 {
				t.Errorf("%+v at %d h: %v", l, h, p)
			}
		}
	}
}

// A tank that uses 3 dKH a day, 2.4 times as much by day as by night, is tested every other evening. All of the error that
// stays is that of the mean level of the day: who knows the light is nearer to it, and who does not sees the evening's low
// for the whole.
func TestKnownLightTellsTheMeanOfTheDay(t *testing.T) {
	err := func(l Light) float64 {
		r := rand.New(rand.NewPCG(7, 7))
		f := New(100, []Spec{{Quantity: units.Alkalinity, TestSD: 0.1, Target: 8, Light: l}})
		truth := ToldLight(time.UTC, 9*time.Hour, 19*time.Hour)
		truth.Ratio = 2.4
		start := time.Date(2027, 5, 3, 0, 0, 0, 0, time.UTC)
		sum, n := 0.0, 0.0
		for h := range 60 * 24 {
			at := start.Add(time.Duration(h) * time.Hour)
			if h%48 == 19 {
				f.Test(Test{At: at, Quantity: units.Alkalinity, Value: 8 - 3*truth.phase(at) + 0.1*r.NormFloat64()})
			}
			if h > 20*24 && h%6 == 0 {
				d := f.At(at, units.Alkalinity).Level - 8
				sum, n = sum+d*d, n+1
			}
			f.Dose(at, []Rise{{Quantity: units.Alkalinity, Mean: 3.0 / 24, Lo: 3.0 / 24, Hi: 3.0 / 24}})
		}
		return math.Sqrt(sum / n)
	}
	none, usual, told := err(Light{}), err(UsualLight(time.UTC)), err(ToldLight(time.UTC, 9*time.Hour, 19*time.Hour))
	if !(told < 0.4*none && usual < 0.85*none) {
		t.Errorf("RMS of the level: %.3f without a cycle, %.3f with the usual one, %.3f with the keeper's", none, usual, told)
	}
	t.Logf("RMS of the level: %.3f without a cycle, %.3f with the usual one, %.3f with the keeper's", none, usual, told)
}

// What a test predicts is the level at its hour: a test that shows the evening's low is no surprise.
func TestPredictedIsTheLevelAtTheHour(t *testing.T) {
	f := New(100, []Spec{{Quantity: units.Alkalinity, TestSD: 0.1, Target: 8, Use: 4, UseSD: 0.1, Light: ToldLight(time.UTC, 9*time.Hour, 19*time.Hour)}})
	morning := time.Date(2027, 5, 3, 9, 0, 0, 0, time.UTC)
	f.Test(Test{At: morning, Quantity: units.Alkalinity, Value: 8.3})
	for h := range 10 {
		f.Dose(morning.Add(time.Duration(h)*time.Hour), []Rise{{Quantity: units.Alkalinity, Mean: 4.0 / 24, Lo: 4.0 / 24, Hi: 4.0 / 24}})
	}
	r := f.Test(Test{At: morning.Add(10 * time.Hour), Quantity: units.Alkalinity, Value: 7.8})
	// From morning to evening 10 h · (2.2/1.5 − 1) of the mean more are used: 4 · 10/24 · 0.467 = 0.778, and 8.3 becomes 7.52.
	if math.Abs(r.Predicted-7.52) > 0.06 {
		t.Errorf("predicted %.3f, want about 7.52", r.Predicted)
	}
}
