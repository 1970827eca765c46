package planner_test

import (
	"math"
	"slices"
	"testing"

	"aliquot/planner"
	"aliquot/planner/units"
	"aliquot/safety"
)

// two adds a second channel to a system.
func two(t testing.TB, in planner.Input, change func(*planner.ChannelState)) planner.Input {
	c := in.Channels[0]
	c.ID, c.Reference, c.Base = "second", nil, nil
	c.Strength = map[units.Quantity]float64{units.Alkalinity: carbonate}
	change(&c)
	in.Channels = append(in.Channels[:1:1], c)
	return in
}

func TestWhatOtherChannelsBringIsCounted(t *testing.T) {
	for _, c := range []struct {
		name          string
		change        func(*planner.ChannelState)
		first, second float64
	}{
		{"fixed", func(c *planner.ChannelState) { c.Mode, c.FixedPerDay = planner.Fixed, 30 }, 66, 30},
		{"fixed, more than the use", func(c *planner.ChannelState) { c.Mode, c.FixedPerDay = planner.Fixed, 130 }, 0, 130},
		{"share without alkalinity", func(c *planner.ChannelState) {
			c.Mode, c.ShareOf, c.ShareRatio = planner.Share, "alk", 1.5
			c.Strength = map[units.Quantity]float64{units.Calcium: 30}
		}, 96, 144},
		{"share with alkalinity", func(c *planner.ChannelState) { c.Mode, c.ShareOf, c.ShareRatio = planner.Share, "alk", 1 }, 48, 48},
		{"two that follow", func(c *planner.ChannelState) { c.Reference = ml(48) }, 48, 48},
		{"two that follow, one twice as strong", func(c *planner.ChannelState) {
			c.Reference, c.Strength = ml(48), map[units.Quantity]float64{units.Alkalinity: 2 * carbonate}
		}, 48, 24},
		{"another system", func(c *planner.ChannelState) { c.System, c.Mode, c.FixedPerDay = "other", planner.Fixed, 30 }, 96, 30},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := two(t, one(t, known(8.3, 1.2)), c.change)
			in.Systems = append(in.Systems, planner.SystemState{System: planner.System{ID: "other", NetLitres: 100}})
			got := planner.DayVolumes(in)
			if math.Abs(got[0].PerDay.Millilitres()-c.first) > .1 || math.Abs(got[1].PerDay.Millilitres()-c.second) > .1 {
				t.Errorf("%v and %v, want %v and %v mL", got[0].PerDay, got[1].PerDay, c.first, c.second)
			}
		})
	}
}

// Two supplements that each bring some of what the other channel follows settle so that both needs are met.
func TestSideEffectsSettle(t *testing.T) {
	in := two(t, one(t, known(8.3, 1.2)), func(c *planner.ChannelState) {
		c.Quantity, c.Reference = units.Calcium, ml(100)
		c.Strength = map[units.Quantity]float64{units.Calcium: 30, units.Alkalinity: .8}
	})
	in.Channels[0].Strength[units.Calcium] = 5
	in.Systems[0].Targets = append(in.Systems[0].Targets, planner.Target{Quantity: units.Calcium, Target: 430, Band: 20, MaxRise: 20, MaxFall: 20})
	ca := known(430, 8)
	ca.Quantity = units.Calcium
	in.Systems[0].Estimates = append(in.Systems[0].Estimates, ca)
	d := planner.DayVolumes(in)
	a, b := d[0].PerDay.Millilitres(), d[1].PerDay.Millilitres()
	if alk := (a*carbonate + b*.8) / 340; math.Abs(alk-1.2) > 1e-3 {
		t.Errorf("%v and %v mL bring %v dKH, want 1.2", a, b, alk)
	}
	if ca := (a*5 + b*30) / 340; math.Abs(ca-8) > 1e-3 {
		t.Errorf("%v and %v mL bring %v mg/L of calcium, want 8", a, b, ca)
	}
}

func TestMaxDose(t *testing.T) {
	for _, c := range []struct {
		name    string
		fixed   float64
		maxDose float64
		limited bool
	}{
		{"roomy", 0, 3, false}, {"tight", 0, 1, true}, {"a fixed channel takes some", 30, 1.2, true}, {"it takes all", 60, .8, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := two(t, one(t, known(8.3, 1.2)), func(c2 *planner.ChannelState) { c2.Mode, c2.FixedPerDay = planner.Fixed, c.fixed })
			in.Systems[0].Targets[0].MaxDose = c.maxDose
			got := planner.DayVolumes(in)
			if slices.Contains(got[0].Why, safety.QuantityCap) != c.limited {
				t.Errorf("%v, why %v, want limited %v", got[0].PerDay, got[0].Why, c.limited)
			}
			hi := 0.
			for _, d := range got {
				hi += d.PerDay.Millilitres() * 51 / 48 * 1.05 / 80
			}
			if got[0].PerDay > 0 && hi > c.maxDose {
				t.Errorf("%v and %v mean up to %v dKH in 24 h, max_dose %v", got[0].PerDay, got[1].PerDay, hi, c.maxDose)
			}
		})
	}
}
