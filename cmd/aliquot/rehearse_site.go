package main

import (
	"math/rand/v2"
	"strings"
	"time"

	"aliquot/bridge/machine"
	"aliquot/bridge/rehearse"
	"aliquot/config"
	"aliquot/planner"
	"aliquot/planner/stock"
	"aliquot/planner/tank"
	"aliquot/planner/units"
)

// options puts a rehearsal together from the site and the flags.
func (r rehearseCommand) options(l loaded) (rehearse.Options, error) {
	if !(r.Days >= 1 && r.Days <= 366) {
		return rehearse.Options{}, fail(exitUsage, "--days %d is not within 1 to 366", r.Days)
	}
	start := time.Date(2027, 3, 1, 7, 10, 0, 0, l.Zone)
	if r.From != "" {
		at, err := time.Parse(time.RFC3339, r.From)
		if err != nil {
			return rehearse.Options{}, fail(exitUsage, "--from %q is no RFC 3339 time such as 2027-03-02T07:00:00Z", r.From)
		}
		start = at
	}
	o := rehearse.Options{Site: machineSite(l.Site), Carbon: carbonOf(l),
		Scenario: rehearse.Scenario{Start: start.UTC(), Days: r.Days, Seed: r.Seed}}
	// The history must not depend on the build.
	o.Site.Version = "rehearsal"
	var err error
	if r.scene, err = r.scene.withFile(l, r.Scenario, r.Days); err != nil {
		return o, err
	}
	if err := r.scene.read(l, &o.Scenario); err != nil {
		return o, err
	}
	if o.Waters, err = r.scene.waters(l); err != nil {
		return o, err
	}
	o.Nodes, err = rehearsedNodes(l, r.Seed)
	return o, err
}

// pumpSpread is how far a pump may be off its nominal rate, either way; our own choice.
const pumpSpread = 0.03

func rehearsedNodes(l loaded, seed uint64) ([]rehearse.Node, error) {
	chance := rand.New(rand.NewPCG(seed, 11))
	var out []rehearse.Node
	for i, cfg := range l.Nodes {
		n := rehearse.Node{Codec: l.codecs[i]}
		for _, o := range nodeOutputs(l, cfg.ID) {
			n.Outputs = append(n.Outputs, o.number)
			n.Rates = append(n.Rates, o.rate*(1+pumpSpread*(2*chance.Float64()-1)))
		}
		if cfg.Style == config.Supply {
			n.Outputs = []int{machine.SupplyOutput}
		}
		if len(n.Outputs) == 0 {
			continue // no channel uses it: there is nothing to imitate
		}
		var err error
		if n.Sim, err = simulate(cfg, n.Rates); err != nil {
			return nil, fail(exitFailed, "node %s: %w", cfg.ID, err)
		}
		out = append(out, n)
	}
	return out, nil
}

// carbonOf says how much carbon comes with the alkalinity of each supplement. Of a label's claim nobody knows.
func carbonOf(l loaded) map[string]float64 {
	out := map[string]float64{}
	for _, p := range l.Supplements {
		if share, carbon, err := stock.AtOnce(p.Parts()); err == nil && share > 0 {
			out[p.ID] = min(1, carbon)
		}
	}
	return out
}

// Our own choices for a tank of which nobody knows more.
const (
	trueVolume   = 0.97 // of the declared net volume: it is never known exactly
	coralUse     = 1.0  // dKH/day
	otherUse     = 0.2  // dKH/day, without corals
	useGrowth    = 0.003
	useDaySwing  = 0.4
	useWander    = 0.1
	wanderLength = 10 * day
)

func (s scene) waters(l loaded) ([]rehearse.Water, error) {
	var out []rehearse.Water
	for _, y := range l.Systems {
		w := rehearse.Water{NetLitres: y.NetLitres * trueVolume, Start: map[units.Quantity]float64{}, Other: map[units.Quantity]float64{},
			Uptake: tank.Uptake{PerDay: usualUse(l, y), Law: tank.Saturation, GrowthPerDay: useGrowth,
				DaySwing: useDaySwing, WanderSD: useWander, WanderTime: wanderLength}}
		w.MidLight, w.LightLong = lit(y.Light, l.Zone)
		for q, v := range map[units.Quantity]float64{units.Salinity: y.SalinityPSU, units.Temperature: y.TemperatureC} {
			if v > 0 {
				w.Start[q] = v
			}
		}
		for _, q := range y.Quantities {
			w.Start[q.Quantity] = q.Target
			if dissolved(q.Quantity) {
				w.Start[q.Quantity] = max(0, q.Target-q.Band/2)
			}
			if q.Quantity == units.Alkalinity {
				w.Uptake.Reference = q.Target
			}
		}
		out = append(out, w)
	}
	if err := s.starts(l, out); err != nil {
		return nil, err
	}
	return out, s.uses(l, out)
}

// lit is the middle of a system's light, counted from 12:00 UTC by the zone's winter time, and how long it lasts: ten hours
// about one o'clock unless the keeper has said.
func lit(on planner.Light, zone *time.Location) (middle, long time.Duration) {
	from, long := 8*time.Hour, 10*time.Hour
	if on.Told() {
		from, long = time.Duration(on.From)*time.Minute, time.Duration((on.To-on.From+24*60)%(24*60))*time.Minute
	}
	_, east := time.Date(2027, 1, 1, 0, 0, 0, 0, zone).Zone()
	after := (from + long/2 - time.Duration(east)*time.Second - 12*time.Hour) % day
	switch {
	case after > day/2:
		after -= day
	case after < -day/2:
		after += day
	}
	return after, max(time.Hour, long)
}

// dissolved says whether a quantity is one that channels raise.
func dissolved(q units.Quantity) bool {
	switch q {
	case units.PH, units.Temperature, units.Salinity, units.Nitrate, units.Phosphate:
		return false
	}
	return true
}

// usualUse is what the base of the channels that follow alkalinity brings, dKH/day; else an ordinary figure.
func usualUse(l loaded, y config.System) float64 {
	sum := 0.0
	for _, c := range l.Channels {
		if c.System == y.ID && c.Mode == planner.Follow && c.Follow == units.Alkalinity && c.Base != nil {
			sum += c.Base.Millilitres() * strengthOf(l, c)[units.Alkalinity] / y.NetLitres
		}
	}
	switch {
	case sum > 0:
		return min(sum, 20)
	case y.Kind == planner.Coral:
		return coralUse
	}
	return otherUse
}

func strengthOf(l loaded, c config.Channel) map[units.Quantity]float64 {
	for _, k := range l.Containers {
		for _, p := range l.Supplements {
			if k.ID == c.Container && p.ID == k.Supplement {
				return p.Strength
			}
		}
	}
	return nil
}

func (s scene) starts(l loaded, waters []rehearse.Water) error {
	const flag, example = "start", "alkalinity=7.6 dKH"
	for _, text := range s.Start {
		name, value, ok := strings.Cut(text, "=")
		if !ok {
			return usage(flag, text, "it does not say which level", example)
		}
		at, err := findTarget(l, flag, text, name, example)
		if err != nil {
			return err
		}
		v, err := units.ParseLevel(at.quantity, value)
		if err != nil {
			return usage(flag, text, err.Error(), example)
		}
		if at.quantity == units.Alkalinity && !(v > 0) {
			return usage(flag, text, "a tank without any alkalinity cannot be rehearsed", example)
		}
		waters[systemIndex(l, at.system)].Start[at.quantity] = v
	}
	return nil
}

func (s scene) uses(l loaded, waters []rehearse.Water) error {
	const flag, example = "use", "alkalinity=1.2 dKH/day"
	for _, text := range s.Use {
		name, value, ok := strings.Cut(text, "=")
		if !ok {
			return usage(flag, text, "it does not say how much", example)
		}
		at, err := findTarget(l, flag, text, name, example)
		if err != nil {
			return err
		}
		v, err := units.ParseLevelPerDay(at.quantity, value)
		if err != nil {
			return usage(flag, text, err.Error(), example)
		}
		w := &waters[systemIndex(l, at.system)]
		switch at.quantity {
		case units.Alkalinity:
			if v > 20 {
				return usage(flag, text, "no tank uses more than 20 dKH/day", example)
			}
			w.Uptake.PerDay = v
		case units.Calcium, units.Magnesium:
			return usage(flag, text, "corals take calcium and magnesium together with alkalinity (7.15 mg/L and 0.7 mg/L for 1 dKH): say the use of alkalinity", example)
		case units.Nitrate, units.PH, units.Temperature, units.Salinity:
			return usage(flag, text, string(at.quantity)+" has no constant use in the simulated tank", example)
		default:
			w.Other[at.quantity] = v
		}
	}
	return nil
}

func systemIndex(l loaded, id string) int {
	for i, y := range l.Systems {
		if y.ID == id {
			return i
		}
	}
	return 0
}
