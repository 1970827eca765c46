package machine_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
	"aliquot/safety"
)

// reef is a rig of which the chemistry alone is watched: tests, then pH readings.
func reef(t *testing.T, site *machine.Site) *rig {
	t.Helper()
	r := newRig(t, site, noon)
	r.boot()
	r.advance(10 * time.Second)
	r.test("alkalinity", 8.3, "dKH")
	r.test("calcium", 430, "mg/L")
	return r
}

func (r *rig) omega() *float64 { return r.view().Systems[0].AragoniteSaturation }

func (r *rig) read(probe string, v float64, length time.Duration) {
	for until := r.now + length; r.now < until; {
		r.step(machine.ProbeRead{Probe: probe, Value: v})
		r.advance(min(time.Minute, until-r.now))
	}
}

// 8.3 dKH, 430 mg/L and pH 8.2 on the NBS scale at 35 psu and 25 degC: 4.54 by package seawater, whose own tests compare it with a
// reference program; as much calcium as in the sea would give 4.46. Without a part of what it needs it is not known.
func TestAragoniteSaturationNeedsItsParts(t *testing.T) {
	for _, c := range []struct {
		name  string
		edit  func(*machine.Site)
		known bool
	}{
		{"all there", func(*machine.Site) {}, true},
		{"nothing known of the water", func(s *machine.Site) { s.Waters = nil }, false},
		{"fresh water", func(s *machine.Site) { s.Waters[0].Salinity = 2 }, false},
		{"another system's water", func(s *machine.Site) { s.Waters[0].System = "pond" }, false},
		{"the probe stands anywhere", func(s *machine.Site) { s.Probes[0].System = "" }, false},
		{"no pH probe", func(s *machine.Site) { s.Probes[0].Quantity = units.ORP }, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			site := lagoon(time.UTC)
			c.edit(site)
			r := reef(t, site)
			r.read("ph", 8.2, 3*time.Minute)
			switch omega := r.omega(); {
			case (omega != nil) != c.known:
				t.Errorf("saturation known %v; want %v", omega != nil, c.known)
			case c.known && !(*omega > 4.52 && *omega < 4.56):
				t.Errorf("saturation %.2f; want 4.54", *omega)
			}
		})
	}
}

func TestAragoniteSaturationTakesTheFreshestOfEach(t *testing.T) {
	site := lagoon(time.UTC)
	site.Probes = append(site.Probes,
		machine.Probe{ID: "warmth", System: "reef", Quantity: units.Temperature, Low: 15, High: 35, StaleAfter: 5 * time.Minute},
		machine.Probe{ID: "salt", System: "reef", Quantity: units.Salinity, Low: 0, High: 45, StaleAfter: 5 * time.Minute})
	r := reef(t, site)
	r.read("ph", 8.2, 2*time.Minute)
	configured := *r.omega()
	r.step(machine.ProbeRead{Probe: "warmth", Value: 29})
	r.read("ph", 8.2, 2*time.Minute)
	if warm := *r.omega(); !(warm > configured+.2) {
		t.Errorf("saturation %.2f at 29 degC; want well above the %.2f at 25", warm, configured)
	}
	r.read("ph", 8.2, 8*time.Minute)
	if cold := *r.omega(); cold != configured {
		t.Errorf("saturation %.2f after the thermometer fell silent; want %.2f as configured", cold, configured)
	}
	r.step(machine.ProbeRead{Probe: "salt", Value: 30})
	r.read("ph", 8.2, 2*time.Minute)
	if r.omega() == nil || *r.omega() == configured {
		t.Errorf("saturation does not follow the salinity probe")
	}
	r.step(machine.ProbeRead{Probe: "salt", Value: 5})
	r.read("ph", 8.2, 2*time.Minute)
	if r.omega() != nil {
		t.Errorf("saturation %.2f at 5 psu, outside the formulas; want none", *r.omega())
	}
}

// A test of alkalinity that is stale says nothing of today; calcium goes with salinity then.
func TestAragoniteSaturationNeedsAFreshTest(t *testing.T) {
	s := (&history{}).at(midnight, tested(units.Alkalinity, 12, midnight)).fold(previews)
	for _, c := range []struct {
		name string
		age  time.Duration
		note bool
	}{{"at its limit", 10 * 24 * time.Hour, true}, {"older", 10*24*time.Hour + time.Minute, false}} {
		at := midnight.Add(c.age)
		h := (&history{}).at(midnight, tested(units.Alkalinity, 12, midnight)).at(at, phMean(at, 8.9))
		if got := notes(previews, h, at, "aragonite"); (len(got) == 1) != c.note {
			t.Errorf("a test %s: notes %q; want one: %v", c.name, got, c.note)
		}
	}
	if got := machine.Preview(&s, midnight).Notes; slices.ContainsFunc(got, func(n string) bool { return strings.Contains(n, "aragonite") }) {
		t.Errorf("without a reading: %q", got)
	}
}

func (r *rig) aragonite() string {
	for _, a := range r.view().Alerts {
		if a.Name == "aragonite-high-reef" {
			return a.Level
		}
	}
	return ""
}

// H-26: a note at once, a warning after three hours without a break, and both end by themselves.
func TestH26AragoniteAlert(t *testing.T) {
	const low, high = 8.2, 8.68
	hold := 3 * time.Hour
	for _, c := range []struct {
		name string
		play func(r *rig)
		want string
	}{
		{"quiet", func(r *rig) { r.read("ph", low, hold) }, ""},
		{"a few minutes", func(r *rig) { r.read("ph", high, 5*time.Minute) }, machine.Notice},
		{"almost three hours", func(r *rig) { r.read("ph", high, hold-2*time.Minute) }, machine.Notice},
		{"three hours", func(r *rig) { r.read("ph", high, hold+3*time.Minute) }, machine.Warning},
		{"a dip between", func(r *rig) {
			r.read("ph", high, hold-10*time.Minute)
			r.read("ph", 8.52, 3*time.Minute)
			r.read("ph", high, 20*time.Minute)
		}, machine.Notice},
		{"a silent probe between", func(r *rig) {
			r.read("ph", high, hold-20*time.Minute)
			r.advance(15 * time.Minute)
			r.read("ph", high, 30*time.Minute)
		}, machine.Notice},
		{"a warning without readings", func(r *rig) {
			r.read("ph", high, hold+3*time.Minute)
			r.advance(23 * time.Hour)
		}, machine.Warning},
		{"a day without readings", func(r *rig) {
			r.read("ph", high, hold+3*time.Minute)
			r.advance(24*time.Hour + 30*time.Minute)
		}, ""},
		{"over", func(r *rig) {
			r.read("ph", high, hold+3*time.Minute)
			r.read("ph", 8.4, 3*time.Minute)
		}, ""},
		{"a restart", func(r *rig) {
			r.read("ph", high, hold+3*time.Minute)
			r.crash()
			r.boot()
			r.advance(3 * time.Minute)
		}, machine.Warning},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := reef(t, lagoon(time.UTC))
			c.play(r)
			if got := r.aragonite(); got != c.want {
				omega := "unknown"
				if o := r.omega(); o != nil {
					omega = fmt.Sprintf("%.2f", *o)
				}
				t.Errorf("alert %q; want %q (saturation %s)", got, c.want, omega)
			}
		})
	}
}

// strong makes the alkalinity channel's runs matter to pH: hydroxide of which a mL brings 0.03 dKH.
func strong(gentle safety.Microlitres) *machine.Site {
	site := lagoon(time.UTC)
	for i := range site.Channels {
		if c := &site.Channels[i]; c.ID == "alk" {
			c.Alkaline, c.Gentle = machine.AlkalineEffect{Salt: 0, AtOnce: 35}, gentle
		}
	}
	return site
}

// H-26: a fresh pH reading may make planned runs smaller, never larger, and its absence changes nothing.
func TestH26MeasuredPHBoundsPlannedRuns(t *testing.T) {
	largest := func(site *machine.Site, ph float64) (float64, []string) {
		h := ready(site)
		if ph > 0 {
			h.at(midnight, phMean(midnight, ph))
		}
		s := h.fold(site)
		return machine.LargestPlanned(&s, "alk", midnight).Millilitres(), notes(site, h, midnight, "since pH is")
	}
	static := ml(1.2)
	usual, _ := largest(strong(static), 0)
	acid, said := largest(strong(static), 7.8)
	acider, _ := largest(strong(static), 7.6)
	basic, silent := largest(strong(static), 8.5)
	unbounded, _ := largest(strong(0), 0)
	measured, _ := largest(strong(0), 7.8)
	if usual != 1.2 || unbounded != 6 {
		t.Fatalf("without a reading runs are bounded by %g and %g mL; want 1.2 and per_run 6", usual, unbounded)
	}
	if !(acid < usual && acider < acid && acider > .3) {
		t.Errorf("bounds of %g mL at pH 7.6, %g at 7.8, %g without: want them to grow", acider, acid, usual)
	}
	if basic != usual {
		t.Errorf("at pH 8.5 a bound of %g mL; want never more than the %g without a reading", basic, usual)
	}
	if measured != acid {
		t.Errorf("without a static bound %g mL at pH 7.8; want the measured %g", measured, acid)
	}
	if len(said) != 1 || !strings.Contains(said[0], "channel alk: planned runs are held to") || !strings.Contains(said[0], "7.80") || len(silent) != 0 {
		t.Errorf("notes %q at 7.8 and %q at 8.5; want one and none", said, silent)
	}
	if plain, _ := largest(previews, 7.6); plain != 6 {
		t.Errorf("a channel of which nothing is known is bounded by %g mL; want 6", plain)
	}
	tiny := strong(static)
	for i := range tiny.Channels {
		tiny.Channels[i].Alkaline.AtOnce *= 1000
	}
	if got, _ := largest(tiny, 7.8); got != .3 {
		t.Errorf("a bound below the smallest run gives %g mL; want the smallest run of 0.3", got)
	}
}

// The running machine follows the probe too, within a minute, and forgets it when the probe falls silent.
func TestH26MeasuredBoundLives(t *testing.T) {
	r := reef(t, strong(ml(1.2)))
	largest := func() float64 { return machine.LargestLive(&r.state, "alk").Millilitres() }
	r.read("ph", 8.5, 2*time.Minute)
	before := largest()
	r.read("ph", 8.2, 2*time.Minute)
	r.read("ph", 7.9, 2*time.Minute)
	r.read("ph", 7.7, 2*time.Minute)
	low := largest()
	r.advance(15 * time.Minute)
	after := largest()
	if !(before == 1.2 && low < before && after == before) {
		t.Errorf("bounds %g, %g at pH 7.7, %g without a reading; want 1.2, less, 1.2", before, low, after)
	}
}
