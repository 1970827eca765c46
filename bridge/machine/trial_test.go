package machine_test

import (
	"math"
	"testing"
	"time"

	"aliquot/bridge/machine"
	"aliquot/planner"
	"aliquot/planner/metering"
	"aliquot/planner/trial"
	"aliquot/planner/units"
	"aliquot/safety"
)

// asked plays a trial through what `aliquot plan` does: at every question a history is folded from its first line and the
// plan of the next 24 h is read off.
type asked struct {
	told trial.Told
	site *machine.Site
	fold *machine.Fold
	h    history
}

func (a *asked) Reset(told trial.Told) {
	site := *previews
	site.Systems = []planner.System{{ID: "reef", Kind: planner.Coral, NetLitres: told.Litres, Targets: []planner.Target{{Quantity: units.Alkalinity,
		Target: told.Target, Band: told.Band, MaxRise: told.MaxRise, MaxFall: told.MaxFall, Test: planner.TestHabits{SD: told.TestSD, StaleAfter: 10 * 24 * time.Hour}}}}}
	c := site.Channels[0]
	c.Strength = map[units.Quantity]float64{units.Alkalinity: told.StrengthDKHLitresPerML}
	c.Calendar = planner.Calendar{Schedule: mustCron("0 * * * *"), Zone: time.UTC}
	most := a.volume(told, told.CapPerDay)
	c.Limits = safety.Limits{SmallestRun: 1, PerRun: most, PerDay: most, RunTime: safety.RunMax}
	c.Channel.PerDay, c.Channel.PerRun, c.Channel.SmallestRun, c.Base, c.Gentle = most, most, 1, nil, 0
	if told.Base > 0 {
		base := a.volume(told, told.Base)
		c.Base = &base
	}
	site.Channels, site.Interlocks, site.Probes, site.Waters = []machine.Channel{c}, nil, nil, nil
	*a = asked{told: told, site: &site}
	a.h.at(trial.Start.Add(-time.Hour), machine.Refill{Container: c.Container, Remaining: ref(ml(1_000_000))}, machine.Primed{Channel: c.ID},
		machine.Calibration{Channel: c.ID, Trials: []metering.Trial{{Seconds: 60, MeasuredML: 99.8}, {Seconds: 60, MeasuredML: 99.9}, {Seconds: 60, MeasuredML: 99.8}}})
}

func (a *asked) volume(told trial.Told, rise float64) safety.Microlitres {
	v, err := safety.MillilitresDown(rise * told.Litres / told.StrengthDKHLitresPerML)
	if err != nil {
		panic(err)
	}
	return v
}

func (a *asked) Test(at time.Time, value float64) { a.h.at(at, tested(units.Alkalinity, value, at)) }

func (a *asked) WaterChange(at time.Time, fraction, mix float64) {
	a.h.at(at, machine.WaterChange{System: "reef", Taken: at, Litres: fraction * a.told.Litres, Mix: []machine.Level{{Quantity: units.Alkalinity, Level: mix}}})
}

func (a *asked) Dosed(at time.Time, rise float64) {
	if v := a.volume(a.told, rise); v > 0 {
		a.h.at(at, machine.RunPast{Channel: a.site.Channels[0].ID, Happened: at, Purpose: machine.Dose, Into: machine.IntoTank, Volume: v, Outcome: machine.Finished})
	}
}

func (a *asked) Daily(at time.Time) float64 {
	if a.fold == nil {
		a.fold = machine.NewFold(a.site)
	}
	for _, r := range a.h.rows {
		a.fold.Add(r)
	}
	a.h.rows = a.h.rows[:0]
	s := a.fold.State()
	sum := 0.0
	for _, r := range machine.Preview(&s, at).Runs {
		sum += r.VolumeML
	}
	return sum * a.told.StrengthDKHLitresPerML / a.told.Litres
}

// A tank kept by `plan` fares as one kept by estimator and planner alone: nothing on the way from a history to runs loses
// what they know.
func TestTrialsThroughThePlanCommand(t *testing.T) {
	for _, f := range []trial.Family{trial.Steady, trial.Mixed} {
		for seed := range uint64(2) {
			through, direct := trial.Run(f, 500+seed, trial.Options{}, &asked{}), trial.Run(f, 500+seed, trial.Options{}, &trial.Ours{})
			t.Logf("%s %d: RMS %.3f dKH through plan, %.3f without", f, 500+seed, through.All.RMS, direct.All.RMS)
			if !(math.Abs(through.All.RMS-direct.All.RMS) <= .03+.1*direct.All.RMS) {
				t.Errorf("%s, trial %d: RMS %.3f dKH through plan, %.3f without", f, 500+seed, through.All.RMS, direct.All.RMS)
			}
		}
	}
}
