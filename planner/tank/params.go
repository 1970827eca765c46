package tank

import (
	"fmt"
	"math"
	"time"

	"aliquot/planner/units"
)

// Law is how calcification depends on the alkalinity.
type Law int

// Laws of uptake; see the package comment.
const (
	MichaelisMenten Law = iota
	Linear
	Constant
	// Saturation follows the aragonite saturation, and with it pH and calcium.
	Saturation
)

// Params describes a tank. The zero value of each field that is not said to be needed leaves that effect out.
type Params struct {
	// Seed starts the wander and the noise of readings.
	Seed uint64
	// NetLitres is the volume of water, needed, 1 to 1e6.
	NetLitres float64
	// Start holds levels at the start, canonical units. A quantity that is left out starts at an ordinary level.
	Start map[units.Quantity]float64
	// Uptake is what corals take up by calcification.
	Uptake Uptake
	// OtherPerDay is the constant uptake of further quantities, canonical unit per day. Alkalinity, calcium,
	// magnesium, nitrate, pH and temperature have their own equations and are refused here.
	OtherPerDay map[units.Quantity]float64
	// NitrateFormedPerDay is the nitrification of food and waste, mg/L NO3 per day, 0 to 100;
	// NitrateUptakePerDay the share of the nitrate taken up per day, 0 to 10.
	NitrateFormedPerDay, NitrateUptakePerDay float64
	// EvaporationLitresPerDay is 0 to NetLitres; TopOffShare, 0 to 1, is how much of it is replaced by fresh water.
	EvaporationLitresPerDay, TopOffShare float64
	// MidLight is the middle of the light period, counted from 12:00 UTC; −12 h to 12 h.
	MidLight time.Duration
	// TemperatureSwing is the day curve's amplitude (half of the range), degC 0 to 5.
	TemperatureSwing float64
	// Life is what moves inorganic carbon over the day.
	Life Life
	// GasExchangePerHour is the share of the difference in dissolved CO2 between the water and what would be in
	// equilibrium with the room that passes in an hour, 0 to 10: the piston velocity (m/h) over the depth (m).
	GasExchangePerHour float64
	// RoomPCO2 is the partial pressure of CO2 in the room, µatm, 100 to 10000; 0 stands for that of the water at the
	// start.
	RoomPCO2 float64
	// ProbeSD is the noise of a probe, canonical unit. Left out: pH 0.01, temperature 0.05 degC, salinity
	// 0.1 psu, others none.
	ProbeSD map[units.Quantity]float64
	// ProbeOffset is by how much a probe is off at the start, ProbeDriftPerDay by how much more each day; canonical
	// unit, either sign. See CalibrateProbe.
	ProbeOffset, ProbeDriftPerDay map[units.Quantity]float64
}

// Life is photosynthesis and respiration of everything in the tank, as inorganic carbon.
type Life struct {
	// PhotosynthesisPerDay and RespirationPerDay are µmol/kg per day, 0 to 10000. Respiration includes that of food and
	// of bacteria.
	PhotosynthesisPerDay, RespirationPerDay float64
	// LightHours is the light period, 1 to 24 h; 0 stands for 10.
	LightHours float64
}

const ordinaryLightHours = 10

// InARoom gives a tank the air, the light, the life and the probe that an ordinary one has, where nobody knows more: a
// lived-in room, a skimmer and a turned-over surface, lamps for ten hours, a pH probe that ages. Our own choice, made so
// that pH moves by about 0.2 over the day around 8.1 (common practice: 0.1 to 0.3).
func (p *Params) InARoom() {
	p.RoomPCO2, p.GasExchangePerHour = 600, 2
	p.Life = Life{PhotosynthesisPerDay: 250, RespirationPerDay: 280}
	p.TemperatureSwing = 0.4
	p.ProbeOffset = map[units.Quantity]float64{units.PH: 0.02}
	p.ProbeDriftPerDay = map[units.Quantity]float64{units.PH: -0.001}
}

// Uptake describes calcification.
type Uptake struct {
	// PerDay is the uptake at the reference level, dKH per day, 0 to 20.
	PerDay float64
	// Reference is that level in dKH; 0 stands for the alkalinity at the start.
	Reference float64
	Law       Law
	// HalfLevel is K of MichaelisMenten in dKH, 0 to 100; 0 makes uptake constant.
	HalfLevel float64
	// Slope is k of Linear, 0 to 10.
	Slope float64
	// GrowthPerDay is the compound growth of uptake: 0.01 is 1 % a day; −0.5 to 0.5.
	GrowthPerDay float64
	// DaySwing is d, 0 to 1: at 1 the night's lowest uptake is 0 and mid-light's is twice the mean.
	DaySwing float64
	// WanderSD is σ, 0 to 1, the standard deviation of the logarithm of uptake; WanderTime is τ, needed with
	// it, 1 h or more.
	WanderSD   float64
	WanderTime time.Duration
	// StepAt is when uptake is multiplied by StepFactor, 0 to 100, for good. Zero: never.
	StepAt     time.Time
	StepFactor float64
}

// ordinary gives the level from which a quantity starts if Params do not say: natural sea water at 35 psu, and
// for nutrients what keepers aim at (common practice).
func ordinary(q units.Quantity) float64 {
	switch q {
	case units.Alkalinity:
		return 8
	case units.Calcium:
		return 420
	case units.Magnesium:
		return 1300
	case units.Potassium:
		return 408
	case units.Strontium:
		return 8.1
	case units.Nitrate:
		return 5
	case units.Phosphate:
		return 0.05
	case units.Iodide, units.Iodine:
		return 0.06
	case units.Boron:
		return 4.6
	case units.Fluoride:
		return 1.3
	case units.Bromide:
		return 69
	case units.Salinity:
		return 35
	case units.PH:
		return 8.1
	case units.Temperature:
		return 25.5
	}
	return 0
}

// Slots of levels. All below dissolved concentrate when water evaporates. Where pH belongs, inorganic carbon is kept,
// µmol/kg; warmth holds the offset q of its curve instead of a level.
const (
	alkalinity = iota
	calcium
	magnesium
	nitrate
	boron     = 9
	salinity  = 13
	carbon    = 14
	dissolved = carbon + 1
	warmth    = dissolved
	slots     = dissolved + 1
)

// bySlot names the quantity of each slot. It is never written to.
var bySlot = [slots]units.Quantity{
	units.Alkalinity, units.Calcium, units.Magnesium, units.Nitrate, units.Potassium, units.Strontium, units.Phosphate,
	units.Iodide, units.Iodine, units.Boron, units.Fluoride, units.Bromide, units.Iron, units.Salinity, units.PH,
	units.Temperature,
}

// slot gives where a quantity's level is kept, false for quantities that a tank does not have (ORP, switch).
func slot(q units.Quantity) (int, bool) {
	for i, s := range bySlot {
		if s == q {
			return i, true
		}
	}
	return 0, false
}

type bound struct {
	name       string
	value      float64
	least, top float64
}

func (p *Params) check() error {
	u := &p.Uptake
	for _, b := range []bound{
		{"net volume, L", p.NetLitres, 1, 1e6},
		{"uptake, dKH/day", u.PerDay, 0, 20},
		{"reference level, dKH", u.Reference, 0, 100},
		{"half level, dKH", u.HalfLevel, 0, 100},
		{"slope of uptake", u.Slope, 0, 10},
		{"growth per day", u.GrowthPerDay, -0.5, 0.5},
		{"day swing of uptake", u.DaySwing, 0, 1},
		{"wander", u.WanderSD, 0, 1},
		{"step factor", u.StepFactor, 0, 100},
		{"nitrate formed, mg/L/day", p.NitrateFormedPerDay, 0, 100},
		{"share of nitrate taken up per day", p.NitrateUptakePerDay, 0, 10},
		{"evaporation, L/day", p.EvaporationLitresPerDay, 0, p.NetLitres},
		{"share topped off", p.TopOffShare, 0, 1},
		{"photosynthesis, umol/kg/day", p.Life.PhotosynthesisPerDay, 0, 10000},
		{"respiration, umol/kg/day", p.Life.RespirationPerDay, 0, 10000},
		{"gas exchange per hour", p.GasExchangePerHour, 0, 10},
		{"temperature swing, degC", p.TemperatureSwing, 0, 5},
		{"middle of the light, h from 12:00 UTC", p.MidLight.Hours(), -12, 12},
		{"law of uptake", float64(u.Law), float64(MichaelisMenten), float64(Saturation)},
	} {
		if !(b.value >= b.least && b.value <= b.top) {
			return fmt.Errorf("tank: %s is %v, allowed is %g to %g", b.name, b.value, b.least, b.top)
		}
	}
	if u.WanderSD > 0 && u.WanderTime < time.Hour {
		return fmt.Errorf("tank: a wander needs a correlation time of 1h or more, found %v", u.WanderTime)
	}
	if h := p.Life.LightHours; !(h == 0 || h >= 1 && h <= 24) {
		return fmt.Errorf("tank: a light period of %v h, allowed is 1 to 24, or 0 for %d", h, ordinaryLightHours)
	}
	if c := p.RoomPCO2; !(c == 0 || c >= 100 && c <= 10000) {
		return fmt.Errorf("tank: %v uatm of CO2 in the room, allowed is 100 to 10000, or 0 for that of the water", c)
	}
	return p.checkLevels()
}

func (p *Params) checkLevels() error {
	if err := checkLevels("level at the start", p.Start); err != nil {
		return err
	}
	if err := checkLevels("noise of a probe", p.ProbeSD); err != nil {
		return err
	}
	if err := checkLevels("uptake per day", p.OtherPerDay); err != nil {
		return err
	}
	for _, m := range [...]map[units.Quantity]float64{p.ProbeOffset, p.ProbeDriftPerDay} {
		if err := checkEitherSign(m); err != nil {
			return err
		}
	}
	for i, q := range bySlot {
		if p.OtherPerDay[q] != 0 && (i <= nitrate || i >= carbon) {
			return fmt.Errorf("tank: %s has an equation of its own and takes no constant uptake", q)
		}
	}
	if a, given := p.Start[units.Alkalinity]; given && !(a > 0) {
		return fmt.Errorf("tank: alkalinity at the start is %v dKH, must be above 0", a)
	}
	return nil
}

// checkLevels says what is wrong with a set of levels or rises: not finite, negative, absurd, or of a quantity that
// a tank does not have. It names the first in a fixed order, so that the error is the same each time.
func checkLevels(what string, levels map[units.Quantity]float64) error {
	known := 0
	for _, q := range bySlot {
		v, given := levels[q]
		if !given {
			continue
		}
		known++
		if !(v >= 0 && v <= 1e6) {
			return fmt.Errorf("tank: %s of %s is %v %s, allowed is 0 to 1e6", what, q, v, q.Unit())
		}
	}
	if known != len(levels) {
		return fmt.Errorf("tank: %s: a tank has no such level for %d of the %d quantities", what, len(levels)-known, len(levels))
	}
	return nil
}

// checkEitherSign is checkLevels for offsets and drifts of probes.
func checkEitherSign(off map[units.Quantity]float64) error {
	sizes := map[units.Quantity]float64{}
	for q, v := range off {
		sizes[q] = math.Abs(v)
	}
	return checkLevels("size of an offset or drift of a probe", sizes)
}
