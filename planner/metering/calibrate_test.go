package metering

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"aliquot/safety"

	"pgregory.net/rapid"
)

func mlPerMin(t *testing.T, r float64) safety.Rate {
	t.Helper()
	rate, err := safety.RateFromMillilitresPerMinute(r)
	if err != nil {
		t.Fatal(err)
	}
	return rate
}

// trialsOf makes one-minute trials that measured these volumes.
func trialsOf(ml ...float64) []Trial {
	var list []Trial
	for _, v := range ml {
		list = append(list, Trial{60, v})
	}
	return list
}

// spread makes three one-minute trials around 10 mL whose rates have exactly this CV: the sample standard
// deviation of (m-d, m, m+d) is d.
func spread(cv float64) []Trial { return trialsOf(10-10*cv, 10, 10+10*cv) }

func kinds(findings []Finding) string {
	var list []string
	for _, f := range findings {
		list = append(list, string(f.Kind))
	}
	return strings.Join(list, " ")
}

func TestCalibrate(t *testing.T) {
	for _, c := range []struct {
		name     string
		trials   []Trial
		previous float64 // mL/min, 0 = none
		want     float64 // mL/min
		prov     bool
		confirm  bool
		findings string
	}{
		{"a nominal 10 mL that delivers 9.8", trialsOf(9.8, 9.9, 9.8), 10, 9.83333, false, false, ""},
		{"one trial", trialsOf(9.8), 0, 9.8, true, false, "provisional"},
		{"two trials", trialsOf(9.8, 10), 0, 9.9, true, false, "provisional"},
		{"two trials that differ", trialsOf(9.6, 10.4), 0, 10, true, false, "provisional spread"},
		{"two trials at the limit", trialsOf(9.25, 10.75), 0, 10, true, false, "provisional spread"},
		{"different lengths count the same", []Trial{{30, 5}, {60, 10}, {120, 20.3}}, 0, 10.05, false, false, ""},
		{"CV 2 % is good", spread(0.02), 0, 10, false, false, ""},
		{"CV just above 2 % warns", spread(0.0201), 0, 10, false, false, "spread"},
		{"CV 3 % warns", spread(0.03), 0, 10, false, false, "spread"},
		{"5 % is no finding", trialsOf(10.5, 10.5, 10.5), 10, 10.5, false, false, ""},
		{"above 5 % the tubing", trialsOf(10.51, 10.51, 10.51), 10, 10.51, false, false, "tubing"},
		{"15 % is still the tubing", trialsOf(8.5, 8.5, 8.5), 10, 8.5, false, false, "tubing"},
		{"above 15 % air", trialsOf(8.49, 8.49, 8.49), 10, 8.49, false, false, "air_or_slip"},
		{"20 % needs no confirmation", trialsOf(12, 12, 12), 10, 12, false, false, "air_or_slip"},
		{"above 20 % does", trialsOf(12.01, 12.01, 12.01), 10, 12.01, false, true, "needs_confirm air_or_slip"},
		{"a tenth, from a slipped point", trialsOf(0.98, 0.98, 0.98), 9.8, 0.98, false, true, "short_trials needs_confirm air_or_slip"},
		{"ten times", trialsOf(98, 98, 98), 9.8, 98, false, true, "needs_confirm air_or_slip"},
		{"a provisional one far off", trialsOf(15), 10, 15, true, true, "provisional needs_confirm air_or_slip"},
		{"short", []Trial{{4.9, 2}, {4.9, 2}, {4.9, 2}}, 0, 24.4898, false, false, "short_trials"},
		{"long enough", []Trial{{5, 2}, {5, 2}, {5, 2}}, 0, 24, false, false, ""},
		{"longest", []Trial{{3600, 600}, {3600, 600}, {3600, 600}}, 0, 10, false, false, ""},
		{"a negative previous rate is none", trialsOf(10, 10, 10), -1, 10, false, false, ""},
	} {
		previous := safety.Rate(-1)
		if c.previous > 0 {
			previous = mlPerMin(t, c.previous)
		} else if c.previous == 0 {
			previous = 0
		}
		got, findings, err := Calibrate(c.trials, previous)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if math.Abs(got.Rate.MillilitresPerMinute()-c.want) > 1e-4 || got.Provisional != c.prov || got.NeedsConfirm != c.confirm || kinds(findings) != c.findings {
			t.Errorf("%s: %.5f mL/min, provisional %v, confirm %v, findings %q; want %v, %v, %v, %q", c.name,
				got.Rate.MillilitresPerMinute(), got.Provisional, got.NeedsConfirm, kinds(findings), c.want, c.prov, c.confirm, c.findings)
		}
		tolerance := safety.DefaultTolerance
		if c.prov {
			tolerance = safety.ProvisionalTolerance
		}
		if got.Tolerance != tolerance || got.Trials != len(c.trials) || got.Previous < 0 {
			t.Errorf("%s: tolerance %d, %d trials, previous %d", c.name, got.Tolerance, got.Trials, got.Previous)
		}
	}
}

func TestCalibrateRefuses(t *testing.T) {
	good := Trial{60, 10}
	for _, c := range []struct {
		name   string
		trials []Trial
		want   string
	}{
		{"none", nil, "calibration: 0 trials, allowed are 1..100"},
		{"too many", make([]Trial, 101), "calibration: 101 trials, allowed are 1..100"},
		{"CV above 3 %", spread(0.0301), "calibration: the trials scatter by 3.0 % (CV), at most 3 % is allowed; look for air, a kinked or slipped tube, prime and measure again"},
		{"CV 8 %", spread(0.08), "calibration: the trials scatter by 8.0 % (CV), at most 3 % is allowed; look for air, a kinked or slipped tube, prime and measure again"},
		{"two that do not agree", trialsOf(9.2, 10.8), "calibration: the two trials differ by 16 %, at most 15 % is allowed; prime and measure again"},
		{"no seconds", []Trial{good, {0, 10}}, "calibration: trial 2: 0 s is not above 0 and at most 3600 s"},
		{"negative seconds", []Trial{{-60, 10}}, "calibration: trial 1: -60 s is not above 0 and at most 3600 s"},
		{"too long", []Trial{{3600.1, 10}}, "calibration: trial 1: 3600.1 s is not above 0 and at most 3600 s"},
		{"NaN seconds", []Trial{{math.NaN(), 10}}, "calibration: trial 1: NaN s is not above 0 and at most 3600 s"},
		{"nothing measured", []Trial{{60, 0}}, "calibration: trial 1: 0 mL is not above 0 and at most 100000 mL"},
		{"negative volume", []Trial{{60, -1}}, "calibration: trial 1: -1 mL is not above 0 and at most 100000 mL"},
		{"NaN volume", []Trial{good, good, {60, math.NaN()}}, "calibration: trial 3: NaN mL is not above 0 and at most 100000 mL"},
		{"infinite volume", []Trial{{60, math.Inf(1)}}, "calibration: trial 1: +Inf mL is not above 0 and at most 100000 mL"},
		{"no dosing pump", []Trial{{60, 5001}}, "calibration: trial 1: a rate of 5001 mL/min is outside 0.01..5000 mL/min"},
		{"hardly anything", []Trial{{60, 0.009}}, "calibration: trial 1: a rate of 0.009 mL/min is outside 0.01..5000 mL/min"},
	} {
		got, findings, err := Calibrate(c.trials, 0)
		if err == nil || err.Error() != c.want || got != (Calibration{}) || findings != nil {
			t.Errorf("%s: %+v, %v, %v;\n want %s", c.name, got, findings, err, c.want)
		}
	}
}

func TestCalibrateShowsBothNumbers(t *testing.T) {
	got, findings, err := Calibrate(trialsOf(98, 98, 98), mlPerMin(t, 9.8))
	if err != nil || math.Abs(got.Change-9) > 1e-3 {
		t.Fatalf("%+v, %v; want a change of +900 %%", got, err)
	}
	for _, f := range findings {
		if f.Kind == LargeChange && !strings.HasPrefix(f.Text, "98.000 mL/min after 9.800 mL/min (+900.0 %)") {
			t.Errorf("the finding reads %q", f.Text)
		}
	}
}

// The rate lies within the trials' rates, whatever they are; scaling all volumes scales it.
func TestCalibrateProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 8).Draw(t, "trials")
		base := rapid.Float64Range(1, 100).Draw(t, "rate")
		var trials, doubled []Trial
		low, high := math.Inf(1), 0.0
		for range n {
			s := rapid.Float64Range(1, 600).Draw(t, "seconds")
			rate := base * rapid.Float64Range(0.96, 1.04).Draw(t, "factor")
			trials = append(trials, Trial{s, rate * s / 60})
			doubled = append(doubled, Trial{s, 2 * rate * s / 60})
			low, high = min(low, rate), max(high, rate)
		}
		got, _, err := Calibrate(trials, 0)
		twice, _, err2 := Calibrate(doubled, 0)
		if (err == nil) != (err2 == nil) {
			t.Fatalf("%v and doubled %v", err, err2)
		}
		if err != nil {
			return
		}
		if r := got.Rate.MillilitresPerMinute(); r < low-1e-4 || r > high+1e-4 {
			t.Fatalf("rate %v outside the trials' %v..%v", r, low, high)
		}
		if n >= 3 && got.CV > 0.03+1e-6 || math.Abs(got.CV-twice.CV) > 1e-9 || math.Abs(float64(twice.Rate)-2*float64(got.Rate)) > 2 {
			t.Fatalf("%+v, doubled %+v", got, twice)
		}
	})
}

// Whatever is entered, an accepted rate is one a dosing pump can have.
func FuzzCalibrate(f *testing.F) {
	f.Add(60.0, 9.8, 60.0, 9.9, int64(166667))
	f.Add(math.NaN(), 1.0, 1e308, 1e308, int64(-1))
	f.Fuzz(func(t *testing.T, s1, v1, s2, v2 float64, previous int64) {
		got, _, err := Calibrate([]Trial{{s1, v1}, {s2, v2}}, safety.Rate(previous))
		if err != nil {
			if got != (Calibration{}) {
				t.Errorf("%+v with error %v", got, err)
			}
			return
		}
		if r := got.Rate.MillilitresPerMinute(); !(r >= 0.0099 && r <= 5000.001) || math.IsNaN(got.CV) || !got.Provisional {
			t.Errorf("accepted %+v", got)
		}
	})
}

func TestTrialReadsAsInTheHistory(t *testing.T) {
	const line = `{"seconds":60,"measured_ml":9.8}`
	var got Trial
	if err := json.Unmarshal([]byte(line), &got); err != nil || got != (Trial{60, 9.8}) {
		t.Errorf("%s reads %+v, %v", line, got, err)
	}
	if back, err := json.Marshal(got); err != nil || string(back) != line {
		t.Errorf("written back it is %s, %v", back, err)
	}
}
