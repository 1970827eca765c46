package trial

import (
	"time"

	"aliquot/planner"
	"aliquot/planner/estimate"
	"aliquot/planner/units"
	"aliquot/safety"
)

// Ours is the estimator and the planner of this program, given what the machine gives them.
type Ours struct {
	told    Told
	filter  *estimate.Filter
	in      planner.Input
	day     safety.Microlitres
	volumes []dayVolume
	// Held counts tests that were held.
	Held   int
	doubts bool
}

// dayVolume is the daily volume that a run was part of.
type dayVolume struct {
	at     time.Time
	volume safety.Microlitres
}

// referenceAge is how old a daily volume may be from which a rise is measured, as in the machine.
const referenceAge = 14 * 24 * time.Hour

// Reset starts a trial: a system, its target and one channel that runs every hour.
func (k *Ours) Reset(told Told) {
	*k = Ours{told: told}
	stale, _, _ := units.StaleLimits(units.Alkalinity)
	goal := planner.Target{Quantity: units.Alkalinity, Target: told.Target, Band: told.Band, MaxRise: told.MaxRise, MaxFall: told.MaxFall,
		Test: planner.TestHabits{SD: told.TestSD, StaleAfter: stale}}
	spec := estimate.Spec{Quantity: goal.Quantity, TestSD: goal.Test.SD, Target: goal.Target, Upper: goal.Target + goal.Band}
	spec.Use, spec.UseSD = estimate.UseOfBase(goal.Quantity, told.Base)
	k.filter = estimate.New(told.Litres, []estimate.Spec{spec})
	system := planner.System{ID: "tank", Kind: planner.Coral, NetLitres: told.Litres, Targets: []planner.Target{goal}}
	channel := planner.Channel{ID: "alk", System: system.ID, Mode: planner.Follow, Quantity: goal.Quantity,
		Strength: map[units.Quantity]float64{goal.Quantity: told.StrengthDKHLitresPerML}, PerDay: k.volume(told.CapPerDay), PerRun: k.volume(told.CapPerDay)}
	if told.Base > 0 {
		base := k.volume(told.Base)
		channel.Base = &base
	}
	// A closed day of hourly slots holds 25 of them.
	k.in = planner.Input{Horizon: 24 * time.Hour, Systems: []planner.SystemState{{System: system}},
		Channels: []planner.ChannelState{{Channel: channel, Rate: 1_000_000, Peak: planner.Peak{Days: 25.0 / 24, Slots: 25}}}}
}

// volume is that of a rise, whole µL; a rise that is no number gives none.
func (k *Ours) volume(rise float64) safety.Microlitres {
	v, err := safety.MillilitresDown(rise * k.told.Litres / k.told.StrengthDKHLitresPerML)
	if err != nil {
		return 0
	}
	return v
}

// Test goes to the estimator, which may hold it.
func (k *Ours) Test(at time.Time, value float64) {
	r := k.filter.Test(estimate.Test{At: at, Quantity: units.Alkalinity, Value: value, SD: k.told.TestSD})
	if k.doubts = r.Verdict == estimate.Held; k.doubts {
		k.Held++
	}
}

// Doubts says whether the last test is held.
func (k *Ours) Doubts() bool { return k.doubts }

// WaterChange goes to the estimator.
func (k *Ours) WaterChange(at time.Time, fraction, mix float64) {
	k.filter.WaterChange(at, fraction, []estimate.Level{{Quantity: units.Alkalinity, Value: mix}})
}

// Dosed goes to the estimator; a run also leaves the daily volume that it was part of.
func (k *Ours) Dosed(at time.Time, rise float64) {
	if !(rise > 0) {
		return
	}
	k.filter.Dose(at, []estimate.Rise{{Quantity: units.Alkalinity, Mean: rise, Lo: rise, Hi: rise}})
	keep := 0
	for keep+1 < len(k.volumes) && at.Sub(k.volumes[keep+1].at) >= safety.Window {
		keep++
	}
	k.volumes = append(k.volumes[keep:], dayVolume{at, k.day})
}

// reference is the volume of the newest run that is a day old.
func (k *Ours) reference(at time.Time) *safety.Microlitres {
	newest := -1
	for newest+1 < len(k.volumes) && at.Sub(k.volumes[newest+1].at) >= safety.Window {
		newest++
	}
	if newest < 0 || at.Sub(k.volumes[newest].at) > referenceAge {
		return nil
	}
	return &k.volumes[newest].volume
}

// Daily asks the planner.
func (k *Ours) Daily(at time.Time) float64 {
	k.in.At = at
	k.in.Systems[0].Estimates = append(k.in.Systems[0].Estimates[:0], k.filter.At(at, units.Alkalinity))
	k.in.Channels[0].Reference = k.reference(at)
	k.day = planner.DayVolumes(k.in)[0].PerDay
	return k.day.Millilitres() * k.told.StrengthDKHLitresPerML / k.told.Litres
}

// Belief is the estimate.
func (k *Ours) Belief(at time.Time) (Belief, bool) {
	e := k.filter.At(at, units.Alkalinity)
	return Belief{Level: e.Level, LevelSD: e.LevelSD, Use: e.Consumption, UseSD: e.ConsumptionSD}, e.Known
}
