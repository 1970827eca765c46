package machine_test

import (
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/safety"
)

// A relay with a timer of its own has twenty-four slots a day and room for ten runs: the plan makes fewer and larger ones, so
// that the gate refuses none of them, and the day is given.
func TestH02_INV1_ARelaysPlanFitsBelowPerDay(t *testing.T) {
	site := *lagoon(time.UTC)
	site.Channels = append([]machine.Channel(nil), site.Channels...)
	worst := mustRate(relayRate).VolumeIn(60_000)
	mg := &site.Channels[2]
	mg.Calendar = site.Channels[0].Calendar
	mg.Limits.PerDay = 10 * mg.Tolerance.Above(worst)
	mg.PerDay = mg.Limits.PerDay
	*mg = fixed(*mg, 12)
	r := newRig(t, &site, noon)
	r.boot()
	r.commission()
	r.advance(24 * time.Hour)
	refused, given := 0, safety.Microlitres(0)
	r.told = func(_ time.Time, e machine.Effect) {
		switch e := e.(type) {
		case machine.SendRun:
			if e.Channel == "mg" && e.Purpose == machine.Dose {
				given += e.Volume
			}
		case machine.Happened:
			if w, is := e.Data.(machine.WithheldEvent); is && w.Channel == "mg" && w.Code == safety.DayCap {
				refused++
			}
		}
	}
	r.advance(4 * 24 * time.Hour)
	planned := 4 * r.channel("mg").PlannedMLPerDay
	if ml := given.Millilitres(); refused > 0 || planned < 40 || ml < .95*planned-2 {
		t.Errorf("%d runs refused by per_day, %v mL given of %v mL", refused, ml, planned)
	}
}
