package machine_test

import (
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
