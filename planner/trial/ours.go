package trial

import (
	"slices"
	"time"

	"aliquot/planner"
	"aliquot/planner/estimate"
	"aliquot/planner/units"
	"aliquot/safety"
)

// Ours is the estimator and the planner of this program, given what the machine gives them.
type Ours struct {
	lane
	filter *estimate.Filter
	in     planner.Input
	// Held counts tests that were held.
	Held   int
	doubts bool
	capped bool
}

// Reset starts a trial: a system, its target and one channel that runs every hour.
func (k *Ours) Reset(told Told) {
	*k = Ours{lane: lane{quantity: units.Alkalinity, told: told}}
	k.filter = estimate.New(told.Litres, []estimate.Spec{k.spec()})
	system := planner.System{ID: "tank", Kind: planner.Coral, NetLitres: told.Litres, Targets: []planner.Target{k.goal()}}
	k.in = planner.Input{Horizon: 24 * time.Hour, Systems: []planner.SystemState{{System: system}},
		Channels: []planner.ChannelState{k.channel(system.ID)}}
}

// Test goes to the estimator, which may hold it.
func (k *Ours) Test(at time.Time, value float64) {
	r := k.filter.Test(estimate.Test{At: at, Quantity: units.Alkalinity, Value: value, SD: k.told.TestSD})
	if k.doubts = r.Verdict == estimate.Held; k.doubts {
		k.Held++
	}
}

// Probe goes to the estimator.
func (k *Ours) Probe(at time.Time, value float64) {
	k.filter.Probe(estimate.ProbeReading{At: at, Quantity: units.Alkalinity, Value: value})
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
	k.dosed(at)
}

// Daily asks the planner.
func (k *Ours) Daily(at time.Time) float64 {
	k.in.At = at
	k.in.Systems[0].Estimates = append(k.in.Systems[0].Estimates[:0], k.filter.At(at, units.Alkalinity))
	k.in.Channels[0].Reference = k.reference(at)
	d := planner.DayVolumes(k.in)[0]
	k.day, k.capped = d.PerDay, slices.Contains(d.Why, safety.DayCap)
	return k.rise()
}

// Capped says whether the last daily volume would have been larger without the cap.
func (k *Ours) Capped() bool { return k.capped }

// Belief is the estimate.
func (k *Ours) Belief(at time.Time) (Belief, bool) {
	return beliefOf(k.filter.At(at, units.Alkalinity))
}
