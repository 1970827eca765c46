package metering

import (
	"math"
	"strings"
	"testing"

	"aliquot/safety"

	"pgregory.net/rapid"
)

// lineOf makes trials of a pump of so many mL/min that gives offset mL with every run; wobble alternates in sign.
func lineOf(mlPerMin, offset, wobble float64, seconds ...float64) []Trial {
	var list []Trial
	for i, s := range seconds {
		w := wobble
		if i%2 == 1 {
			w = -wobble
		}
		list = append(list, Trial{s, mlPerMin/60*s + offset + w})
	}
	return list
}

func TestRegress(t *testing.T) {
	for _, c := range []struct {
		name         string
		trials       []Trial
		rate, offset float64
		real         bool
		findings     string
	}{
		{"no offset", lineOf(10, 0, 0.01, 30, 30, 60, 60, 120, 120), 10, 0, false, ""},
		{"late start", lineOf(10, -0.3, 0.005, 30, 30, 60, 60, 120, 120), 10, -0.3, true, "late_start"},
		{"runs on", lineOf(10, 0.3, 0.005, 30, 30, 60, 60, 120, 120), 10, 0.3, true, "runs_on"},
		{"on the line exactly", lineOf(12, -0.5, 0, 15, 30, 60, 120, 240), 12, -0.5, true, "late_start"},
		{"a tiny offset matters to nobody", lineOf(10, 0.004, 0, 30, 60, 120, 180, 240), 10, 0.004, false, ""},
		{"few trials", lineOf(10, 0, 0, 30, 60, 120), 10, 0, false, "provisional"},
		{"twice as long is enough", lineOf(10, 0, 0, 60, 90, 90, 120, 120), 10, 0, false, ""},
		{"one trial off the line", append(lineOf(10, 0, 0.002, 30, 30, 60, 60, 90, 90, 120), Trial{120, 20.4}), 10.13, -0.09, false, "not_straight"},
	} {
		r, findings, err := Regress(c.trials)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if math.Abs(r.Rate.MillilitresPerMinute()-c.rate) > 0.02 || math.Abs(r.OffsetML-c.offset) > 0.02 || r.OffsetReal != c.real || kinds(findings) != c.findings {
			t.Errorf("%s: %.4f mL/min, offset %.4f ± %.4f mL (real %v), %q; want %v, %v, %v, %q", c.name, r.Rate.MillilitresPerMinute(), r.OffsetML, r.OffsetHalfWidth,
				r.OffsetReal, kinds(findings), c.rate, c.offset, c.real, c.findings)
		}
	}
}

func TestRegressRefuses(t *testing.T) {
	for _, c := range []struct {
		name   string
		trials []Trial
		want   string
	}{
		{"none", nil, "calibration: 0 trials"},
		{"two", lineOf(10, 0, 0, 30, 60), "calibration: 2 trials, a line needs at least 3"},
		{"one length", lineOf(10, 0, 0.01, 60, 60, 60), "the runs last 60..60 s; to tell rate and offset apart the longest must last at least 2 times the shortest"},
		{"lengths too close", lineOf(10, 0, 0, 60, 60, 119.9), "the runs last 60..119.9 s"},
		{"NaN", []Trial{{30, 5}, {60, math.NaN()}, {120, 20}}, "trial 2: NaN mL"},
		{"falls", []Trial{{30, 9}, {60, 6}, {120, 3}}, "calibration: "},
		{"scatter", []Trial{{30, 5.6}, {60, 9}, {120, 21}, {30, 4.2}, {60, 11}, {120, 19}}, "scatter around the line by"},
		{"rate unsure", lineOf(10, 0, 0.15, 30, 60, 60), "is allowed; more trials, longer runs"},
		{"too slow to be a pump", []Trial{{30, 0.0105}, {60, 0.0106}, {120, 0.0202}}, "calibration: "},
	} {
		r, findings, err := Regress(c.trials)
		if err == nil || !strings.Contains(err.Error(), c.want) || r.Rate != 0 || findings != nil {
			t.Errorf("%s: %+v, %v, %v; want %q", c.name, r, findings, err, c.want)
		}
	}
}

// Equal scatter whatever the length: the 95 % intervals hold the truth about 95 times in 100.
func TestRegressIntervalsHoldTheTruth(t *testing.T) {
	// A linear congruential sequence (D. H. Lehmer; constants of Knuth's MMIX) keeps the count the same in every run.
	state := uint64(20260101)
	uniform := func() float64 {
		state = state*6364136223846793005 + 1442695040888963407
		return float64(state>>11) / (1 << 53)
	}
	gauss := func() float64 { return math.Sqrt(-2*math.Log(1-uniform())) * math.Cos(2*math.Pi*uniform()) }
	const rounds = 2000
	rate, offset := 0, 0
	for range rounds {
		trials := lineOf(10, -0.2, 0, 20, 40, 60, 80, 100, 120)
		for i := range trials {
			trials[i].MeasuredML += 0.05 * gauss()
		}
		r, _, err := Regress(trials)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(r.Fit.Slope*60-10) <= r.RateHalfWidth {
			rate++
		}
		if math.Abs(r.OffsetML+0.2) <= r.OffsetHalfWidth {
			offset++
		}
	}
	// The standard deviation of such a count is √(2000·0.95·0.05) = 9.7; four of them are allowed.
	for name, n := range map[string]int{"rate": rate, "offset": offset} {
		if n < 1861 || n > 1939 {
			t.Errorf("the interval of the %s held the truth %d times in %d", name, n, rounds)
		}
	}
}

// Where every run is of the proportional kind, regression and the mean of rates agree.
func TestRegressAgreesWithCalibrate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rate := rapid.Float64Range(1, 200).Draw(t, "rate")
		short := rapid.Float64Range(5, 60).Draw(t, "short")
		trials := lineOf(rate, 0, 0, short, short, 2*short, 4*short, 4*short)
		a, _, err := Calibrate(trials, 0)
		b, _, err2 := Regress(trials)
		if err != nil || err2 != nil || math.Abs(float64(a.Rate-b.Rate)) > 1 || math.Abs(b.OffsetML) > 1e-9*(1+rate*short) {
			t.Fatalf("%+v, %v and %+v, %v", a, err, b, err2)
		}
	})
}

func TestSmallestRun(t *testing.T) {
	r, _, err := Regress(lineOf(10, -0.3, 0.01, 30, 30, 60, 60, 120, 120))
	if err != nil {
		t.Fatal(err)
	}
	plain, err := r.SmallestRun(0.05, false)
	if err != nil || !(plain > 0.3/0.05) || plain > 2*0.3/0.05 {
		t.Errorf("with the offset in every run: %v mL, %v; want somewhat above 6 mL", plain, err)
	}
	fixed, err := r.SmallestRun(0.05, true)
	if err != nil || !(fixed > 0 && fixed < plain/2) {
		t.Errorf("with the offset allowed for: %v mL, %v", fixed, err)
	}
	wide, err := r.SmallestRun(0.1, false)
	if err != nil || !(wide < plain/1.9) {
		t.Errorf("10 %% allow %v mL, 5 %% %v mL, %v", wide, plain, err)
	}
	for _, bad := range []float64{0, 0.0049, 0.51, -1, math.NaN(), math.Inf(1)} {
		if got, err := r.SmallestRun(bad, false); err == nil || got != 0 {
			t.Errorf("an accuracy of %v gives %v", bad, got)
		}
	}
	unsure, _, err := Regress(lineOf(10, 0, 0.1, 30, 60, 90, 120, 120))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := unsure.SmallestRun(0.005, false); err == nil || !strings.Contains(err.Error(), "the rate is known to ±") {
		t.Errorf("an unsure rate promises 0.5 %%: %v", err)
	}
}

func FuzzRegress(f *testing.F) {
	f.Add(30.0, 5.0, 60.0, 10.0, 120.0, 20.0)
	f.Add(1e-9, 1e-9, 3600.0, 1e5, 1800.0, 5e4)
	f.Fuzz(func(t *testing.T, s1, v1, s2, v2, s3, v3 float64) {
		r, _, err := Regress([]Trial{{s1, v1}, {s2, v2}, {s3, v3}})
		if err != nil {
			if r.Rate != 0 {
				t.Errorf("%+v with error %v", r, err)
			}
			return
		}
		if ml := r.Rate.MillilitresPerMinute(); !(ml >= 0.0099 && ml <= 5000.001) || !(math.Abs(r.OffsetML) < 1e6) || !(r.RateHalfWidth >= 0) || r.Rate < safety.Rate(1) {
			t.Errorf("accepted %+v", r)
		}
		if v, err := r.SmallestRun(0.05, false); err == nil && !(v >= 0 && v <= measuredMost) {
			t.Errorf("smallest run %v", v)
		}
	})
}
