package machine_test

import (
	"math"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner/units"
	"aliquot/safety"
)

// watched folds three weeks of weekly tests at 8 dKH, and hourly means of probes that fall by fall dKH a day from the last test on.
func watched(t *testing.T, fall float64, probes []machine.Probe, late bool) machine.State {
	t.Helper()
	site := lagoon(time.UTC)
	site.Probes = append([]machine.Probe(nil), probes...)
	f := machine.NewFold(site)
	seq := int64(0)
	add := func(at time.Time, b machine.Body) {
		seq++
		f.Add(machine.Row{Seq: seq, At: at, Elapsed: safety.Elapsed(at.UnixMilli()), Trusted: true, Body: b})
	}
	for h := range 17 * 24 {
		at := noon.Add(time.Duration(h) * time.Hour)
		if h%(7*24) == 0 {
			add(at, machine.Test{System: site.Systems[0].ID, Quantity: units.Alkalinity, Level: 8, Value: 8, Unit: "dKH", Taken: at})
		}
		for _, p := range probes {
			mean := machine.ProbeMean{Probe: p.ID, From: at.Add(-15 * time.Minute), Until: at, Count: 4, Mean: 8.3 - fall*max(0, float64(h)/24-14)}
			if late { // written down with something that happened since
				add(at.Add(5*time.Minute), machine.Note{System: site.Systems[0].ID, Note: "other", Text: "fed"})
			}
			add(at.Add(10*time.Minute), mean)
		}
	}
	return f.State()
}

func alkalinityOf(s machine.State) machine.EstimateView {
	for _, e := range machine.Estimates(&s, noon.Add(17*24*time.Hour)) {
		if e.Quantity == string(units.Alkalinity) {
			return e
		}
	}
	return machine.EstimateView{}
}

func TestProbeOfAFollowedQuantityTellsTheEstimator(t *testing.T) {
	system := lagoon(time.UTC).Systems[0].ID
	kh := machine.Probe{ID: "kh", System: system, Quantity: units.Alkalinity, Low: 4, High: 14, StaleAfter: time.Hour}
	elsewhere, other, unheard, second := kh, kh, kh, kh
	elsewhere.System, other.Quantity, unheard.Unheard, second.ID = "", units.PH, true, "second"
	use := func(s machine.State) float64 { return *alkalinityOf(s).ConsumptionPerDay }
	plain := use(watched(t, 0, nil, false))
	if got := use(watched(t, 0.3, []machine.Probe{kh}, false)); !(got > plain+0.02) {
		t.Errorf("the probe falls by 0.3 dKH a day: use %.3f, without it %.3f", got, plain)
	}
	if got := use(watched(t, 0.3, []machine.Probe{kh}, true)); math.IsNaN(got) {
		t.Errorf("with means that were written late: use %v", got)
	}
	for name, p := range map[string]machine.Probe{"of no system": elsewhere, "of another quantity": other, "that is left out": unheard} {
		if got := use(watched(t, 0.3, []machine.Probe{p}, false)); got != plain {
			t.Errorf("a probe %s moves the use from %v to %v", name, plain, got)
		}
	}
	if one, two := use(watched(t, 0.3, []machine.Probe{kh}, false)), use(watched(t, 0.3, []machine.Probe{kh, second}, false)); one != two {
		t.Errorf("a second probe of the quantity moves the use from %v to %v", one, two)
	}
}

// A test that is entered late is put before the readings that followed it, and gives what it gives in its turn.
func TestLateTestAmongReadings(t *testing.T) {
	site := lagoon(time.UTC)
	site.Probes = []machine.Probe{{ID: "kh", System: site.Systems[0].ID, Quantity: units.Alkalinity, Low: 4, High: 14, StaleAfter: time.Hour}}
	fold := func(late bool) machine.EstimateView {
		f, seq := machine.NewFold(site), int64(0)
		add := func(at time.Time, b machine.Body) {
			seq++
			f.Add(machine.Row{Seq: seq, At: at, Elapsed: safety.Elapsed(at.UnixMilli()), Trusted: true, Body: b})
		}
		test := func(day int, level float64) machine.Test {
			return machine.Test{System: site.Systems[0].ID, Quantity: units.Alkalinity, Level: level, Value: level, Unit: "dKH", Taken: noon.AddDate(0, 0, day)}
		}
		for h := range 12 * 24 {
			at := noon.Add(time.Duration(h) * time.Hour)
			switch day := h / 24; {
			case h%24 == 0 && (day == 0 || day == 8):
				add(at, test(day, 8))
			case h%24 == 0 && day == 4 && !late:
				add(at, test(4, 7.8))
			case h == 9*24+5 && late:
				add(at, test(4, 7.8))
			}
			add(at.Add(time.Minute), machine.ProbeMean{Probe: "kh", From: at.Add(-time.Hour), Until: at.Add(time.Minute), Count: 4, Mean: 8.3 - 0.02*float64(h)/24})
		}
		return alkalinityOf(f.State())
	}
	in, late := fold(false), fold(true)
	if *in.Level != *late.Level || *in.ConsumptionPerDay != *late.ConsumptionPerDay || *in.LevelSD != *late.LevelSD {
		t.Errorf("in its turn: %v, use %v; late: %v, use %v", *in.Level, *in.ConsumptionPerDay, *late.Level, *late.ConsumptionPerDay)
	}
}
