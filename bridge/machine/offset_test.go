package machine_test

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// line gives trials on volume = mlPerMin/60 × seconds + offsetML.
func line(mlPerMin, offsetML float64, seconds ...float64) []machine.Trial {
	var out []machine.Trial
	for _, s := range seconds {
		out = append(out, machine.Trial{Seconds: s, MeasuredML: mlPerMin/60*s + offsetML})
	}
	return out
}

// Over any offset that trials find, each planned run gives what it is meant to give, is booked with no less, and never
// with less than rate × time.
func TestPlannedRunsCountTheOffset(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		rate := rapid.Float64Range(2, 60).Draw(rt, "mL/min")
		offset := rapid.Float64Range(-0.9, 0.9).Draw(rt, "of the shortest trial") * rate / 60 * 20
		r := newRig(rt, previews, noon)
		r.boot()
		r.commission()
		r.must(machine.VerbCalibrate, machine.Request{Channel: "alk", Confirm: true, Trials: line(rate, offset, 20, 40, 60, 80)})
		k := lastBody[machine.Calibration](r.rows)
		before := len(r.rows)
		r.advance(26 * time.Hour)
		checkRuns(rt, r.rows[before:], k)
		if again := r.foldOf(r.rows); machine.Snapshot(&again).Channels[0].OffsetML != r.channel("alk").OffsetML {
			rt.Fatalf("the fold has another offset")
		}
	})
}

func lastBody[T machine.Body](rows []machine.Row) (b T) {
	for i := len(rows) - 1; i >= 0; i-- {
		if found, ok := rows[i].Body.(T); ok {
			return found
		}
	}
	return b
}

func checkRuns(t *rapid.T, rows []machine.Row, k machine.Calibration) {
	meant := map[string]machine.RunReserved{}
	for _, row := range rows {
		switch b := row.Body.(type) {
		case machine.RunReserved:
			if b.Channel != "alk" {
				continue
			}
			if b.Offset != k.Offset || b.RunsOn != k.RunsOn || b.RunsOn < max(0, b.Offset) {
				t.Fatalf("reserved with %s and %s; calibrated %s and %s", b.Offset, b.RunsOn, k.Offset, k.RunsOn)
			}
			truth := float64(k.Rate)*float64(b.Duration)/1e6 + float64(k.Offset) // µL
			if off := truth - float64(b.Volume); off < 0 || off >= 1 {
				t.Fatalf("a run of %s gives %g µL", b.Volume, truth)
			}
			meant[b.Run] = b
		case machine.RunEnded:
			run, ok := meant[b.Run]
			if !ok {
				continue
			}
			truth := float64(k.Rate)*float64(run.Duration)/1e6 + float64(k.Offset)
			if bare := float64(k.Rate) * float64(run.Duration) / 1e6; float64(b.Hi) < max(truth, bare)*1.05-1e-6 || float64(b.Lo) > truth {
				t.Fatalf("a run of %s that gives %g µL (%g without its offset) is booked %s to %s", run.Volume, truth, bare, b.Lo, b.Hi)
			}
		}
	}
}

func TestCalibrateTellsTheLine(t *testing.T) {
	for _, c := range []struct {
		name   string
		trials []machine.Trial
		rate   float64
		offset float64
		found  bool
		code   safety.Code
		says   []string
	}{
		{"trials of one length", line(9.8, 0, 30, 30, 30), 9.8, 0, false, safety.OK, []string{"9.8 mL/min (3 trials, CV 0.0 %)"}},
		{"it drains between runs", line(9.8, -0.5, 20, 40, 60, 80), 9.8, -0.5, true, safety.OK, []string{"-0.5 mL (± ", "late_start", "+0 mL before", "check valve"}},
		{"liquid runs on", line(9.8, 0.5, 20, 40, 60, 80), 9.8, 0.5, true, safety.OK, []string{"+0.5 mL (± ", "runs_on", "siphon"}},
		{"no offset", line(9.8, 0, 20, 40, 60, 80), 9.8, 0, true, safety.OK, []string{"not sure and not used"}},
		{"two trials", line(9.8, 0.1, 20, 40), 10.025, 0, false, safety.Provisional, []string{"2 of 3 trials"}},
		{"minutes for seconds", line(9.8*60, 0, 20, 40, 60), 0, 0, false, safety.NeedsConfirm, []string{"factor of 60", "confirm"}},
		{"more than per_run", line(9.8, 30, 20, 40, 60, 80), 9.8, 30, true, safety.OK, []string{"nothing will be dosed"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, previews, noon)
			r.boot()
			r.commission()
			// A line before, so that line is set against line.
			r.must(machine.VerbCalibrate, machine.Request{Channel: "alk", Trials: line(9.8, 0, 20, 40, 60, 80)})
			a := r.ask(machine.VerbCalibrate, machine.Request{Channel: "alk", Trials: c.trials})
			if a.Code != c.code {
				t.Fatalf("%s %s; want %s", a.Code, a.Text, c.code)
			}
			var got machine.CalibrationResult
			if a.OK {
				if err := json.Unmarshal([]byte(a.Result), &got); err != nil {
					t.Fatal(err)
				}
			}
			if math.Abs(got.RateMLPerMin-c.rate) > 1e-3 || got.OffsetML != c.offset || (got.FoundOffsetML != nil) != c.found || (got.RateHalfWidth != nil) != (c.offset != 0) {
				t.Errorf("result %+v", got)
			}
			all := a.Text + a.Result
			for _, says := range c.says {
				if !strings.Contains(all, says) {
					t.Errorf("%q says nothing of %q", all, says)
				}
			}
			if view := r.channel("alk"); a.OK && view.OffsetML != c.offset {
				t.Errorf("the channel shows %g mL", view.OffsetML)
			}
		})
	}
}

// New tubing and coming back into service forget the offset with the rate, and rows of old keep having none.
func TestOffsetGoesWithItsRate(t *testing.T) {
	r := newRig(t, previews, noon)
	r.boot()
	r.commission()
	calibrate := func() {
		r.must(machine.VerbCalibrate, machine.Request{Channel: "alk", Trials: line(9.8, 0.5, 20, 40, 60, 80)})
		if r.channel("alk").OffsetML != 0.5 {
			t.Fatalf("no offset after calibrating: %+v", r.channel("alk"))
		}
	}
	calibrate()
	r.must(machine.VerbTube, machine.Request{Channel: "alk"})
	a := r.must(machine.VerbRun, machine.Request{Channel: "alk", Kind: "test", Into: "vessel", Seconds: ref(5.0)})
	if run := lastBody[machine.RunReserved](r.rows); run.Offset != 0 || run.RunsOn != 0 {
		t.Errorf("%s, and it is booked with the offset of the old tubing: %+v", a.Text, run)
	}
	r.advance(20 * time.Minute)
	calibrate()
	old := append([]machine.Row(nil), r.rows...)
	for i := range old {
		if k, ok := old[i].Body.(machine.Calibration); ok {
			k.Offset, k.RunsOn = 0, 0
			old[i].Body = k
		}
	}
	state := r.foldOf(old)
	for _, c := range machine.Snapshot(&state).Channels {
		if c.OffsetML != 0 {
			t.Errorf("a row without an offset gives channel %s %g mL", c.ID, c.OffsetML)
		}
	}
}

// An imported line carries the trials alone.
func TestImportedTrialsGiveTheOffset(t *testing.T) {
	r := newRig(t, previews, noon)
	r.boot()
	r.commission()
	r.must(machine.VerbCalibrate, machine.Request{Channel: "alk", Trials: line(9.8, -0.5, 20, 40, 60, 80)})
	rows := append([]machine.Row(nil), r.rows...)
	for i := range rows {
		if k, ok := rows[i].Body.(machine.Calibration); ok {
			rows[i].Body = machine.Calibration{Channel: k.Channel, Trials: k.Trials}
		}
	}
	state := r.foldOf(rows)
	if got := machine.Snapshot(&state).Channels[0]; got.OffsetML != -0.5 || math.Abs(*got.RateMLPerMin-9.8) > 1e-3 {
		t.Errorf("imported: %+v", got)
	}
}

func TestAskedRunsCountTheOffset(t *testing.T) {
	r := newRig(t, previews, noon)
	r.boot()
	r.commission()
	r.must(machine.VerbCalibrate, machine.Request{Channel: "alk", Trials: line(9.8, 0.5, 20, 40, 60, 80)})
	for _, c := range []struct {
		name    string
		q       machine.Request
		code    safety.Code
		seconds float64
	}{
		{"by volume", machine.Request{Channel: "alk", VolumeML: ref(2.46)}, safety.Started, 12},
		{"by time", machine.Request{Channel: "alk", Seconds: ref(12.0)}, safety.Started, 12},
		{"just above the offset", machine.Request{Channel: "alk", Kind: "test", VolumeML: ref(0.6)}, safety.Started, 0.612},
		{"the offset", machine.Request{Channel: "alk", Kind: "test", VolumeML: ref(0.5)}, safety.OutOfRange, 0},
		{"a vessel's worth", machine.Request{Channel: "alk", Kind: "test", Into: "vessel", VolumeML: ref(59.0)}, safety.Started, 358.163},
	} {
		t.Run(c.name, func(t *testing.T) {
			r.advance(30 * time.Minute)
			a := r.ask(machine.VerbRun, c.q)
			if a.Code != c.code {
				t.Fatalf("%s %s; want %s", a.Code, a.Text, c.code)
			}
			if !a.OK {
				return
			}
			run := lastBody[machine.RunReserved](r.rows)
			if math.Abs(run.Duration.Seconds()-c.seconds) > 0.002 || run.Volume != safety.Microlitres(math.Round(run.Duration.Seconds()*9.8/60*1000))+500 || run.Worst < run.Volume {
				t.Errorf("%+v; want %g s", run, c.seconds)
			}
		})
	}
}

// Trials that scatter by some 0.07 mL around 10 mL/min: the least run that is good to ±10 % is far above smallest_run (0.3 mL),
// and the keeper is told; trials on a line tell of none.
func TestCalibrationSaysFromWhereRunsAreGood(t *testing.T) {
	r := newRig(t, previews, noon)
	r.boot()
	r.commission()
	calibrate := func(trials []machine.Trial) (from float64, text string) {
		answer := r.must(machine.VerbCalibrate, machine.Request{Channel: "alk", Confirm: true, Trials: trials})
		var got machine.CalibrationResult
		if err := json.Unmarshal([]byte(answer.Result), &got); err != nil || got.GoodFromML == nil {
			t.Fatalf("%s: %v", answer.Result, err)
		}
		return *got.GoodFromML, answer.Text
	}
	scattered := line(10, 0, 20, 30, 40, 50, 60, 70)
	for i, miss := range []float64{0.08, -0.07, 0.05, -0.08, 0.07, -0.05} {
		scattered[i].MeasuredML += miss
	}
	if from, text := calibrate(scattered); from < 1 || from > 10 || !strings.Contains(text, "runs are good to ±10 % from ") {
		t.Errorf("good from %v; %q", from, text)
	}
	if from, text := calibrate(line(10, 0, 20, 40, 60, 80)); from > 0.01 || strings.Contains(text, "good to") {
		t.Errorf("good from %v; %q", from, text)
	}
}
