package planner

import (
	"fmt"
	"math"

	"aliquot/planner/estimate"
	"aliquot/safety"
)

// passes of the Gauss-Seidel sweep: side effects between supplements are small, six leave less than a µL.
const passes = 6

// lane is a channel while its volume is worked out. Volumes are mL a day.
type lane struct {
	ch       *ChannelState
	sys      *SystemState
	target   *Target
	estimate *estimate.Estimate
	demand   demand
	master   int       // Share: index of the other channel
	peers    []int     // the lanes of its system, itself among them, in channel order
	at       int       // its own place in peers
	rise     []float64 // Follow: of its quantity for 1 mL of each of peers

	volume   float64
	usePart  float64
	wish     float64 // what the tests ask for, before any limit on volumes
	most     float64 // by per_day
	peak     Peak
	effect   float64 // Follow: rise of its quantity per mL, with what its shares bring of it
	group    int     // Follow: channels of this system that follow the same quantity
	limits   limits
	planned  safety.Microlitres // by this plan, at the most that it may give
	withheld safety.Code
	reason   string
}

// limits tells what held a volume below the wish.
type limits struct {
	dayCap, evaporation, quantityCap, treatment, step, ceiling, held, doubted bool
}

// solver holds the lanes. Channels of different systems bring each other nothing, so that a farm costs as much as its
// systems do one by one.
type solver struct {
	in       *Input
	lanes    []lane
	systems  map[string]int
	channels map[string]int
}

func newSolver(in *Input) *solver {
	n := len(in.Channels)
	s := &solver{in: in, lanes: make([]lane, n), systems: make(map[string]int, len(in.Systems)), channels: make(map[string]int, n)}
	for i := range in.Systems {
		s.systems[in.Systems[i].ID] = i
	}
	peers := make([][]int, len(in.Systems))
	for i := range in.Channels {
		s.channels[in.Channels[i].ID] = i
		if y, ok := s.systems[in.Channels[i].System]; ok {
			peers[y] = append(peers[y], i)
		}
	}
	for i := range s.lanes {
		s.lanes[i] = lane{ch: &in.Channels[i], master: -1}
		s.prepare(&s.lanes[i])
	}
	for y := range peers {
		for at, j := range peers[y] {
			s.lanes[j].peers, s.lanes[j].at = peers[y], at
		}
	}
	for j := range s.lanes {
		s.fillRise(j)
	}
	for j := range s.lanes {
		s.check(j)
	}
	return s
}

// prepare finds what belongs to a lane and refuses what is no number.
func (s *solver) prepare(l *lane) {
	if i, ok := s.systems[l.ch.System]; ok {
		l.sys = &s.in.Systems[i]
	}
	if why := badNumbers(l); why != "" {
		l.withhold(safety.BadVolume, why)
		return
	}
	l.peak = l.ch.Peak
	if l.peak == (Peak{}) {
		l.peak = l.ch.Calendar.Peak(s.in.At)
	}
	l.most = l.mostPerDay()
	l.volume = min(l.present(), l.most)
	switch l.ch.Mode {
	case Fixed:
		l.volume = 0
	case Follow:
		s.prepareFollow(l)
	case Share:
		if i, ok := s.channels[l.ch.ShareOf]; ok {
			l.master = i
		} else {
			l.withhold(safety.BadVolume, fmt.Sprintf("it shares the volume of %q, which is no channel", l.ch.ShareOf))
		}
	}
	s.prepareCourse(l)
}

func (s *solver) prepareFollow(l *lane) {
	for i := range l.sys.Targets {
		if l.sys.Targets[i].Quantity == l.ch.Quantity {
			l.target = &l.sys.Targets[i]
		}
	}
	for i := range l.sys.Estimates {
		if l.sys.Estimates[i].Quantity == l.ch.Quantity {
			l.estimate = &l.sys.Estimates[i]
		}
	}
	switch {
	case l.target == nil:
		l.withhold(safety.BadVolume, fmt.Sprintf("system %s has no target for %s", l.sys.ID, l.ch.Quantity))
	case !finiteTarget(l.target) || (l.estimate != nil && !finiteEstimate(l.estimate)):
		l.withhold(safety.BadVolume, fmt.Sprintf("a target or an estimate of %s is not a number", l.ch.Quantity))
	case !(l.ch.Strength[l.ch.Quantity] > 0):
		l.withhold(safety.BadVolume, fmt.Sprintf("its supplement does not raise %s", l.ch.Quantity))
	case !l.tested() && l.ch.Base == nil:
		l.withhold(safety.NoTest, fmt.Sprintf("no test of %s yet, and no base is declared: enter a test", l.ch.Quantity))
	case l.tested():
		l.demand = demandOf(*l.target, *l.estimate, s.in.At, l.sys.Kind)
	}
}

// fillRise works out what every channel of the system brings of lane j's quantity.
func (s *solver) fillRise(j int) {
	l := &s.lanes[j]
	if l.ch.Mode != Follow || l.withheld != "" {
		return
	}
	l.rise = make([]float64, len(l.peers))
	for p, k := range l.peers {
		o := &s.lanes[k]
		if o.withheld == "" {
			l.rise[p] = o.ch.Strength[l.ch.Quantity] / l.sys.NetLitres
		}
		if o.ch.Mode == Follow && o.withheld == "" && o.ch.Quantity == l.ch.Quantity {
			l.group++
		}
	}
	l.effect = l.rise[l.at]
	for p, k := range l.peers {
		if s.lanes[k].master == j && s.lanes[k].withheld == "" {
			l.effect += s.lanes[k].ch.ShareRatio * l.rise[p]
		}
	}
}

// check withholds a lane whose shares lower more than it raises, and shares of withheld channels.
func (s *solver) check(j int) {
	l := &s.lanes[j]
	if l.withheld != "" {
		return
	}
	if l.ch.Mode == Follow && !(l.effect > 0) {
		l.withhold(safety.BadVolume, fmt.Sprintf("with the channels that share its volume it does not raise %s", l.ch.Quantity))
		return
	}
	if l.master >= 0 && s.lanes[l.master].withheld != "" {
		l.withhold(s.lanes[l.master].withheld, fmt.Sprintf("it shares the volume of %s, which is withheld", l.ch.ShareOf))
	}
}

func (l *lane) withhold(code safety.Code, why string) {
	l.withheld, l.reason, l.volume, l.usePart = code, why, 0, 0
}

// tested says whether the followed quantity ever had an accepted test.
func (l *lane) tested() bool { return l.estimate != nil && l.estimate.Known }

// solve sweeps over the channels in order until what they bring each other has settled.
func (s *solver) solve() {
	for range passes {
		for j := range s.lanes {
			l := &s.lanes[j]
			if l.withheld != "" {
				continue
			}
			l.limits = limits{}
			switch l.ch.Mode {
			case Fixed:
				l.wish = l.ch.FixedPerDay
				l.volume = s.underVolumeCaps(j, l.wish)
			case Share:
				l.wish = l.ch.ShareRatio * s.lanes[l.master].volume
				l.volume = s.underVolumeCaps(j, l.wish)
			case Follow:
				s.follow(j)
			}
		}
	}
}

// follow sets the volume of a followed channel from the demand less what the others bring.
func (s *solver) follow(j int) {
	l := &s.lanes[j]
	if !l.tested() {
		l.wish = l.ch.Base.Millilitres()
		l.usePart = l.wish
		l.volume = s.bound(j, l.wish, l.wish)
		return
	}
	others, per := s.others(j), 1/(float64(l.group)*l.effect)
	at := func(need float64) float64 { return max(0, need/l.gain()-others) * per }
	d := l.demand
	l.usePart = at(d.use)
	l.wish = at(d.use + d.correction)
	l.volume = s.bound(j, l.wish, at(d.use+d.heldCorrection))
}

// gain is what the system is believed to get for 1 of what is told to be dosed.
func (l *lane) gain() float64 {
	if g := l.estimate.Gain; g > 0 {
		return min(gainMost, max(gainLeast, g))
	}
	return 1
}

// others is what the channels outside lane j's group bring of its quantity in a day. Shares of j itself are
// part of its effect.
func (s *solver) others(j int) float64 {
	l, sum := &s.lanes[j], 0.0
	for p, k := range l.peers {
		if s.outside(j, k) {
			sum += s.lanes[k].volume * l.rise[p]
		}
	}
	return sum
}

// outside says whether channel k of the same system belongs neither to lane j's group nor to its shares.
func (s *solver) outside(j, k int) bool {
	l, o := &s.lanes[j], &s.lanes[k]
	if k == j || o.master == j || o.withheld != "" {
		return false
	}
	return o.ch.Mode != Follow || o.ch.Quantity != l.ch.Quantity
}

// badNumbers names what makes a channel unusable, empty if nothing does.
func badNumbers(l *lane) string {
	c := l.ch
	switch {
	case l.sys == nil:
		return fmt.Sprintf("its system %q is not known", c.System)
	case !(l.sys.NetLitres > 0) || math.IsInf(l.sys.NetLitres, 0):
		return fmt.Sprintf("net volume %v L is not a number above 0", l.sys.NetLitres)
	case c.Limewater && (!(l.sys.Evaporation >= 0) || math.IsInf(l.sys.Evaporation, 0)):
		return fmt.Sprintf("an evaporation of %v mL a day is not a number from 0", l.sys.Evaporation)
	case !(c.FixedPerDay >= 0) || math.IsInf(c.FixedPerDay, 0):
		return fmt.Sprintf("fixed volume %v mL/day is not a number from 0", c.FixedPerDay)
	case !(c.ShareRatio >= 0) || math.IsInf(c.ShareRatio, 0):
		return fmt.Sprintf("share ratio %v is not a number from 0", c.ShareRatio)
	case c.PerDay < 0 || c.PerDay > largestVolume || c.PerRun < 0 || c.PerRun > largestVolume ||
		c.SmallestRun < 0 || c.SmallestRun > largestVolume || c.Tolerance < 0 || c.Tolerance > 1000:
		return "its limits are out of range"
	case c.Worst < 0 || c.Worst > largestVolume:
		return "what each of its runs counts as is out of range"
	case c.Offset < -largestVolume || c.RunsOn < max(0, c.Offset) || c.RunsOn > largestVolume:
		return "its offset is out of range"
	case outOfRange(c.Base) || outOfRange(c.Reference) || outOfRange(c.InForce) || outOfRange(c.Ceiling) || outOfRange(c.DoubtCeiling) || c.Rate < 0 || c.Rate > fastest:
		return "its base, its earlier volume or its rate is out of range"
	}
	// Any order will do: only whether one is bad decides.
	for _, v := range c.Strength {
		if !finite(v) {
			return "a strength of its supplement is not a number"
		}
	}
	return ""
}

// largestVolume bounds every volume, so that sums in nL stay far inside int64.
const largestVolume = 1_000_000 * safety.Millilitre

// fastest bounds a rate: 60 L/min, far above any dosing pump.
const fastest safety.Rate = 1e9

func outOfRange(v *safety.Microlitres) bool { return v != nil && !(*v >= 0 && *v <= largestVolume) }

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

func finiteTarget(t *Target) bool {
	return finite(t.Target) && finite(t.Band) && finite(t.MaxRise) && finite(t.MaxFall) && finite(t.MaxDose)
}

func finiteEstimate(e *estimate.Estimate) bool {
	return finite(e.Level) && finite(e.LevelSD) && finite(e.LevelCaught) && finite(e.Consumption) &&
		finite(e.ConsumptionSD) && finite(e.HeldLevel) && finite(e.Gain) && finite(e.UseAtTarget) && finite(e.UseRaised) && finite(e.Pending) &&
		finite(e.OfHour) && finite(e.CaughtByTests)
}

// days gives the answer in whole µL, rounded down.
func (s *solver) days() []Day {
	out := make([]Day, len(s.lanes))
	for i := range s.lanes {
		l := &s.lanes[i]
		v, err := safety.MillilitresDown(l.volume)
		if err != nil {
			l.withhold(safety.BadVolume, err.Error())
			v = 0
		}
		out[i] = Day{Channel: l.ch.ID, PerDay: v, UsePart: v, Why: l.why()}
		if use, err := safety.MillilitresDown(l.usePart); err == nil && l.ch.Mode == Follow && l.withheld == "" {
			if l.demand.correction >= 0 {
				use = min(use, v)
			}
			out[i].UsePart, out[i].CorrectionPart = use, v-use
		}
	}
	return out
}
