package machine

import (
	"testing"
	"time"

	"aliquot/planner"
	"aliquot/planner/estimate"
	"aliquot/planner/units"
)

func TestLightIsThatOfCorals(t *testing.T) {
	zone := time.FixedZone("east", 3600)
	told := planner.Light{From: 10 * 60, To: 20 * 60}
	for _, c := range []struct {
		kind     planner.Kind
		light    planner.Light
		quantity units.Quantity
		want     estimate.Light
	}{
		{planner.Coral, told, units.Alkalinity, estimate.ToldLight(zone, 10*time.Hour, 20*time.Hour)},
		{planner.Coral, told, units.Calcium, estimate.ToldLight(zone, 10*time.Hour, 20*time.Hour)},
		{planner.Coral, planner.Light{}, units.Alkalinity, estimate.UsualLight(zone)},
		{planner.Coral, told, units.Magnesium, estimate.Light{}},
		{planner.Fish, told, units.Alkalinity, estimate.Light{}},
		{planner.Treatment, planner.Light{}, units.Calcium, estimate.Light{}},
	} {
		if got := lightOf(&planner.System{Kind: c.kind, Light: c.light}, zone, c.quantity); got != c.want {
			t.Errorf("%s of a %s system with light %+v: %+v, want %+v", c.quantity, c.kind, c.light, got, c.want)
		}
	}
}
