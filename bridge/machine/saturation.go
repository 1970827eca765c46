package machine

import (
	"fmt"
	"math"
	"time"

	"aliquot/planner/seawater"
	"aliquot/planner/units"
	"aliquot/safety"
)

// Saturations of aragonite that a person should know of (H-26). Aragonite forms by itself on warm and rough surfaces well
// before it does so in the water: common practice, no published limit for tanks. The ends are our own choice.
const (
	aragoniteNote        = 7.0
	aragoniteNoteOver    = 6.5
	aragoniteWarning     = 8.0
	aragoniteWarningOver = 7.5
	aragoniteHold        = 3 * time.Hour
	// aragoniteForget is how long an alert stands while nothing is known. Our own choice.
	aragoniteForget = 24 * time.Hour
)

func noteRule() safety.InterlockRule {
	return safety.InterlockRule{When: safety.Bound{Value: aragoniteNote, Above: true}, Until: &safety.Bound{Value: aragoniteNoteOver}, IgnoreStale: true}
}

func warningRule() safety.InterlockRule {
	return safety.InterlockRule{When: safety.Bound{Value: aragoniteWarning, Above: true}, WhenFor: aragoniteHold,
		Until: &safety.Bound{Value: aragoniteWarningOver}, IgnoreStale: true}
}

// lookAtSaturation follows the saturation of a system as an interlock follows a probe; it never blocks.
func (t *turn) lookAtSaturation(y *systemState) {
	now := t.clock.Now()
	omega, ok := t.saturation(y, t.wall())
	ok = ok && t.clock.Trusted()
	r := safety.Reading{Value: omega, Good: ok}
	y.high, y.higher = y.high.Look(noteRule(), now, r), y.higher.Look(warningRule(), now, r)
	if ok {
		rounded := math.Round(omega*100) / 100
		y.aragonite, y.unknown = &rounded, false
		return
	}
	y.aragonite = nil
	if !y.unknown {
		y.unknown, y.unknownFrom = true, now
	}
	if now-y.unknownFrom >= elapsed(aragoniteForget) {
		y.high, y.higher = safety.Interlock{}, safety.Interlock{}
	}
}

func saturationText(omega *float64) string {
	if omega == nil {
		return "the saturation of aragonite is not known now"
	}
	return fmt.Sprintf("the saturation of aragonite is about %.1f", *omega)
}

// saturation estimates that of aragonite from alkalinity, calcium, pH, salinity and temperature. Without a fresh pH
// probe and a test of alkalinity that is not stale, and outside what the formulas were made for, it is not known.
func (s *State) saturation(y *systemState, at time.Time) (float64, bool) {
	if _, ok := s.measured(y, units.PH); !ok {
		return 0, false
	}
	if _, err := s.saltOf(y, at).PHScales(); err != nil {
		return 0, false // before any work on levels: this is asked every minute
	}
	alk, ok := y.level(units.Alkalinity, at)
	if !ok {
		return 0, false
	}
	_, c, ok := s.carbonate(y, alk, at)
	return c.Aragonite, ok && c.Aragonite >= 0
}

// carbonate solves a system's water at an alkalinity (dKH) and its measured pH.
func (s *State) carbonate(y *systemState, dkh float64, at time.Time) (seawater.System, seawater.Carbonate, bool) {
	ph, ok := s.measured(y, units.PH)
	if !ok {
		return seawater.System{}, seawater.Carbonate{}, false
	}
	water := s.seawaterOf(y, at)
	scales, err := water.PHScales()
	if err != nil {
		return seawater.System{}, seawater.Carbonate{}, false
	}
	total, _ := scales.FromNBS(seawater.NBSPH(ph))
	sys, err := seawater.NewSystem(water)
	if err != nil {
		return seawater.System{}, seawater.Carbonate{}, false
	}
	alk, err := water.AlkalinityFromDKH(dkh)
	if err != nil {
		return seawater.System{}, seawater.Carbonate{}, false
	}
	c, err := sys.AlkalinityPH(alk, total)
	return sys, c, err == nil
}

// saltOf is a system's water: what a fresh probe says, else what tests say, else what was configured.
func (s *State) saltOf(y *systemState, at time.Time) seawater.Water {
	w := seawater.Water{Salinity: y.water.Salinity, Temperature: y.water.Temperature}
	if v, ok := s.measured(y, units.Salinity); ok {
		w.Salinity = seawater.PSU(v)
	} else if v, ok := y.level(units.Salinity, at); ok {
		w.Salinity = seawater.PSU(v)
	}
	if v, ok := s.measured(y, units.Temperature); ok {
		w.Temperature = seawater.Celsius(v)
	}
	return w
}

// seawaterOf is that with its calcium. Calcium of which nothing is known goes with salinity as in the sea.
func (s *State) seawaterOf(y *systemState, at time.Time) seawater.Water {
	w := s.saltOf(y, at)
	rho, err := seawater.DensityOf(w.Salinity, w.Temperature)
	if err != nil {
		return w
	}
	mgL, ok := y.level(units.Calcium, at)
	if !ok {
		return w
	}
	if umolL, err := units.FromCanonical(units.Calcium, mgL, "umol/L"); err == nil {
		w.Calcium = seawater.MicromolPerKg(umolL * 1000 / float64(rho))
	}
	return w
}

// measured is what the first fresh probe of a system says of a quantity. A probe that names no system may stand
// anywhere, and does not count.
func (s *State) measured(y *systemState, q units.Quantity) (float64, bool) {
	for _, i := range s.index.probes[y.cfg.ID] {
		p := &s.probes[i]
		if p.cfg.Quantity != q {
			continue
		}
		if r := s.reading(p); r.Good {
			return r.Value, true
		}
	}
	return 0, false
}
