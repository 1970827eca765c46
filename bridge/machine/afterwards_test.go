package machine_test

import (
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
	"aliquot/safety"
)

// What is believed afterwards knows the tests that came later; at the last one it is what is believed now.
func TestAfterwards(t *testing.T) {
	fold := machine.NewFold(lagoon(time.UTC))
	day := func(n float64) time.Time { return noon.Add(time.Duration(n * 24 * float64(time.Hour))) }
	add := func(n int, body machine.Body) {
		at := day(float64(n))
		fold.Add(machine.Row{Seq: int64(n + 1), At: at, Elapsed: safety.Elapsed(at.UnixMilli()), Trusted: true, Body: body})
	}
	for n, level := range []float64{8.4, 8.1, 7.8, 7.5, 7.2} {
		add(2*n, machine.Test{System: "reef", Quantity: units.Alkalinity, Level: level, Value: level, Unit: "dKH", Taken: day(float64(2 * n))})
	}
	s := fold.State()
	got := machine.Afterwards(&s, "reef", units.Alkalinity, []time.Time{day(-1), day(1), day(5), day(8), day(9)})
	if got[0].Known || !got[1].Known {
		t.Errorf("known before the first test: %v, after it: %v; want false, true", got[0].Known, got[1].Known)
	}
	for i, want := range map[int]float64{1: 8.25, 2: 7.65} {
		if d := got[i].Level - want; !(d > -0.1 && d < 0.1) {
			t.Errorf("level %.3f at %v; want about %g, between the tests", got[i].Level, got[i].At, want)
		}
	}
	for i := 3; i < len(got); i++ {
		for _, e := range machine.Estimates(&s, got[i].At) {
			if e.Quantity == string(units.Alkalinity) && (got[i].Level != *e.Level || got[i].Consumption != *e.ConsumptionPerDay) {
				t.Errorf("at %v: %+v; want what is believed now, %g and %g", got[i].At, got[i], *e.Level, *e.ConsumptionPerDay)
			}
		}
	}
	for _, g := range machine.Afterwards(&s, "pond", units.Alkalinity, []time.Time{day(1)}) {
		if g.Known || !g.At.Equal(day(1)) {
			t.Errorf("%+v of a system that is not there", g)
		}
	}
}
