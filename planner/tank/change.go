package tank

import (
	"fmt"
	"time"

	"aliquot/planner/units"
)

// Moles of inorganic carbon that come with one equivalent of alkalinity.
const (
	AsHydroxide   = 0.0
	AsCarbonate   = 0.5
	AsBicarbonate = 1.0
)

// Addition is what is put into the tank.
type Addition struct {
	// Rises are added to the levels, canonical units, 0 or more. pH and temperature follow by themselves and are
	// refused.
	Rises map[units.Quantity]float64
	// CarbonPerEquivalent is mol of inorganic carbon per eq of alkalinity, 0 to 1: AsHydroxide, AsCarbonate,
	// AsBicarbonate or between. The zero value moves pH most.
	CarbonPerEquivalent float64
	// Late is the part of the alkalinity that appears later; CarbonPerEquivalent is that of the rest.
	Late Late
}

// Late is alkalinity of organic salts, which bacteria have to use first. That they use oxygen is not modelled.
type Late struct {
	Share float64 // of all the alkalinity, 0 to 1
	// Over is the time after which 95 % of it has appeared, first order; 1 min to 1000 h, needed with Share.
	Over time.Duration
	// CarbonPerEquivalent is mol of carbon dioxide and bicarbonate that come of each eq, 0 to 12: 1 for formate, 2 for
	// acetate.
	CarbonPerEquivalent float64
}

// Solution is a supplement as the tank sees it.
type Solution struct {
	// Strength is the rise by 1 mL in 1 L, canonical units.
	Strength map[units.Quantity]float64
	// CarbonPerEquivalent and Late are those of Addition.
	CarbonPerEquivalent float64
	Late                Late
}

// Dose puts an addition in at an instant, at once and evenly mixed. An instant before Now counts as Now. On an
// error nothing is added, though time has passed.
func (t *Tank) Dose(at time.Time, a Addition) error {
	t.Advance(at)
	return t.add(a, 1)
}

// DoseVolume is Dose for so many mL of a solution in the present volume of water.
func (t *Tank) DoseVolume(at time.Time, s Solution, millilitres float64) error {
	if !(millilitres >= 0 && millilitres <= 1e9) {
		return fmt.Errorf("tank: a dose of %v mL, allowed is 0 to 1e9", millilitres)
	}
	t.Advance(at)
	return t.add(Addition{Rises: s.Strength, CarbonPerEquivalent: s.CarbonPerEquivalent, Late: s.Late}, millilitres/t.Litres())
}

func (t *Tank) add(a Addition, factor float64) error {
	if err := a.check(); err != nil {
		return err
	}
	t.settle()
	for i := calcium; i < carbon; i++ {
		t.levels[i] += a.Rises[bySlot[i]] * factor
	}
	dkh := a.Rises[units.Alkalinity] * factor
	late := dkh * a.Late.Share
	t.levels[alkalinity] += dkh - late
	t.levels[carbon] += (dkh - late) * a.CarbonPerEquivalent * t.perDKH
	if late > 0 {
		t.late = with(t.late, pool{dkh: late, carbon: a.Late.CarbonPerEquivalent, over: a.Late.Over})
	}
	return nil
}

func (a *Addition) check() error {
	if err := checkLevels("rise", a.Rises); err != nil {
		return err
	}
	if a.Rises[units.PH] != 0 || a.Rises[units.Temperature] != 0 {
		return fmt.Errorf("tank: a dose names a rise of pH or temperature; they follow by themselves")
	}
	if !(a.CarbonPerEquivalent >= 0 && a.CarbonPerEquivalent <= 1) {
		return fmt.Errorf("tank: %v mol of carbon per eq of alkalinity, allowed is 0 to 1", a.CarbonPerEquivalent)
	}
	l := &a.Late
	if !(l.Share >= 0 && l.Share <= 1) {
		return fmt.Errorf("tank: a share of %v of the alkalinity appears late, allowed is 0 to 1", l.Share)
	}
	if !(l.CarbonPerEquivalent >= 0 && l.CarbonPerEquivalent <= 12) {
		return fmt.Errorf("tank: %v mol of carbon per eq of late alkalinity, allowed is 0 to 12", l.CarbonPerEquivalent)
	}
	if l.Share > 0 && !(l.Over >= time.Minute && l.Over <= 1000*time.Hour) {
		return fmt.Errorf("tank: alkalinity appears over %v, allowed is 1m to 1000h", l.Over)
	}
	return nil
}

// WaterChange replaces a share of the water, 0 to 1, by a mix with the given levels at an instant; it restores no
// volume that evaporated. Quantities that the mix does not name keep their level: a mix without a pH has that of the
// tank. An instant before Now counts as Now. On an error nothing is changed, though time has passed.
func (t *Tank) WaterChange(at time.Time, share float64, mix map[units.Quantity]float64) error {
	t.Advance(at)
	if !(share >= 0 && share <= 1) {
		return fmt.Errorf("tank: a water change of %v of the volume, allowed is 0 to 1", share)
	}
	if err := checkLevels("mix", mix); err != nil {
		return err
	}
	now := t.present()
	fresh := *now
	for i := range carbon {
		fresh.levels[i] = given(mix, bySlot[i], now.levels[i])
	}
	temperature := t.temperature(now, t.age)
	warmer := given(mix, units.Temperature, temperature) - temperature
	fresh.levels[warmth] += warmer
	if mix != nil {
		var err error
		if fresh.levels[carbon], err = t.carbonAt(t.water(&fresh, t.age), fresh.levels[alkalinity], given(mix, units.PH, t.ph(now, t.age))); err != nil {
			if _, named := mix[units.PH]; named {
				return fmt.Errorf("tank: mix: %w", err)
			}
			fresh.levels[carbon] = fresh.levels[alkalinity] * t.perDKH // too little alkalinity for a pH: as bicarbonate
		}
	}
	t.settle()
	for i := range dissolved {
		t.levels[i] += share * (fresh.levels[i] - t.levels[i])
	}
	t.levels[warmth] += share * warmer
	t.late = scaled(t.late, func(pool) float64 { return 1 - share })
	return nil
}
