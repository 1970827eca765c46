package metering

import (
	"math"
	"strings"
	"testing"
)

func regressed(t *testing.T, trials []Trial) Regression {
	t.Helper()
	r, _, err := Regress(trials)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestCompare(t *testing.T) {
	lengths := []float64{30, 30, 60, 60, 120, 120}
	before := regressed(t, lineOf(10, 0, 0.01, lengths...))
	for _, c := range []struct {
		name string
		now  []Trial
		want string
	}{
		{"the same", lineOf(10, 0, 0.01, lengths...), "unchanged"},
		{"2 % less", lineOf(9.8, 0, 0.01, lengths...), "unchanged"},
		{"5 % less is no finding", lineOf(9.5, 0, 0.01, lengths...), "unchanged"},
		{"6 % less", lineOf(9.4, 0, 0.01, lengths...), "tubing"},
		{"15 % less", lineOf(8.5, 0, 0.01, lengths...), "tubing"},
		{"16 % less", lineOf(8.4, 0, 0.01, lengths...), "air_or_slip"},
		{"8 % less and scattering", lineOf(9.2, 0, 0.2, lengths...), "air_or_slip scattering"},
		{"6 % more", lineOf(10.6, 0, 0.01, lengths...), "tubing"},
		{"16 % more", lineOf(11.6, 0, 0.01, lengths...), "air_or_slip"},
		{"25 % more", lineOf(12.5, 0, 0.01, lengths...), "needs_confirm air_or_slip"},
		{"25 % less", lineOf(7.5, 0, 0.01, lengths...), "needs_confirm air_or_slip"},
		{"a decimal point", lineOf(100, 0, 0.01, lengths...), "unit_slip"},
		{"a decimal point the other way", lineOf(1.01, 0, 0.001, lengths...), "unit_slip"},
		{"minutes for seconds", lineOf(0.1667, 0, 0.0002, lengths...), "unit_slip"},
		{"fluid ounces", lineOf(10/29.57, 0, 0.0005, lengths...), "unit_slip"},
		{"twice", lineOf(20, 0, 0.01, lengths...), "unit_slip"},
		{"drains", lineOf(10, -0.4, 0.01, lengths...), "late_start"},
		{"runs on", lineOf(10, 0.4, 0.01, lengths...), "runs_on"},
		{"scatters", lineOf(10, 0, 0.15, lengths...), "scattering"},
	} {
		if got := kinds(Compare(regressed(t, c.now), before)); got != c.want {
			t.Errorf("%s: %q; want %q", c.name, got, c.want)
		}
	}
	for _, f := range Compare(regressed(t, lineOf(7.5, 0, 0.01, lengths...)), before) {
		if !strings.HasPrefix(f.Text, "7.5 mL/min after 10 mL/min (-25.0 %)") {
			t.Errorf("%s does not show both numbers: %s", f.Kind, f.Text)
		}
	}
}

// A change that the scatter of few trials explains is blamed on nothing.
func TestCompareDoesNotBlameScatter(t *testing.T) {
	before := regressed(t, lineOf(10, 0, 0.1, 60, 120, 180, 240))
	now := regressed(t, []Trial{{60, 9.3}, {120, 19.4}, {180, 27.6}, {240, 37.9}})
	if got := Compare(now, before); len(got) == 0 || got[0].Kind == TubingWorn {
		t.Errorf("%v", got)
	}
	exact := regressed(t, lineOf(10, 0, 0, 60, 120, 180, 240))
	if got := kinds(Compare(exact, exact)); got != "unchanged" {
		t.Errorf("a calibration compared with itself: %q", got)
	}
}

func TestDriftOf(t *testing.T) {
	worn := []Dated{{0, 10}, {30, 9.91}, {60, 9.8}, {90, 9.71}, {120, 9.6}}
	d, findings, err := DriftOf(worn)
	if err != nil || math.Abs(d.PerMonth+0.01) > 1e-3 || kinds(findings) != "drifting" || !(d.DaysToLimit > 130 && d.DaysToLimit < 160) {
		t.Errorf("%+v, %v, %v; want -1 %% a month and about 144 days", d, findings, err)
	}
	if len(findings) == 1 && !strings.Contains(findings[0].Text, "the tube wears; calibrate within 1") {
		t.Errorf("%q", findings[0].Text)
	}
	softer, findings, err := DriftOf([]Dated{{0, 10}, {30, 10.1}, {60, 10.2}})
	if err != nil || !(softer.PerMonth > 0) || len(findings) != 1 || !strings.Contains(findings[0].Text, "softens") {
		t.Errorf("%+v, %v, %v", softer, findings, err)
	}
	steady, findings, err := DriftOf([]Dated{{0, 10}, {30, 10.1}, {60, 9.9}, {90, 10.05}})
	if err != nil || findings != nil || steady.DaysToLimit != 0 {
		t.Errorf("scatter is called a drift: %+v, %v, %v", steady, findings, err)
	}
	for name, bad := range map[string][]Dated{
		"none": nil, "two": worn[:2], "backwards": {{0, 10}, {30, 10}, {20, 10}}, "twice": {{0, 10}, {0, 10}, {20, 10}}, "no rate": {{0, 10}, {1, 0}, {2, 10}},
		"NaN": {{0, 10}, {1, math.NaN()}, {2, 10}}, "NaN day": {{math.NaN(), 10}, {1, 10}, {2, 10}}, "too far": {{0, 10}, {1, 10}, {36501, 10}}, "too fast": {{0, 10}, {1, 5001}, {2, 10}},
	} {
		if got, _, err := DriftOf(bad); err == nil || got != (Drift{}) {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
	}
}

// H-17: what ISO 8655-6 calls systematic and random error.
func TestDeliveryOf(t *testing.T) {
	d, findings, err := DeliveryOf(10, []float64{9.8, 9.9, 9.8, 9.7, 9.8, 9.8, 9.9, 9.7, 9.8, 9.8})
	if err != nil || math.Abs(d.SystematicML+0.2) > 1e-12 || math.Abs(d.SystematicPart+0.02) > 1e-12 || math.Abs(d.RandomML-math.Sqrt(0.04/9)) > 1e-12 || findings != nil {
		t.Errorf("%+v, %v, %v", d, findings, err)
	}
	// t for 95 % and 9 degrees of freedom is 2.262.
	if want := 0.2 + 2.262157*d.RandomML*math.Sqrt(1.1); math.Abs(d.SingleML-want) > 1e-6 || math.Abs(d.MeanHalfWidthML-2.262157*d.RandomML/math.Sqrt(10)) > 1e-6 {
		t.Errorf("%+v; want a single error of %v", d, want)
	}
	for _, c := range []struct {
		name     string
		measured []float64
		want     string
	}{
		{"few", []float64{10, 10.1, 9.9}, "provisional"},
		{"wide", []float64{10.4, 9.6, 10, 10.4, 9.6, 10}, "provisional spread"},
		{"off", []float64{9.3, 9.4, 9.3, 9.4, 9.3, 9.4, 9.3, 9.4, 9.3, 9.4}, "tubing"},
		{"off within scatter", []float64{8.5, 10.5, 9.2}, "provisional spread"},
	} {
		_, findings, err := DeliveryOf(10, c.measured)
		if err != nil || kinds(findings) != c.want {
			t.Errorf("%s: %q, %v; want %q", c.name, kinds(findings), err, c.want)
		}
	}
	for name, c := range map[string]struct {
		set float64
		ml  []float64
	}{
		"two": {10, []float64{10, 10}}, "no set": {0, []float64{1, 2, 3}}, "NaN set": {math.NaN(), []float64{1, 2, 3}}, "NaN": {10, []float64{1, math.NaN(), 3}},
		"zero": {10, []float64{1, 0, 3}}, "too many": {10, make([]float64, 101)},
	} {
		if got, _, err := DeliveryOf(c.set, c.ml); err == nil || got != (Delivery{}) {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
	}
}
