package machine_test

import (
	"testing"
	"time"

	"aliquot/bridge/machine"
)

func TestH18TubingWears(t *testing.T) {
	r := newRig(t, previews, noon)
	r.boot()
	r.commission()
	ran := r.channel("alk").RunSeconds
	if ran == 0 {
		t.Fatal("commissioning took no running time; the test needs some")
	}
	const name = "tubing-alk"
	for _, c := range []struct {
		name  string
		share float64 // of its life that the tubing has behind it
		want  string
	}{
		{"not declared", 0, ""},
		{"below the note", .799, ""},
		{"at the note", .8, machine.Notice},
		{"below its life", .999, machine.Notice},
		{"at its life", 1, machine.Warning},
		{"beyond", 1.5, machine.Warning},
	} {
		t.Run(c.name, func(t *testing.T) {
			site := *previews
			site.Channels = append([]machine.Channel(nil), site.Channels...)
			if c.share > 0 {
				site.Channels[0].Line.TubingLife = time.Duration(ran / c.share * float64(time.Second))
			}
			f := machine.NewFold(&site)
			for _, row := range r.rows {
				f.Add(row)
			}
			s, _ := machine.Step(f.State(), r.instant(), machine.Booted{Instance: "later"})
			got := ""
			for _, a := range machine.Snapshot(&s).Alerts {
				if a.Name == name {
					got = a.Level
				}
			}
			if got != c.want {
				t.Errorf("after %.3f of its life the alert is %q; want %q", c.share, got, c.want)
			}
			v := machine.Snapshot(&s).Channels[0]
			if (v.TubingLifeSeconds == nil) != (c.share == 0) {
				t.Errorf("tubing_life_seconds is %v with a share of %g", v.TubingLifeSeconds, c.share)
			}
			s, _ = machine.Step(s, r.instant(), machine.Asked{Request: machine.Request{Verb: machine.VerbTube, Ref: "new", Channel: "alk"}})
			v = machine.Snapshot(&s).Channels[0]
			if v.RunSeconds != 0 || v.Primed || v.RateMLPerMin != nil {
				t.Errorf("new tubing has run for %g s, primed %v, rate %v; want it to start anew", v.RunSeconds, v.Primed, v.RateMLPerMin)
			}
			for _, a := range machine.Snapshot(&s).Alerts {
				if a.Name == name {
					t.Errorf("the alert of worn tubing stands after it was changed")
				}
			}
		})
	}
}
