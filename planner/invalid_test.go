package planner_test

import (
	"math"
	"testing"

	"aliquot/planner"
	"aliquot/planner/estimate"
	"aliquot/planner/units"
	"aliquot/safety"
)

func TestBadNumbersWithholdTheChannelAndNothingElse(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for name, spoil := range map[string]func(*planner.ChannelState){
		"fixed NaN":     func(c *planner.ChannelState) { c.Mode, c.FixedPerDay = planner.Fixed, nan },
		"fixed inf":     func(c *planner.ChannelState) { c.Mode, c.FixedPerDay = planner.Fixed, inf },
		"fixed minus":   func(c *planner.ChannelState) { c.Mode, c.FixedPerDay = planner.Fixed, -1 },
		"strength NaN":  func(c *planner.ChannelState) { c.Strength = map[units.Quantity]float64{units.Alkalinity: nan} },
		"strength inf":  func(c *planner.ChannelState) { c.Strength = map[units.Quantity]float64{units.Magnesium: inf} },
		"strength 0":    func(c *planner.ChannelState) { c.Strength = nil },
		"ratio NaN":     func(c *planner.ChannelState) { c.Mode, c.ShareOf, c.ShareRatio = planner.Share, "alk", nan },
		"share of none": func(c *planner.ChannelState) { c.Mode, c.ShareOf, c.ShareRatio = planner.Share, "nobody", 1 },
		"no target":     func(c *planner.ChannelState) { c.Quantity = units.Calcium },
		"no system":     func(c *planner.ChannelState) { c.System = "nowhere" },
		"per_day huge":  func(c *planner.ChannelState) { c.PerDay = math.MaxInt64 },
		"per_run huge":  func(c *planner.ChannelState) { c.PerRun = math.MaxInt64 },
		"base minus":    func(c *planner.ChannelState) { b := safety.Microlitres(-1); c.Base = &b },
		"rate minus":    func(c *planner.ChannelState) { c.Rate = -1 },
	} {
		t.Run(name, func(t *testing.T) {
			out := planner.Plan(two(t, one(t, known(8.3, 1.2)), spoil))
			if len(out.Withheld) != 1 || out.Withheld[0].Channel != "second" || out.Withheld[0].Code != safety.BadVolume {
				t.Errorf("withheld %+v, want second for bad_volume", out.Withheld)
			}
			if out.Days[1].PerDay != 0 || math.Abs(out.Days[0].PerDay.Millilitres()-96) > .1 || len(out.Runs) != 48 {
				t.Errorf("days %+v, %d runs; want 96 mL of the first alone", out.Days, len(out.Runs))
			}
		})
	}
	for name, spoil := range map[string]func(*planner.SystemState){
		"volume NaN": func(s *planner.SystemState) { s.NetLitres = nan }, "volume 0": func(s *planner.SystemState) { s.NetLitres = 0 },
		"volume inf": func(s *planner.SystemState) { s.NetLitres = inf },
		"target NaN": func(s *planner.SystemState) { s.Targets[0].Target = nan }, "rise inf": func(s *planner.SystemState) { s.Targets[0].MaxRise = inf },
		"fall NaN": func(s *planner.SystemState) { s.Targets[0].MaxFall = nan }, "dose NaN": func(s *planner.SystemState) { s.Targets[0].MaxDose = nan },
		"level NaN": func(s *planner.SystemState) { s.Estimates[0].Level = nan }, "use inf": func(s *planner.SystemState) { s.Estimates[0].Consumption = inf },
		"sd NaN": func(s *planner.SystemState) { s.Estimates[0].LevelSD = nan }, "hour NaN": func(s *planner.SystemState) { s.Estimates[0].OfHour = nan }, "by tests NaN": func(s *planner.SystemState) { s.Estimates[0].CaughtByTests = nan },
		"held NaN": func(s *planner.SystemState) { s.Estimates[0].HeldLevel = nan },
	} {
		t.Run(name, func(t *testing.T) {
			in := one(t, known(8.3, 1.2))
			spoil(&in.Systems[0])
			out := planner.Plan(in)
			if len(out.Runs) != 0 || len(out.Withheld) != 1 || out.Withheld[0].Code != safety.BadVolume {
				t.Errorf("%d runs, withheld %+v; want none, bad_volume", len(out.Runs), out.Withheld)
			}
		})
	}
}

func TestASharedChannelIsWithheldWithItsMaster(t *testing.T) {
	in := two(t, one(t, estimate.Estimate{}), func(c *planner.ChannelState) { c.Mode, c.ShareOf, c.ShareRatio = planner.Share, "alk", 1 })
	out := planner.Plan(in)
	if len(out.Runs) != 0 || len(out.Withheld) != 2 || out.Withheld[1].Code != safety.NoTest {
		t.Errorf("%+v, want both withheld for no_test", out)
	}
}
