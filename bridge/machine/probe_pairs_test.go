package machine_test

import (
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
	"aliquot/safety"
)

// twoProbes is the lagoon with a second pH probe. In the last one the interlock goes on without a reading.
func twoProbes(system string, ignore bool) *machine.Site {
	site := *lagoon(time.UTC)
	site.Probes = append([]machine.Probe{}, site.Probes...)
	site.Probes = append(site.Probes, machine.Probe{ID: "ph-2", System: system, Quantity: units.PH, Low: 7, High: 9.5, StaleAfter: 10 * time.Minute})
	site.Interlocks = append([]machine.Interlock{}, site.Interlocks...)
	site.Interlocks[0].Rule.IgnoreStale = ignore
	return &site
}

// Two pH probes of one water that differ by more than 0.2 are both without a reading, until they differ by 0.15: what needs
// one does not run, and an alert says why. What does not need one still goes by what its own probe says, and so does the alarm.
func TestH32_TwoProbesThatDisagree(t *testing.T) {
	for _, c := range []struct {
		name          string
		system        string
		ignore        bool
		first, second float64 // of the probe of the interlock, and of the other
		then          float64 // what the other says after an hour; 0: the same
		good, runs    bool
	}{
		{"they agree", "reef", false, 8.2, 8.25, 0, true, true},
		{"just within", "reef", false, 8.2, 8.4, 0, true, true},
		{"just beyond", "reef", false, 8.2, 8.41, 0, false, false},
		{"below", "reef", false, 8.2, 7.9, 0, false, false},
		{"nearer, and still apart", "reef", false, 8.2, 8.5, 8.36, false, false},
		{"together again", "reef", false, 8.2, 8.5, 8.34, true, true},
		{"another water", "", false, 8.2, 7.9, 0, true, true},
		{"an interlock that needs no reading", "reef", true, 8.2, 7.9, 0, false, true},
		{"a high reading blocks even so", "reef", true, 8.55, 8.2, 0, false, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, twoProbes(c.system, c.ignore), noon)
			r.boot()
			r.readings["ph-2"] = 8.2
			r.commission()
			say := func(second float64) {
				r.readings["ph"] = c.first
				r.readings["ph-2"] = second
				for _, p := range []string{"ph", "ph-2"} { // without the swing of a day
					r.step(machine.ProbeRead{Probe: p, Value: r.readings[p]})
				}
				delete(r.readings, "ph")
				delete(r.readings, "ph-2")
			}
			hours := func(n int, second float64) (runs int) {
				before := r.channel("alk").TotalHiML
				for range n * 12 {
					say(second)
					r.advance(5 * time.Minute)
				}
				if r.channel("alk").TotalHiML > before {
					return 1
				}
				return 0
			}
			hours(1, c.second)
			if c.then != 0 {
				hours(1, c.then)
			}
			last := c.second
			if c.then != 0 {
				last = c.then
			}
			ran := hours(2, last) > 0
			for _, p := range r.view().Probes {
				if p.Quantity == string(units.PH) && (p.Good != c.good || (p.Why == "") != c.good) {
					t.Errorf("probe %s: good %v (%s); want %v", p.ID, p.Good, p.Why, c.good)
				}
			}
			if r.alerts["probe-apart-ph"].Raised == c.good || ran != c.runs {
				t.Errorf("alert %v, runs %v; want %v and %v", r.alerts["probe-apart-ph"].Raised, ran, !c.good, c.runs)
			}
		})
	}
}

// The alarm of a high pH needs no second probe to agree.
func TestH32_H26_DoubtHidesNoAlarm(t *testing.T) {
	site := twoProbes("reef", false)
	site.Channels = append([]machine.Channel(nil), site.Channels...)
	site.Channels[0].Gentle = ml(5) // it raises pH
	r := newRig(t, site, noon)
	r.boot()
	r.readings["ph-2"] = 8.2
	r.commission()
	for range 3 {
		r.step(machine.ProbeRead{Probe: "ph-2", Value: safety.PHAlarm})
		r.advance(time.Minute)
	}
	if !r.channel("alk").LockedOut || !r.alerts["ph-alarm-ph-2"].Raised {
		t.Errorf("locked out: %v, alert %v; want both", r.channel("alk").LockedOut, r.alerts["ph-alarm-ph-2"].Raised)
	}
}
