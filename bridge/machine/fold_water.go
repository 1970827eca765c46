package machine

import (
	"math"
	"slices"
	"time"

	"aliquot/planner"
	"aliquot/planner/advice"
	"aliquot/planner/estimate"
	"aliquot/planner/units"
	"aliquot/safety"
)

// input is one thing that the estimator of a system was told. They are kept, so that a test entered late can be
// put in its place in time. Nearly all are doses, thousands for each system: what else they may be stands apart.
type input struct {
	at    time.Time
	kind  inputKind
	rises []estimate.Rise // never written to: equal doses share them
	*said                 // nil of a dose
}

// said is what an input other than a dose says. It is never written to.
type said struct {
	test     estimate.Test
	fraction float64
	mix      []estimate.Level
	note     string
	lot      lot     // of a test
	level    float64 // of a test, as read: test.Value is without what is known of the lot's bias
}

type inputKind uint8

const (
	inputDose inputKind = iota
	inputTest
	inputWater
	inputNote
	inputProbe // what it read is in test
)

// inputsKept is how long inputs stay open for a late test; inputsFew is the count below which none is let go.
const (
	inputsKept = 45 * 24 * time.Hour
	inputsFew  = 4096
)

// newSystemState starts a system of which nothing is known but what its keeper declared: the base of the channels that
// follow a quantity says about how much of it is used.
func newSystemState(cfg *planner.System, zone *time.Location, channels []Channel) systemState {
	var specs []estimate.Spec
	for _, t := range cfg.Targets {
		spec := estimate.Spec{Quantity: t.Quantity, TestSD: t.Test.SD, Target: t.Target, Upper: t.Target + t.Band}
		spec.Light = lightOf(cfg, zone, t.Quantity)
		spec.Use, spec.UseSD = estimate.UseOfBase(t.Quantity, baseRise(cfg, channels, t.Quantity))
		specs = append(specs, spec)
	}
	f := estimate.New(cfg.NetLitres, specs)
	return systemState{cfg: cfg, filter: f, base: f.Clone(), uses: make([]advice.Log, len(cfg.Targets)), lowTests: make([]int, len(cfg.Targets)), strong: make([]float64, len(cfg.Targets)), watched: make([]time.Time, len(cfg.Targets))}
}

// lightOf is the daily cycle of a use: of what corals build their skeletons from.
func lightOf(cfg *planner.System, zone *time.Location, q units.Quantity) estimate.Light {
	if cfg.Kind != planner.Coral || q != units.Alkalinity && q != units.Calcium {
		return estimate.Light{}
	}
	if on := cfg.Light; on.Told() {
		return estimate.ToldLight(zone, time.Duration(on.From)*time.Minute, time.Duration(on.To)*time.Minute)
	}
	return estimate.UsualLight(zone)
}

// baseRise is what the declared bases raise a quantity by in a day.
func baseRise(cfg *planner.System, channels []Channel, q units.Quantity) float64 {
	sum := 0.0
	for i := range channels {
		c := &channels[i]
		if c.System == cfg.ID && c.Mode == planner.Follow && c.Quantity == q && c.Base != nil {
			sum += c.Base.Millilitres() * c.Strength[q] / cfg.NetLitres
		}
	}
	return sum
}

// add tells the estimator something. What comes out of order makes it start again from its base. The result is
// that of in itself, if it is a test.
func (y *systemState) add(in input) estimate.Result {
	n := len(y.inputs)
	for n > 0 && y.inputs[n-1].at.After(in.at) {
		n--
	}
	if n == len(y.inputs) {
		y.inputs = append(y.inputs, in)
		y.prune(in.at)
		return feed(y.filter, in)
	}
	together := y.gathered(n, in)
	y.inputs = slices.Insert(y.inputs, n, in)
	if together {
		return feed(y.filter, in)
	}
	return y.feedFrom(n)
}

// gathered says whether a dose goes into the same gathering as everything told since its time: runs that end in another
// order than they began come so all the time.
func (y *systemState) gathered(n int, in input) bool {
	if in.kind != inputDose || !estimate.Gathered(in.at, y.inputs[len(y.inputs)-1].at) {
		return false
	}
	for _, r := range in.rises {
		if r.Over > 0 {
			return false
		}
	}
	for _, later := range y.inputs[n:] {
		if later.kind != inputDose {
			return false
		}
	}
	return true
}

// nearKept is how many inputs before one that came out of order the filter is remembered: the next one that does
// hardly goes back further. Runs that end in another order than they began come so all the time.
const nearKept = 16

// feedFrom starts the filter again before inputs[n] and gives the result of that one.
func (y *systemState) feedFrom(n int) estimate.Result {
	from, f := 0, y.base.Clone()
	if y.near != nil && n >= y.nearAt {
		from, f = y.nearAt, y.near.Clone()
	}
	var result estimate.Result
	keep := max(from, n-nearKept)
	for i := from; i < len(y.inputs); i++ {
		if i == keep {
			y.near, y.nearAt = f.Clone(), i
		}
		got := feed(f, y.inputs[i])
		if i == n {
			result = got
		}
	}
	y.filter = f
	return result
}

// prune moves the base forward over inputs that no late test can precede any more.
func (y *systemState) prune(now time.Time) {
	if len(y.inputs) <= inputsFew || now.Sub(y.inputs[inputsFew/2].at) < inputsKept {
		return
	}
	for _, old := range y.inputs[:inputsFew/2] {
		feed(y.base, old)
	}
	kept := copy(y.inputs, y.inputs[inputsFew/2:])
	clear(y.inputs[kept:])
	y.inputs = y.inputs[:kept]
	if y.nearAt -= inputsFew / 2; y.nearAt < 0 {
		y.near, y.nearAt = nil, 0
	}
}

func feed(f *estimate.Filter, in input) estimate.Result {
	switch in.kind {
	case inputDose:
		f.Dose(in.at, in.rises)
	case inputTest:
		return f.Test(in.test)
	case inputWater:
		f.WaterChange(in.at, in.fraction, in.mix)
	case inputNote:
		f.Disturb(in.at, in.note)
	case inputProbe:
		f.Probe(estimate.ProbeReading{At: in.at, Quantity: in.test.Quantity, Value: in.test.Value})
	}
	return estimate.Result{}
}

// dosed tells the estimator of a system that between lo and hi of a channel's supplement went in.
func (s *State) dosed(c *channelState, at time.Time, lo, hi safety.Microlitres) {
	y := s.system(c.cfg.System)
	strength := s.strength(c)
	if y == nil || hi <= 0 {
		return
	}
	late, over := s.appears(c)
	var few [4]estimate.Rise
	rises := few[:0]
	for _, t := range y.cfg.Targets {
		per := strength[t.Quantity] / y.cfg.NetLitres
		if t.Quantity == units.Alkalinity && late > 0 {
			if r := riseOf(t.Quantity, per*late, lo, hi); per != 0 {
				r.Over = over
				rises = append(rises, r)
			}
			per *= 1 - late
		}
		if per != 0 {
			rises = append(rises, riseOf(t.Quantity, per, lo, hi))
		}
	}
	if len(rises) == 0 {
		return
	}
	if !slices.Equal(rises, c.rises) {
		c.rises = slices.Clone(rises)
	}
	y.add(input{at: at, kind: inputDose, rises: c.rises})
}

// riseOf is what between lo and hi of a supplement brings that moves a quantity by per for each mL.
func riseOf(q units.Quantity, per float64, lo, hi safety.Microlitres) estimate.Rise {
	low, high := per*lo.Millilitres(), per*hi.Millilitres()
	return estimate.Rise{Quantity: q, Mean: (low + high) / 2, Lo: low, Hi: high, Unknown: lo != hi}
}

// appears says which share of the alkalinity of what the channel's container holds now appears late, and over which
// time.
func (s *State) appears(c *channelState) (late float64, over time.Duration) {
	p := s.inside(c)
	if p == nil || p.AppearsOver <= 0 || !(p.LateShare > 0) {
		return 0, 0
	}
	return min(1, p.LateShare), p.AppearsOver
}

// inside is the supplement that the channel's container holds now; nil if the site no longer knows it.
func (s *State) inside(c *channelState) *Supplement {
	if k := s.container(c.cfg.Container); k != nil {
		return s.supplement(k.supplement)
	}
	return nil
}

// strength is that of what the channel's container holds now.
func (s *State) strength(c *channelState) map[units.Quantity]float64 {
	if k := s.container(c.cfg.Container); k != nil && k.supplement != k.cfg.Supplement {
		if p := s.supplement(k.supplement); p != nil {
			return p.Strength
		}
	}
	return c.cfg.Strength
}

// lateTest is the age at which a result counts as late: it then never raises a plan by itself for a day.
const lateTest = 24 * time.Hour

func (s *State) applyTest(r Row, b Test) {
	y := s.system(b.System)
	if b.Of == "reference" {
		s.applyReference(r, b)
	}
	if y == nil || (b.Of != "" && b.Of != "tank") {
		return
	}
	test := estimate.Test{At: b.Taken, Quantity: b.Quantity, Value: b.Level, SD: y.testSD(b.Quantity), Confirmed: b.Confirmed}
	of := lotOf(b)
	if bias, sd, ok := s.biasOf(of); ok {
		test.Value, test.BiasSD = max(0, b.Level-bias), sd
	}
	if _, verdict, _ := units.CheckEntry(b.Quantity, b.Level, b.Quantity.Unit()); verdict != units.Accepted && !b.Confirmed {
		test.Doubtful = true
	}
	result := y.add(input{at: b.Taken, kind: inputTest, said: &said{test: test, lot: of, level: b.Level}})
	y.lastResult = result
	if result.Verdict == estimate.Accepted {
		s.logUse(y, test)
	}
	if r.At.Sub(b.Taken) <= lateTest {
		y.lowTest(b.Quantity, test.Value, result)
	}
	y.noteResponse(b.Quantity)
	held := y.filter.At(r.At, b.Quantity).Held != nil
	for _, i := range s.index.into[b.System] {
		c := &s.channels[i]
		if !c.follows() || c.cfg.Quantity != b.Quantity {
			continue
		}
		c.holdVolume(held)
		switch {
		case r.At.Sub(b.Taken) > lateTest:
			c.lateRise, c.lateUntil = c.present(), r.At.Add(safety.Window)
		case result.Verdict == estimate.Accepted:
			c.noRise = nil
		}
	}
}

// holdVolume remembers the volume in force when a test comes that is held, until none is (H-29). A second held test in a
// row does not take the lowered volume for the one in force.
func (c *channelState) holdVolume(held bool) {
	switch {
	case !held:
		c.inForce = nil
	case c.inForce == nil && len(c.volumes) > 0:
		c.inForce = c.present()
	}
}

func (y *systemState) testSD(q units.Quantity) float64 {
	for _, t := range y.cfg.Targets {
		if t.Quantity == q {
			return t.Test.SD
		}
	}
	return 0
}

// applyWaterChange replaces a fraction of the water. A continuous exchange of V litres replaces 1 − e^(−V/N) of
// it, a perfectly mixed vessel being washed out.
func (s *State) applyWaterChange(b WaterChange) {
	y := s.system(b.System)
	if y == nil || !(b.Litres > 0) {
		return
	}
	at, fraction := b.Taken, min(1, b.Litres/y.cfg.NetLitres)
	if !b.Until.IsZero() {
		at, fraction = b.Until, -math.Expm1(-b.Litres/y.cfg.NetLitres)
	}
	in := input{at: at, kind: inputWater, said: &said{fraction: fraction}}
	for _, l := range b.Mix {
		in.mix = append(in.mix, estimate.Level{Quantity: l.Quantity, Value: l.Level})
	}
	y.add(in)
}

// applySalinityCorrection dilutes every quantity by the fresh water that came in. What was taken out and made up
// with salt mix is a water change and comes as one.
func (s *State) applySalinityCorrection(r Row, b SalinityCorrection) {
	y := s.system(b.System)
	if y == nil || !(b.Litres > 0) {
		return
	}
	in := input{at: r.At, kind: inputWater, said: &said{fraction: b.Litres / (y.cfg.NetLitres + b.Litres)}}
	for _, t := range y.cfg.Targets {
		in.mix = append(in.mix, estimate.Level{Quantity: t.Quantity, Value: 0})
	}
	y.add(in)
}
