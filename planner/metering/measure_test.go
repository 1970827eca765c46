package metering

import (
	"math"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"aliquot/safety"
)

// onLine makes trials of volume = mlPerSecond × seconds + offsetML, each off by its share of noise.
func onLine(mlPerSecond, offsetML float64, seconds []float64, noise ...float64) []Trial {
	out := make([]Trial, len(seconds))
	for i, s := range seconds {
		out[i] = Trial{s, mlPerSecond*s + offsetML}
		if i < len(noise) {
			out[i].MeasuredML += noise[i]
		}
	}
	return out
}

func TestMeasureChoosesItsModel(t *testing.T) {
	wiggle := []float64{0.01, -0.02, 0.015, -0.01, 0.005, 0.01}
	for _, c := range []struct {
		name         string
		trials       []Trial
		rate         float64 // mL/min, 0: refused
		offset       safety.Microlitres
		runsOn       safety.Microlitres // the most; the test allows for the interval
		line, unsure bool
		says         string
		because      string
	}{
		{name: "one length: the mean", trials: onLine(0.2, 0.5, []float64{60, 60, 60}), rate: 12.5},
		{name: "lengths just below a factor of two: the mean", trials: onLine(0.2, 0.2, []float64{31, 45, 61.9}), rate: 12.29},
		{name: "lengths at a factor of two: the line", trials: onLine(0.2, 0.5, []float64{30, 45, 60}), rate: 12, offset: 500, runsOn: 500, line: true, says: "runs on"},
		{name: "two trials: the mean", trials: onLine(0.2, 0.5, []float64{30, 60}), rate: 12.75},
		{name: "the line drains", trials: onLine(0.2, -0.5, []float64{20, 40, 60, 80}), rate: 12, offset: -500, line: true, says: "started 2.5 s late"},
		{name: "no offset to be seen: the mean", trials: onLine(0.2, 0, []float64{30, 45, 60, 30, 45, 60}, wiggle...), rate: 12, line: true},
		{name: "an offset that scatter explains: the mean", trials: onLine(0.2, 0.02, []float64{30, 45, 60, 30, 45, 60}, wiggle...), rate: 12.03, line: true},
		{name: "a rate that is known badly: provisional", trials: onLine(0.2, -1.2, []float64{30, 60, 45, 52, 38}, 0.1, 0.05, -0.14, 0.1, -0.1), rate: 12.07, offset: -1251, line: true, unsure: true, says: "± 8.8 %"},
		{name: "rates scatter, and no offset is sure", trials: onLine(0.2, -0.8, []float64{30, 45, 60}, 0.02, -0.04, 0.02), because: "an offset of -0.8 ± 1.4 mL"},
		{name: "scatter beyond any line", trials: []Trial{{30, 6}, {60, 9}, {90, 18}, {30, 4}}, because: "scatter"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, findings, err := Measure(c.trials, Last{})
			if c.rate == 0 {
				if err == nil || !strings.Contains(err.Error(), c.because) || !reflect.DeepEqual(got, Calibration{}) {
					t.Fatalf("Measure = %+v, %v; want a refusal that says %q", got, err, c.because)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(got.Rate.MillilitresPerMinute()-c.rate) > 0.01 || got.Offset != c.offset || got.RunsOn < c.runsOn || got.RunsOn > c.runsOn+1 || (got.Line != nil) != c.line {
				t.Errorf("Measure = %+v; want %g mL/min and %d µL, at most %d, line %v", got, c.rate, c.offset, c.runsOn, c.line)
			}
			if c.unsure != (got.Provisional && len(c.trials) > 2) || got.Provisional != (got.Tolerance == safety.ProvisionalTolerance) {
				t.Errorf("provisional %v with tolerance %d", got.Provisional, got.Tolerance)
			}
			if !strings.Contains(textOf(findings), c.says) {
				t.Errorf("findings %q do not say %q", textOf(findings), c.says)
			}
		})
	}
}

func textOf(list []Finding) string {
	var b strings.Builder
	for _, f := range list {
		b.WriteString(string(f.Kind) + ": " + f.Text + "\n")
	}
	return b.String()
}

// What is compared depends on what is known of the last time.
func TestMeasureCompares(t *testing.T) {
	before := onLine(0.2, 0, []float64{30, 60, 90, 60}, 0.01, -0.01, 0.01, -0.01)
	now := onLine(0.2, -0.6, []float64{30, 60, 90, 60}, -0.01, 0.01, -0.01, 0.01)
	rate, _ := safety.RateFromMillilitresPerMinute(12)
	for _, c := range []struct {
		name string
		last Last
		says string
		not  string
	}{
		{"nothing", Last{}, "late_start: every run gives -0.6", "after"},
		{"a nominal rate", Last{Rate: rate * 90 / 100}, "tubing: 12.000 mL/min after 10.8", "besides rate × time"},
		{"a line", Last{Rate: rate, Trials: before}, "late_start: every run now gives -0.6 mL besides rate × time", "tubing"},
		{"trials of one length", Last{Rate: rate, Trials: onLine(0.2, 0, []float64{60, 60, 60})}, "late_start: every run gives", "besides rate × time"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, findings, err := Measure(now, c.last)
			if err != nil || got.Previous != c.last.Rate {
				t.Fatalf("%+v, %v", got, err)
			}
			if text := textOf(findings); !strings.Contains(text, c.says) || strings.Contains(text, c.not) {
				t.Errorf("found %q; want %q and not %q", text, c.says, c.not)
			}
		})
	}
}

func TestMeasureNeedsConfirmation(t *testing.T) {
	trials := onLine(0.2, 0.4, []float64{30, 60, 90})
	for _, c := range []struct {
		permille int64 // of the new rate
		want     bool
	}{{834, false}, {833, true}, {1249, false}, {1251, true}} {
		last := Last{Rate: safety.Rate(200_000 * c.permille / 1000)}
		if got, _, err := Measure(trials, last); err != nil || got.NeedsConfirm != c.want {
			t.Errorf("after %d permille: %v, %v; want %v", c.permille, got.NeedsConfirm, err, c.want)
		}
	}
}

// Exact trials give back what they were made of; RunsOn is never below the offset nor below 0.
func TestMeasureFindsTheLine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		slope := rapid.Float64Range(0.01, 5).Draw(t, "mL/s")
		shortest := rapid.Float64Range(10, 60).Draw(t, "s")
		seconds := []float64{shortest, shortest * 2.1, shortest * 3}
		offset := rapid.Float64Range(-0.8, 0.8).Draw(t, "part") * slope * shortest
		got, _, err := Measure(onLine(slope, offset, seconds), Last{})
		if err != nil {
			t.Fatal(err)
		}
		if got.RunsOn < max(0, got.Offset) {
			t.Fatalf("%+v", got)
		}
		real := math.Abs(offset) > 0.0011*slope*shortest
		if real && (math.Abs(float64(got.Offset)-offset*1000) > 1 || math.Abs(float64(got.Rate)-slope*1e6) > 1) {
			t.Fatalf("%+v from %g mL/s and %g mL", got, slope, offset)
		}
		if none := math.Abs(offset) < 0.0009*slope*shortest; none && (got.Offset != 0 || got.RunsOn != 0) {
			t.Fatalf("an offset of %g mL is booked: %+v", offset, got)
		}
	})
}

// An offset beyond measure is refused before it could be rounded to something harmless.
func TestBookedOffsetIsBounded(t *testing.T) {
	for _, c := range []struct {
		ml, half float64
		ok       bool
	}{{0.5, 0.1, true}, {-99_999, 0, true}, {99_999, 2, false}, {math.NaN(), 0, false}, {1, math.Inf(1), false}} {
		_, _, err := Regression{OffsetML: c.ml, OffsetHalfWidth: c.half}.booked()
		if (err == nil) != c.ok {
			t.Errorf("%g ± %g: %v", c.ml, c.half, err)
		}
	}
}
