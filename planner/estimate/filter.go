package estimate

import (
	"math"
	"time"

	"aliquot/planner/units"
)

// Filter holds the estimates of one system. It is a value with history: Clone it to try something.
type Filter struct {
	netLitres float64
	tracks    []track
}

// New starts a Filter that knows nothing yet. netLitres is the system's water; rises are given as levels
// already, so that it only tells the Filter's reader what they refer to.
func New(netLitres float64, specs []Spec) *Filter {
	f := &Filter{netLitres: netLitres, tracks: make([]track, len(specs))}
	for i, s := range specs {
		f.tracks[i] = track{spec: s, prior: priorOf(s), sd: testSD(s)}
	}
	return f
}

// NetLitres gives the volume that levels and rises refer to.
func (f *Filter) NetLitres() float64 { return f.netLitres }

// Clone gives an independent copy.
func (f *Filter) Clone() *Filter {
	c := *f
	c.tracks = append([]track(nil), f.tracks...)
	for i := range c.tracks {
		c.tracks[i] = c.tracks[i].clone()
	}
	return &c
}

// Quantities gives the quantities in the order of the specs.
func (f *Filter) Quantities() []units.Quantity {
	out := make([]units.Quantity, len(f.tracks))
	for i := range f.tracks {
		out[i] = f.tracks[i].spec.Quantity
	}
	return out
}

// find gives the track of a quantity, nil if the system has no such quantity.
func (f *Filter) find(q units.Quantity) *track {
	for i := range f.tracks {
		if f.tracks[i].spec.Quantity == q {
			return &f.tracks[i]
		}
	}
	return nil
}

// Test takes a test in and says what became of it. A value that is no number, or of a quantity that the system
// does not have, is Refused and changes nothing.
func (f *Filter) Test(t Test) Result {
	k := f.find(t.Quantity)
	if k == nil || !finite(t.Value) {
		return Result{}
	}
	for i := range f.tracks {
		f.tracks[i].advance(t.At)
	}
	before, known := k.belief(), k.known
	res := k.judge(t)
	if known && t.Quantity == units.Alkalinity && res.Verdict == Accepted {
		f.passOn(k, before)
	}
	return res
}

// Dose takes in what a run brought. Quantities that the system does not have, and rises that are no numbers,
// are passed over.
func (f *Filter) Dose(at time.Time, rises []Rise) {
	for i := range rises {
		k := f.find(rises[i].Quantity)
		if k == nil {
			continue
		}
		if rises[i].Over > 0 {
			k.advance(at) // what appears late is released from its own time on
		} else {
			k.reach(at)
		}
		k.dose(rises[i])
	}
}

// WaterChange replaces a fraction (0..1) of the water by new water. A quantity that mix does not name is taken
// to be as it was, less surely. A fraction outside 0..1 changes nothing.
func (f *Filter) WaterChange(at time.Time, fraction float64, mix []Level) {
	if !(fraction > 0 && fraction <= 1) {
		return
	}
	for i := range f.tracks {
		k := &f.tracks[i]
		k.advance(at)
		value, known := 0.0, false
		for _, m := range mix {
			if m.Quantity == k.spec.Quantity && finite(m.Value) {
				value, known = m.Value, true
			}
		}
		k.dilute(fraction, value, known)
	}
}

// Disturb widens what is believed after a noted event; kind is one of the history's note kinds. It moves no
// mean and so raises nothing.
func (f *Filter) Disturb(at time.Time, kind string) {
	s := shakeOf(kind)
	for i := range f.tracks {
		f.tracks[i].advance(at)
		f.tracks[i].shake(s)
	}
}

// At gives the estimate of a quantity at t, which is not before the last event; the Filter stays as it is.
func (f *Filter) At(t time.Time, q units.Quantity) Estimate {
	found := f.find(q)
	if found == nil {
		return Estimate{Quantity: q}
	}
	k := found.clone()
	k.advance(t)
	b := k.belief()
	e := Estimate{Quantity: q, Known: k.known, TestsUsed: k.used, TestsSetAside: k.aside}
	if k.doubt != nil {
		held := k.doubt.test
		e.Held, e.HeldLevel = &held, k.doubt.believer.level()
		if was := k.doubt.judged; was.Known {
			e.HeldPredicted = was.Predicted
			if finite(was.Limit) {
				e.HeldLimit = was.Limit
			}
		}
	}
	if !k.known {
		return e
	}
	late := k.pending.sum()
	e.OfHour = -k.spec.Light.phase(t) * b.useNow
	e.Level, e.LevelSD, e.LevelCaught = b.level, math.Sqrt(max(0, b.ll)+k.bias*k.bias), b.level+k.caught+late.caught
	e.Pending, e.PendingOver = late.mean, late.over
	e.Consumption, e.ConsumptionSD, e.Use, e.UseAtTarget = max(0, b.useNow), math.Sqrt(max(0, b.varNow)), b.useNow, max(0, b.use)
	e.UseRaised = k.raised
	e.Gain, e.GainSD = b.gain, math.Sqrt(max(0, b.gg))
	k.withStream(&e)
	e.FirstAccepted, e.LastAccepted, e.Last, e.Previous, e.Overshoot = k.first, k.last.At, k.last, k.previous, k.overshoot
	return e
}

// Tested gives the time of the newest accepted test of a quantity, zero before the first, and the test that is held, nil
// if none is: the same as in any estimate of it, and without the work of one.
func (f *Filter) Tested(q units.Quantity) (accepted time.Time, held *Test) {
	k := f.find(q)
	if k == nil {
		return time.Time{}, nil
	}
	if k.doubt != nil {
		t := k.doubt.test
		held = &t
	}
	if k.known {
		accepted = k.last.At
	}
	return accepted, held
}

// All gives every estimate at t in the order of the specs.
func (f *Filter) All(t time.Time) []Estimate {
	out := make([]Estimate, len(f.tracks))
	for i := range f.tracks {
		out[i] = f.At(t, f.tracks[i].spec.Quantity)
	}
	return out
}
