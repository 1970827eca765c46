package tank

import (
	"math"
	"testing"
	"time"

	"aliquot/planner/units"
)

func TestScaleUptake(t *testing.T) {
	begin := time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name   string
		factor float64
		ok     bool
	}{{"none at all", 0, true}, {"as before", 1, true}, {"more", 1.3, true}, {"to the most", 20, true}, {"above it", 20.1, false},
		{"below nothing", -0.1, false}, {"no number", math.NaN(), false}, {"endless", math.Inf(1), false}} {
		p := Params{Seed: 1, NetLitres: 100, Start: map[units.Quantity]float64{units.Alkalinity: 8, units.Calcium: 420}, Uptake: Uptake{PerDay: 1, Law: Saturation, Reference: 8}}
		tank, err := New(p, begin)
		if err != nil {
			t.Fatal(err)
		}
		tank.Advance(begin.Add(time.Hour))
		before := tank.CalcificationPerDay()
		err = tank.ScaleUptake(begin.Add(time.Hour), c.factor)
		want := before * c.factor
		if !c.ok {
			want = before
		}
		if got := tank.CalcificationPerDay(); (err == nil) != c.ok || !(math.Abs(got-want) < 1e-9) {
			t.Errorf("%s: %g dKH/day after %g, error %v; want %g", c.name, got, before, err, want)
		}
	}
}
