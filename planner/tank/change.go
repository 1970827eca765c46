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
}

// Solution is a supplement as the tank sees it.
type Solution struct {
	// Strength is the rise by 1 mL in 1 L, canonical units.
	Strength map[units.Quantity]float64
	// CarbonPerEquivalent is that of Addition.
	CarbonPerEquivalent float64
}

// Dose puts an addition in at an instant, at once and evenly mixed. An instant before Now counts as Now. On an
// error nothing is added, though time has passed.
func (t *Tank) Dose(at time.Time, a Addition) error {
	return t.add(at, a.Rises, 1, a.CarbonPerEquivalent)
}

// DoseVolume is Dose for so many mL of a solution in the present volume of water.
func (t *Tank) DoseVolume(at time.Time, s Solution, millilitres float64) error {
	if !(millilitres >= 0 && millilitres <= 1e9) {
		return fmt.Errorf("tank: a dose of %v mL, allowed is 0 to 1e9", millilitres)
	}
	t.Advance(at)
	return t.add(at, s.Strength, millilitres/t.litres, s.CarbonPerEquivalent)
}

func (t *Tank) add(at time.Time, rises map[units.Quantity]float64, factor, carbon float64) error {
	t.Advance(at)
	if err := checkLevels("rise", rises); err != nil {
		return err
	}
	if rises[units.PH] != 0 || rises[units.Temperature] != 0 {
		return fmt.Errorf("tank: a dose names a rise of pH or temperature; they follow by themselves")
	}
	if !(carbon >= 0 && carbon <= 1) {
		return fmt.Errorf("tank: %v mol of carbon per eq of alkalinity, allowed is 0 to 1", carbon)
	}
	for i := calcium; i < dissolved; i++ {
		t.levels[i] += rises[bySlot[i]] * factor
	}
	t.raiseAlkalinity(rises[units.Alkalinity]*factor, carbon)
	return nil
}

// WaterChange replaces a share of the water, 0 to 1, by a mix with the given levels at an instant; it restores no
// volume that evaporated. Quantities that the mix does not name keep their level. An instant before Now counts as
// Now. On an error nothing is changed, though time has passed.
func (t *Tank) WaterChange(at time.Time, share float64, mix map[units.Quantity]float64) error {
	t.Advance(at)
	if !(share >= 0 && share <= 1) {
		return fmt.Errorf("tank: a water change of %v of the volume, allowed is 0 to 1", share)
	}
	if err := checkLevels("mix", mix); err != nil {
		return err
	}
	ph, temperature := t.ph(), t.temperature()
	for i := range dissolved {
		t.levels[i] += share * (given(mix, bySlot[i], t.levels[i]) - t.levels[i])
	}
	// pH and temperature are curves: their offsets take up the difference, after the new alkalinity is in.
	t.levels[acidity] += ph + share*(given(mix, units.PH, ph)-ph) - t.ph()
	t.levels[warmth] += share * (given(mix, units.Temperature, temperature) - temperature)
	return nil
}
