package trial

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"aliquot/planner"
	"aliquot/planner/estimate"
	"aliquot/safety"
)

// WholePolicies gives the names that NewWhole knows, in a fixed order.
func WholePolicies() []string { return []string{"hand", "alone", "ours"} }

// NewWhole makes a policy for whole tanks by its name: "hand" works each quantity out by hand (alkalinity every three
// days, the others from test to test, a week at least), "ours" is this program, "alone" is this program if no quantity
// told it anything of another.
func NewWhole(name string) (Whole, error) {
	switch name {
	case "hand":
		return &handWhole{}, nil
	case "alone":
		return &oursWhole{alone: true}, nil
	case "ours":
		return &oursWhole{}, nil
	}
	return nil, fmt.Errorf("no policy %q for whole tanks; there are %s", name, strings.Join(WholePolicies(), ", "))
}

// handWhole is three keepers by hand who do not speak with each other.
type handWhole struct{ of [len(Quantities)]Hand }

func (k *handWhole) Reset(told []Told) {
	for i := range k.of {
		k.of[i] = *HandWeekly()
		if i == 0 {
			k.of[i] = *Hand3()
		}
		k.of[i].Reset(told[i])
	}
}

func (k *handWhole) Test(at time.Time, which int, value float64) { k.of[which].Test(at, value) }

func (k *handWhole) WaterChange(at time.Time, fraction float64, mix []float64) {
	for i := range k.of {
		k.of[i].WaterChange(at, fraction, mix[i])
	}
}

func (k *handWhole) Dosed(at time.Time, rises []float64) {
	for i := range k.of {
		k.of[i].Dosed(at, rises[i])
	}
}

func (k *handWhole) Daily(at time.Time) []float64 {
	out := make([]float64, len(k.of))
	for i := range k.of {
		out[i] = k.of[i].Daily(at)
	}
	return out
}

func (k *handWhole) Capped(int) bool { return false }

func (k *handWhole) Belief(time.Time, int) (Belief, bool) { return Belief{}, false }

// oursWhole is the estimator and the planner of this program with a channel for each quantity.
type oursWhole struct {
	alone   bool
	lanes   []lane
	capped  [len(Quantities)]bool
	filters []*estimate.Filter // one for all, or one for each
	in      planner.Input
}

func (k *oursWhole) Reset(told []Told) {
	*k = oursWhole{alone: k.alone}
	system := planner.System{ID: "tank", Kind: planner.Coral, NetLitres: told[0].Litres}
	var specs []estimate.Spec
	for i, t := range told {
		l := lane{quantity: Quantities[i], told: t}
		k.lanes = append(k.lanes, l)
		specs = append(specs, l.spec())
		system.Targets = append(system.Targets, l.goal())
		k.in.Channels = append(k.in.Channels, l.channel(system.ID))
	}
	k.in.Horizon, k.in.Systems = 24*time.Hour, []planner.SystemState{{System: system}}
	if !k.alone {
		k.filters = []*estimate.Filter{estimate.New(system.NetLitres, specs)}
		return
	}
	for i := range specs {
		k.filters = append(k.filters, estimate.New(system.NetLitres, specs[i:i+1]))
	}
}

func (k *oursWhole) filter(which int) *estimate.Filter {
	return k.filters[min(which, len(k.filters)-1)]
}

func (k *oursWhole) Test(at time.Time, which int, value float64) {
	k.filter(which).Test(estimate.Test{At: at, Quantity: Quantities[which], Value: value, SD: k.lanes[which].told.TestSD})
}

func (k *oursWhole) WaterChange(at time.Time, fraction float64, mix []float64) {
	var levels []estimate.Level
	for i, v := range mix {
		levels = append(levels, estimate.Level{Quantity: Quantities[i], Value: v})
	}
	for _, f := range k.filters {
		f.WaterChange(at, fraction, levels)
	}
}

func (k *oursWhole) Dosed(at time.Time, rises []float64) {
	for i, rise := range rises {
		if rise > 0 {
			k.filter(i).Dose(at, []estimate.Rise{{Quantity: Quantities[i], Mean: rise, Lo: rise, Hi: rise}})
			k.lanes[i].dosed(at)
		}
	}
}

func (k *oursWhole) Daily(at time.Time) []float64 {
	k.in.At = at
	estimates := k.in.Systems[0].Estimates[:0]
	for i := range k.lanes {
		estimates = append(estimates, k.filter(i).At(at, Quantities[i]))
		k.in.Channels[i].Reference = k.lanes[i].reference(at)
	}
	k.in.Systems[0].Estimates = estimates
	out := make([]float64, len(k.lanes))
	for i, d := range planner.DayVolumes(k.in) {
		k.lanes[i].day, k.capped[i] = d.PerDay, slices.Contains(d.Why, safety.DayCap)
		out[i] = k.lanes[i].rise()
	}
	return out
}

func (k *oursWhole) Capped(which int) bool { return k.capped[which] }

func (k *oursWhole) Belief(at time.Time, which int) (Belief, bool) {
	return beliefOf(k.filter(which).At(at, Quantities[which]))
}
