package machine_test

import (
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner"
	"aliquot/safety"
)

// onSite has the next process start with another configuration on the same ledger.
func (r *rig) onSite(change func(*machine.Site)) {
	r.crash()
	site := lagoon(time.UTC)
	change(site)
	r.site, r.blank = site, blankOf(site)
	r.boot()
	r.advance(10 * time.Second)
}

func (r *rig) notAccepted(channel string) string {
	for _, b := range r.channel(channel).Withheld {
		if b.Code == safety.NotAccepted {
			return b.Text
		}
	}
	return ""
}

func TestH36_H33_RaisedBoundsWaitForAWord(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*machine.Site)
		want   string // part of the reason for which alk waits
		others bool   // the other channels wait too
	}{
		{"the same", func(*machine.Site) {}, "", false},
		{"per_day raised", func(s *machine.Site) { s.Channels[0].Limits.PerDay = ml(150.001) }, "channels.alk.limits.per_day was 150 mL and is 150.001 mL", false},
		{"per_day lowered", func(s *machine.Site) { s.Channels[0].Limits.PerDay = ml(100) }, "", false},
		{"per_run raised", func(s *machine.Site) { s.Channels[0].Limits.PerRun = ml(60) }, "per_run was 6 mL and is 60 mL", false},
		{"attended raised", func(s *machine.Site) { s.Channels[0].Limits.AttendedPerDay *= 2 }, "attended.per_day", false},
		{"max_dose raised", func(s *machine.Site) { s.Systems[0].Targets[0].MaxDose = 2.2 }, "alkalinity.max_dose was 2.1 dKH/day and is 2.2 dKH/day", true},
		{"water, a tenth more", func(s *machine.Site) { s.Systems[0].NetLitres = 374 }, "", false},
		{"water, more than that", func(s *machine.Site) { s.Systems[0].NetLitres = 374.1 }, "net_volume was 340 L and is 374.1 L", true},
		{"water, ten times", func(s *machine.Site) { s.Systems[0].NetLitres = 3400 }, "net_volume was 340 L and is 3400 L", true},
		{"water, a tenth less", func(s *machine.Site) { s.Systems[0].NetLitres = 306 }, "", false},
		{"water, less than that", func(s *machine.Site) { s.Systems[0].NetLitres = 305.9 }, "net_volume", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, lagoon(time.UTC), noon)
			r.boot()
			r.commission()
			r.onSite(c.change)
			got := r.notAccepted("alk")
			if (got == "") != (c.want == "") || !strings.Contains(got, c.want) {
				t.Errorf("alk waits since %q; want %q", got, c.want)
			}
			if other := r.notAccepted("ca") != ""; other != c.others {
				t.Errorf("ca waits %v; want %v", other, c.others)
			}
			if c.want == "" {
				return
			}
			if a := r.ask(machine.VerbClear, machine.Request{Channel: "alk"}); a.OK && a.Code != safety.NothingToDo {
				t.Errorf("clear answers %s %s; it is accept that ends this", a.Code, a.Text)
			}
			r.crash()
			r.boot()
			if r.notAccepted("alk") != got {
				t.Error("a restart changed what is waited for")
			}
			a := r.must(machine.VerbAccept, machine.Request{What: "configuration"})
			if r.notAccepted("alk") != "" || r.notAccepted("ca") != "" || !strings.Contains(a.Text, c.want) {
				t.Errorf("after %q alk waits since %q", a.Text, r.notAccepted("alk"))
			}
			r.crash()
			r.boot()
			if r.notAccepted("alk") != "" {
				t.Error("a restart forgot that it was accepted")
			}
			r.check.refolds(r)
			if a := r.ask(machine.VerbAccept, machine.Request{What: "configuration"}); a.Code != safety.NothingToDo {
				t.Errorf("a second accept answers %s %s", a.Code, a.Text)
			}
		})
	}
}

func TestH36BoundsByDetours(t *testing.T) {
	higher := func(s *machine.Site) { s.Channels[0].Limits.PerDay = ml(300) }
	litres := func(v float64) func(*machine.Site) { return func(s *machine.Site) { s.Systems[0].NetLitres = v } }
	for _, c := range []struct {
		name  string
		steps []func(*machine.Site)
		want  bool
	}{
		{"taken back", []func(*machine.Site){higher, func(*machine.Site) {}}, false},
		{"raised in between, and again", []func(*machine.Site){higher, func(*machine.Site) {}, higher}, true},
		{"lowered, and back to what it was", []func(*machine.Site){func(s *machine.Site) { s.Channels[0].Limits.PerDay = ml(100) }, func(*machine.Site) {}}, true},
		{"left out, and back with more", []func(*machine.Site){func(s *machine.Site) { s.Channels, s.KeepApart = s.Channels[1:], nil; s.Interlocks = nil }, higher}, true},
		{"small steps of the water", []func(*machine.Site){litres(370), litres(400)}, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, lagoon(time.UTC), noon)
			r.boot()
			r.commission()
			for _, change := range c.steps {
				r.onSite(change)
			}
			if got := r.notAccepted("alk"); (got != "") != c.want {
				t.Errorf("alk waits since %q; want waiting %v", got, c.want)
			}
		})
	}
}

// What is given in a day whatever the tests say may rise by a quarter without a word (H-36).
func TestH36DailyVolumesThatRiseWaitForAWord(t *testing.T) {
	fixedAt := func(v float64) func(*machine.Site) { return func(s *machine.Site) { s.Channels[3].FixedPerDay = v } }
	baseAt := func(v float64) func(*machine.Site) { return func(s *machine.Site) { s.Channels[2].Base = ref(ml(v)) } }
	for _, c := range []struct {
		name    string
		steps   []func(*machine.Site)
		channel string
		want    string
	}{
		{"fixed, a quarter more", []func(*machine.Site){fixedAt(1.875)}, "trace", ""},
		{"fixed, more than that", []func(*machine.Site){fixedAt(1.876)}, "trace", "channels.trace.fixed was 1.5 mL/day and is 1.876 mL/day"},
		{"fixed, ten times", []func(*machine.Site){fixedAt(15)}, "trace", "channels.trace.fixed was 1.5 mL/day and is 15 mL/day"},
		{"fixed, a tenth", []func(*machine.Site){fixedAt(.15)}, "trace", ""},
		{"fixed, down and back up", []func(*machine.Site){fixedAt(.15), fixedAt(1.5)}, "trace", "fixed was 0.15 mL/day and is 1.5 mL/day"},
		{"fixed, in small steps", []func(*machine.Site){fixedAt(1.8), fixedAt(2.1)}, "trace", "fixed was 1.5 mL/day and is 2.1 mL/day"},
		{"base, a quarter more", []func(*machine.Site){baseAt(5)}, "mg", ""},
		{"base, more than that", []func(*machine.Site){baseAt(5.1)}, "mg", "channels.mg.base was 4 mL/day and is 5.1 mL/day"},
		{"fixed in place of following", []func(*machine.Site){func(s *machine.Site) { s.Channels[0] = fixed(s.Channels[0], 5) }}, "alk", "channels.alk.fixed is new: 5 mL/day"},
		{"share in place of following", []func(*machine.Site){func(s *machine.Site) {
			k := &s.Channels[0]
			k.Mode, k.Quantity, k.ShareOf, k.ShareRatio = planner.Share, "", "ca", 1
		}}, "alk", "channels.alk.share.ratio is new: 1 mL for one mL"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, lagoon(time.UTC), noon)
			r.boot()
			r.commission()
			for _, change := range c.steps {
				r.onSite(change)
			}
			got := r.notAccepted(c.channel)
			if (got == "") != (c.want == "") || !strings.Contains(got, c.want) {
				t.Fatalf("%s waits since %q; want %q", c.channel, got, c.want)
			}
			if c.want == "" {
				return
			}
			r.must(machine.VerbAccept, machine.Request{What: "configuration"})
			r.crash()
			r.boot()
			if got := r.notAccepted(c.channel); got != "" {
				t.Errorf("accepted, and waits again since %q", got)
			}
		})
	}
}
