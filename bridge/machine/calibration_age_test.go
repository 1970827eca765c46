package machine_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// aged folds the rig's rows again as if so many hours had been run and so many days passed since commissioning.
func aged(t *testing.T, days float64, hours time.Duration) machine.State {
	t.Helper()
	r := newRig(t, previews, noon)
	r.boot()
	r.commission()
	r.crash()
	rows := append([]machine.Row(nil), r.rows...)
	last := rows[len(rows)-1]
	if hours > 0 { // a run of alk that took so long
		last.Seq, last.ID = last.Seq+1, "long"
		last.Body = machine.RunReserved{Run: "long", Channel: "alk", Container: "carbonate-jug", Node: "board", Output: 1, Purpose: machine.Manual, Into: machine.IntoVessel,
			Volume: 1, Duration: 1, Longest: safety.MillisecondsUp(hours)}
		rows = append(rows, last)
	}
	at := r.instant()
	past := time.Duration(days * float64(24*time.Hour))
	at.Wall, at.Mono = at.Wall.Add(past), 0
	s, _ := machine.Step(r.foldOf(rows), at, machine.Booted{Instance: "later"})
	return s
}

func TestH17CalibrationAge(t *testing.T) {
	for _, c := range []struct {
		name  string
		days  float64
		hours time.Duration
		want  string // of the text; empty: no alert
	}{
		{"new", 1, 0, ""},
		{"just below the days", 59.9, 0, ""},
		{"just above the days", 60.1, 0, "it may give more or less by now"},
		{"just below the hours", 1, 40 * time.Hour, ""},
		{"just above the hours", 1, 40*time.Hour + time.Minute, "40 hours of running"},
		{"just below twice the days", 119.9, 0, "it may give more or less by now"},
		{"just above twice the days", 120.1, 0, "until then the plan does not raise it"},
		{"just above twice the hours", 1, 80*time.Hour + time.Minute, "until then the plan does not raise it"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := aged(t, c.days, c.hours)
			got := ""
			for _, a := range machine.Snapshot(&s).Alerts {
				if a.Name == "calibration-old-alk" {
					got = a.Text
					if a.Level != machine.Warning {
						t.Errorf("level %s; want a warning", a.Level)
					}
				}
			}
			if (got == "") != (c.want == "") || !strings.Contains(got, c.want) {
				t.Errorf("the alert says %q; want %q", got, c.want)
			}
			ceiling := !strings.Contains(alkPart(&s), "ceiling none")
			if want := strings.Contains(c.want, "does not raise"); ceiling != want {
				t.Errorf("the plan is bounded: %v; want %v\n%s", ceiling, want, alkPart(&s))
			}
		})
	}
}

// alkPart is what the durable state says of channel alk.
func alkPart(s *machine.State) string {
	_, rest, _ := strings.Cut(machine.Durable(s), "\nchannel alk ")
	part, _, _ := strings.Cut(rest, "\nchannel ")
	return part
}

// How far the trials of a calibration scatter stands in its answer and in the state of the channel, live and after a fold.
func TestCalibrationShowsItsScatter(t *testing.T) {
	for _, c := range []struct {
		name   string
		trials []machine.Trial
		want   float64 // CV in %; below 0: too few trials to tell
	}{
		// By hand: 9.8, 10 and 10.2 mL/min have the mean 10 and the sample standard deviation 0.2.
		{"three", []machine.Trial{{Seconds: 60, MeasuredML: 9.8}, {Seconds: 60, MeasuredML: 10}, {Seconds: 60, MeasuredML: 10.2}}, 2},
		{"three alike", []machine.Trial{{Seconds: 60, MeasuredML: 10}, {Seconds: 60, MeasuredML: 10}, {Seconds: 60, MeasuredML: 10}}, 0},
		{"one", []machine.Trial{{Seconds: 60, MeasuredML: 10}}, -1},
		// Without the offset these rates would scatter by more than 10 %.
		{"on a line with an offset", line(9.8, 1.5, 20, 40, 60, 80), 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, previews, noon)
			r.boot()
			r.commission()
			r.must(machine.VerbCalibrate, machine.Request{Channel: "alk", Confirm: true, Trials: c.trials})
			folded := r.foldOf(r.rows)
			for _, v := range []machine.ChannelView{r.channel("alk"), machine.Snapshot(&folded).Channels[0]} {
				if v.Trials != len(c.trials) || (v.CVPercent == nil) != (c.want < 0) || v.CVPercent != nil && math.Abs(*v.CVPercent-c.want) > 0.01 {
					t.Errorf("%d trials, CV %v; want %d, %g", v.Trials, v.CVPercent, len(c.trials), c.want)
				}
			}
			r.must(machine.VerbTube, machine.Request{Channel: "alk"})
			if v := r.channel("alk"); v.Trials != 0 || v.CVPercent != nil {
				t.Errorf("after new tubing: %d trials, CV %v", v.Trials, v.CVPercent)
			}
		})
	}
}
