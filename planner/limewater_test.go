package planner_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"aliquot/planner"
	"aliquot/planner/units"
	"aliquot/safety"

	"pgregory.net/rapid"
)

// Limewater as strong as it is at 25 degC: 4 L a day in 340 L are 1.4 dKH.
var limewater = map[units.Quantity]float64{units.Alkalinity: .12, units.Calcium: .8}

// limed makes the channel of one a limewater channel with room for a day's evaporation in its limits.
func limed(t testing.TB, use, evaporation float64) planner.Input {
	in := one(t, known(8.3, use))
	c := &in.Channels[0]
	c.Strength, c.Limewater, c.Reference = limewater, true, ml(4000)
	c.PerRun, c.PerDay = 200_000, 20_000_000
	in.Systems[0].Evaporation = evaporation
	return in
}

func TestLimewaterNeverExceedsEvaporation(t *testing.T) {
	const whole = 1.2 * 340 / .12 // mL a day that bring 1.2 dKH: 3400
	for _, c := range []struct {
		name        string
		evaporation float64
		limited     bool
	}{
		{"more evaporates than is needed", 6000, false},
		{"as much as is needed at its most", whole*51/48*1.05 + 20, false},
		{"a little less", whole * 51 / 48 * 1.05 * .99, true},
		{"half of it", whole / 2, true},
		{"next to nothing", .5, true},
		{"none declared", 0, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := limed(t, 1.2, c.evaporation)
			out := planner.Plan(in)
			day := out.Days[0]
			if got := day.PerDay.Millilitres(); !c.limited && math.Abs(got-whole) > 1 || c.limited && !(got < whole) {
				t.Errorf("%v mL a day of %v, %v mL evaporate", got, whole, c.evaporation)
			}
			sum := 0.0
			for _, r := range out.Runs {
				sum += 1.05 * r.Volume.Millilitres()
			}
			if sum > c.evaporation && c.limited {
				t.Errorf("runs may give %v mL in a day, %v evaporate", sum, c.evaporation)
			}
			if slices.Contains(day.Why, safety.DayCap) != c.limited || strings.Contains(day.Text, "evaporation") != c.limited {
				t.Errorf("why %v, %q", day.Why, day.Text)
			}
		})
	}
}

// Only limewater is held to evaporation, and only that of its own system.
func TestEvaporationBoundsLimewaterAlone(t *testing.T) {
	in := limed(t, 1.2, 100)
	in.Channels[0].Limewater = false
	if got := perDay(in); math.Abs(got-3400) > 1 {
		t.Errorf("%v mL a day of what is no limewater; want 3400", got)
	}
	in = two(t, limed(t, 1.2, 6000), func(c *planner.ChannelState) {
		c.System, c.Mode, c.FixedPerDay = "other", planner.Fixed, 3000
	})
	in.Systems = append(in.Systems, planner.SystemState{System: planner.System{ID: "other", NetLitres: 300, Evaporation: 3500}})
	got := planner.DayVolumes(in)
	if math.Abs(got[0].PerDay.Millilitres()-3400) > 1 || got[1].PerDay != 3_000_000 {
		t.Errorf("%v and %v; want 3400 and 3000 mL", got[0].PerDay, got[1].PerDay)
	}
}

// Whatever the modes and wishes, all limewater of a system together stays within what evaporates, each run at its most.
func TestLimewaterOfAllChannelsTogether(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		evaporation := rapid.Float64Range(0, 12_000).Draw(r, "evaporation")
		in := limed(t, rapid.Float64Range(0, 2).Draw(r, "use"), evaporation)
		in.Channels[0].Reference = ml(rapid.Float64Range(0, 9000).Draw(r, "reference"))
		in = two(t, in, func(c *planner.ChannelState) {
			c.Strength, c.Limewater = limewater, true
			switch rapid.IntRange(0, 2).Draw(r, "mode") {
			case 0:
				c.Mode, c.FixedPerDay = planner.Fixed, rapid.Float64Range(0, 9000).Draw(r, "fixed")
			case 1:
				c.Mode, c.ShareOf, c.ShareRatio = planner.Share, "alk", rapid.Float64Range(.1, 3).Draw(r, "ratio")
			default:
				c.Reference = ml(rapid.Float64Range(0, 9000).Draw(r, "second reference"))
			}
		})
		sum := 0.0
		for _, d := range planner.DayVolumes(in) {
			if d.PerDay > 0 {
				sum += d.PerDay.Millilitres() * 51 / 48 * 1.05
			}
		}
		if sum > evaporation {
			r.Fatalf("%v mL a day at most, %v mL evaporate", sum, evaporation)
		}
	})
}

func TestEvaporationThatIsNoNumber(t *testing.T) {
	for _, bad := range []float64{math.NaN(), math.Inf(1), -1} {
		out := planner.Plan(limed(t, 1.2, bad))
		if len(out.Withheld) != 1 || out.Withheld[0].Code != safety.BadVolume || len(out.Runs) > 0 {
			t.Errorf("evaporation %v: withheld %+v, %d runs", bad, out.Withheld, len(out.Runs))
		}
		in := limed(t, 1.2, bad)
		in.Channels[0].Limewater = false
		if out := planner.Plan(in); len(out.Withheld) > 0 {
			t.Errorf("evaporation %v withholds what is no limewater: %+v", bad, out.Withheld)
		}
	}
}
