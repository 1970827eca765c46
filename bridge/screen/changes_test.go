package screen

import (
	"reflect"
	"testing"
	"time"
)

func TestChanges(t *testing.T) {
	later := now.Add(time.Minute)
	for _, c := range []struct {
		name   string
		change func(*Seen)
		want   []string
	}{
		{"nothing", func(*Seen) {}, nil},
		{"what only drifts", func(s *Seen) { s.View.Quantities[0].Level = ptr(8.30); s.View.Containers[0].RemainingMinML -= 2 }, nil},
		{"offline", func(s *Seen) { s.Service = Offline }, []string{"the service is OFFLINE: nothing is dosed"}},
		{"silent", func(s *Seen) { s.At = now.Add(time.Hour) }, []string{"the service is silent: its last sign of life is of 09:13"}},
		{"no broker", func(s *Seen) { s.Link = "refused" }, []string{"the broker is not there: refused"}},
		{"an alert", func(s *Seen) { s.View.Alerts = wrong().View.Alerts[1:2] }, []string{"ALERT lockout-alk-fault (critical): channel alk: the node said that it started a run twice"}},
		{"a run begins", func(s *Seen) { s.View.Channels[0].Running = true }, []string{"channel alk runs"}},
		{"a run ends", func(s *Seen) { s.View.Channels[1].Running = false; s.View.Channels[1].LastOutcome = "partial" }, []string{"channel ca: the run ended, partial; 86.0 of 180 mL in 24 h"}},
		{"a run that nobody saw begin", func(s *Seen) { s.View.Channels[0].LastRun = &later }, []string{"channel alk ran: finished; 58.3 of 180 mL in 24 h"}},
		{"withheld", func(s *Seen) { s.View.Channels[2].Withheld = wrong().View.Channels[2].Withheld[1:3] }, []string{"channel trace is withheld: not_primed, no_self_stop_proof"}},
		{"another plan", func(s *Seen) { s.View.Channels[0].PlannedMLPerDay = 101 }, []string{"channel alk: planned 101 mL a day, before 97.4"}},
		{"a test", func(s *Seen) { s.View.Quantities[1].TestsUsed++ }, []string{"calcium of nursery: a test was taken; the level is 428 ± 7 mg/L, the use 7.6 ± 1.5 a day (90 %)"}},
		{"a test far off", func(s *Seen) { s.View.Quantities[0].Unconfirmed = ptr(11.4) }, []string{"alkalinity of nursery: a test of 11.40 dKH is far from what was expected: test again"}},
		{"out of its band", func(s *Seen) { s.View.Quantities[0].Level = ptr(9.0) }, []string{"alkalinity of nursery is HIGH: 9.00 ± 0.15 dKH (90 %)"}},
		{"a refill", func(s *Seen) { s.View.Containers[0].RemainingMinML = 5000 }, []string{"container carbonate-jug was filled: 5000 of 5000 mL"}},
		{"low", func(s *Seen) { s.View.Containers[1].Low = true }, []string{"container calcium-jug is LOW: 2100 mL, 22 days"}},
		{"a probe lost", func(s *Seen) { s.View.Probes[0].Good, s.View.Probes[0].Why = false, "silent" }, []string{"probe ph has no good reading: silent"}},
		{"a supply relay goes off", func(s *Seen) { off := false; s.View.Nodes[0].On = &off }, []string{"supply relay board is OFF"}},
		{"a node lost", func(s *Seen) { s.View.Nodes[0].Online = false }, []string{"node board is OFFLINE"}},
		{"an interlock", func(s *Seen) { s.View.Interlocks[1].Active = true }, []string{"interlock floor-wet BLOCKS"}},
		{"a channel that is gone", func(s *Seen) { s.View.Channels = s.View.Channels[1:] }, nil},
	} {
		after := good()
		c.change(&after)
		if got := Changes(good(), after, time.UTC); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// What went wrong and comes right again is told too.
func TestChangesBack(t *testing.T) {
	got := Changes(wrong(), good(), time.UTC)
	for _, want := range []string{"alert lockout-alk-fault is over", "alkalinity of nursery is back in its band: 8.31 ± 0.15 dKH (90 %)", "channel trace is free to run", "node plug is online", "interlock ph-high is open", "probe ph has a good reading again", "container calcium-jug was filled: 2100 of 5000 mL"} {
		found := false
		for _, g := range got {
			found = found || g == want
		}
		if !found {
			t.Errorf("%q is not told: %q", want, got)
		}
	}
	a, b := wrong(), wrong()
	b.View.Alerts[0].Acknowledged = true
	b.Link, a.Link = "", "gone"
	if got := Changes(a, b, time.UTC); !reflect.DeepEqual(got, []string{"the broker is there again", "alert container-empty-calcium-jug is acknowledged"}) {
		t.Errorf("%q", got)
	}
}
