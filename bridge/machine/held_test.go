package machine_test

import (
	"testing"
	"time"

	"aliquot/bridge/machine"
)

// A volume that is still rising when a typo comes: until the next test it neither falls back to what was given the day
// before nor falls by a quarter more each day.
func TestH29AHeldTestBoundsTheFallForDays(t *testing.T) {
	r := newRig(t, previews, noon)
	r.boot()
	r.commission()
	r.coarse = 5 * time.Minute
	r.advance(3 * 24 * time.Hour)
	r.test("alkalinity", 7.4, "dKH") // much is used: the volume rises
	r.advance(26 * time.Hour)
	before := r.channel("alk").PlannedMLPerDay
	a := r.ask(machine.VerbTest, machine.Request{Quantity: "alkalinity", Value: ref(12.5), Unit: "dKH"})
	if a.Code != "unconfirmed" || before < 1 {
		t.Fatalf("the typo was answered with %s, %.2f mL a day before it; the test needs a held one", a.Code, before)
	}
	for day := range 5 {
		if got := r.channel("alk").PlannedMLPerDay; got < .75*before-.01 || got > before+.01 {
			t.Errorf("on day %d of the hold %.2f mL; want between %.2f and %.2f", day, got, .75*before, before)
		}
		r.crash()
		r.boot()
		r.advance(24 * time.Hour)
	}
	r.test("alkalinity", 8, "dKH")
	if got := r.view().Quantities[0].Unconfirmed; got != nil {
		t.Errorf("%v is still unconfirmed after an ordinary test", *got)
	}
	r.check.refolds(r)
}
