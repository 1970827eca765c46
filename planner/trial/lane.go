package trial

import (
	"time"

	"aliquot/planner"
	"aliquot/planner/estimate"
	"aliquot/planner/units"
	"aliquot/safety"
)

// lane is one quantity that a policy of ours follows, with the channel that doses it.
type lane struct {
	quantity units.Quantity
	told     Told
	day      safety.Microlitres // the daily volume in force
	volumes  []dayVolume
}

// dayVolume is the daily volume that a run was part of.
type dayVolume struct {
	at     time.Time
	volume safety.Microlitres
}

// referenceAge is how old a daily volume may be from which a rise is measured, as in the machine.
const referenceAge = 14 * 24 * time.Hour

func (l *lane) goal() planner.Target {
	stale, _, _ := units.StaleLimits(l.quantity)
	return planner.Target{Quantity: l.quantity, Target: l.told.Target, Band: l.told.Band, MaxRise: l.told.MaxRise, MaxFall: l.told.MaxFall,
		Test: planner.TestHabits{SD: l.told.TestSD, StaleAfter: stale}}
}

func (l *lane) spec() estimate.Spec {
	s := estimate.Spec{Quantity: l.quantity, TestSD: l.told.TestSD, Target: l.told.Target, Upper: l.told.Target + l.told.Band}
	s.Use, s.UseSD = estimate.UseOfBase(l.quantity, l.told.Base)
	if l.quantity == units.Magnesium {
		return s
	}
	s.Light = estimate.UsualLight(time.UTC)
	if l.told.LightFrom != l.told.LightTo {
		s.Light = estimate.ToldLight(time.UTC, time.Duration(l.told.LightFrom)*time.Hour, time.Duration(l.told.LightTo)*time.Hour)
	}
	return s
}

// channel runs every hour.
func (l *lane) channel(system string) planner.ChannelState {
	c := planner.Channel{ID: string(l.quantity), System: system, Mode: planner.Follow, Quantity: l.quantity,
		Strength: map[units.Quantity]float64{l.quantity: l.told.StrengthDKHLitresPerML}, PerDay: l.volume(l.told.CapPerDay), PerRun: l.volume(l.told.CapPerDay)}
	if l.told.Base > 0 {
		base := l.volume(l.told.Base)
		c.Base = &base
	}
	// A closed day of hourly slots holds 25 of them.
	return planner.ChannelState{Channel: c, Rate: 1_000_000, Peak: planner.Peak{Days: 25.0 / 24, Slots: 25}}
}

// volume is that of a rise, whole µL; a rise that is no number gives none.
func (l *lane) volume(rise float64) safety.Microlitres {
	v, err := safety.MillilitresDown(rise * l.told.Litres / l.told.StrengthDKHLitresPerML)
	if err != nil {
		return 0
	}
	return v
}

// rise is what the daily volume in force brings in a day, as told.
func (l *lane) rise() float64 {
	return l.day.Millilitres() * l.told.StrengthDKHLitresPerML / l.told.Litres
}

// dosed keeps the daily volume that a run was part of.
func (l *lane) dosed(at time.Time) {
	keep := 0
	for keep+1 < len(l.volumes) && at.Sub(l.volumes[keep+1].at) >= safety.Window {
		keep++
	}
	l.volumes = append(l.volumes[keep:], dayVolume{at, l.day})
}

// reference is the volume of the newest run that is a day old.
func (l *lane) reference(at time.Time) *safety.Microlitres {
	newest := -1
	for newest+1 < len(l.volumes) && at.Sub(l.volumes[newest+1].at) >= safety.Window {
		newest++
	}
	if newest < 0 || at.Sub(l.volumes[newest].at) > referenceAge {
		return nil
	}
	return &l.volumes[newest].volume
}

func beliefOf(e estimate.Estimate) (Belief, bool) {
	return Belief{Level: e.LevelNow(), LevelSD: e.LevelSD, Use: e.Consumption, UseSD: e.ConsumptionSD}, e.Known
}
