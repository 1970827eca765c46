package metering

import (
	"errors"
	"fmt"
	"math"
)

// weightDensity is that of the steel weights a scale is adjusted with, kg/L.
const weightDensity = 8.0

// volumeWeighed converts grams read on a scale to mL of a liquid of the given density in kg/L (0.7..2), in air of the
// given density: weighing in air reads low by the buoyancy of the liquid. Method: ISO 8655-6:2002, ISO/TR 20461:2000,
// Z = 1/(rho - air) · (1 - air/8).
func volumeWeighed(grams, densityKgPerL, airKgPerL float64) (ml float64, err error) {
	if !(grams > 0 && grams <= 1e5) {
		return 0, fmt.Errorf("a mass of %g g is not above 0 and at most 100000 g", grams)
	}
	if !(densityKgPerL >= densityLeast && densityKgPerL <= densityMost) {
		return 0, badDensity(densityKgPerL)
	}
	return grams * (1 - airKgPerL/weightDensity) / (densityKgPerL - airKgPerL), nil
}

// Air is the air around the scale.
type Air struct {
	Celsius     float64 // 0..40
	HectoPascal float64 // 600..1100, at the place, not reduced to sea level
	Humidity    float64 // relative, 0..1; 0.5 serves indoors
}

// RoomAir is ordinary air at this temperature: 1013.25 hPa, half saturated.
func RoomAir(celsius float64) Air { return Air{celsius, 1013.25, 0.5} }

// Density gives the density of the air in kg/L by the approximation of OIML R 111-1:2004, E.3:
// (0.34848 p − 0.9 h·exp(0.061 t)) / (273.15 + t) kg/m³ with p in hPa and h as a fraction. It is good to 2e-4 of
// itself from 900 to 1100 hPa and 10 to 30 °C; further away, a thousandth of it still moves Z by 1e-6 only.
func (a Air) Density() (kgPerL float64, err error) {
	switch {
	case !(a.Celsius >= 0 && a.Celsius <= 40):
		return 0, fmt.Errorf("air of %g degC is outside 0..40 degC", a.Celsius)
	case !(a.HectoPascal >= 600 && a.HectoPascal <= 1100):
		return 0, fmt.Errorf("an air pressure of %g hPa is outside 600..1100 hPa", a.HectoPascal)
	case !(a.Humidity >= 0 && a.Humidity <= 1):
		return 0, fmt.Errorf("a relative humidity of %g is outside 0..1", a.Humidity)
	}
	return (0.34848*a.HectoPascal - 0.9*a.Humidity*math.Exp(0.061*a.Celsius)) / (273.15 + a.Celsius) / 1000, nil
}

// WaterDensity is the density of pure, air-free water at 101325 Pa in kg/L, 0..40 °C: M. Tanaka, G. Girard, R. Davis, A.
// Peuto, N. Bignell 2001, Metrologia 38:301-309. Tap water and water from reverse osmosis are within 0.0003 of it.
func WaterDensity(celsius float64) (kgPerL float64, err error) {
	if !(celsius >= 0 && celsius <= 40) {
		return 0, fmt.Errorf("water of %g degC is outside 0..40 degC", celsius)
	}
	d := celsius - 3.983035
	return 0.999974950 * (1 - d*d*(celsius+301.797)/(522528.9*(celsius+69.34881))), nil
}

// ZFactor is how many µL one mg of water read on a scale is, by ISO 8655-6 and ISO/TR 20461. Water and air are
// taken to have the same temperature.
func ZFactor(a Air) (microlitresPerMilligram float64, err error) {
	water, err := WaterDensity(a.Celsius)
	if err != nil {
		return 0, err
	}
	air, err := a.Density()
	if err != nil {
		return 0, err
	}
	return volumeWeighed(1, water, air)
}

// Reading is one measured run as it was read off a vessel or a scale: so many seconds, and either mL or grams. What was
// not read is 0.
type Reading struct {
	Seconds    float64
	MeasuredML float64
	MeasuredG  float64
}

// Liquid is what was weighed: a solution of a known density, or plain water of a known temperature. One of them is
// needed where a reading is in grams, and neither where none is.
type Liquid struct {
	DensityKgPerL *float64 // 0.7..2, at the temperature of the run; 1 % wrong makes the rate 1 % wrong
	WaterCelsius  *float64 // 0..40, of the water and of the air
}

// ErrLiquid says that readings in grams and the liquid do not belong together.
var ErrLiquid = errors.New("calibration")

// TrialsOf converts what was read off: grams of water by the Z factor of ISO 8655-6, grams of a solution by its
// density, both in ordinary air (RoomAir); mL stay as they are.
func TrialsOf(readings []Reading, l Liquid) ([]Trial, error) {
	density, air, err := l.forScale(readings)
	if err != nil {
		return nil, err
	}
	list := make([]Trial, len(readings))
	for i, r := range readings {
		list[i] = Trial{r.Seconds, r.MeasuredML}
		switch {
		case r.MeasuredG == 0:
		case r.MeasuredML != 0:
			return nil, fmt.Errorf("%w: trial %d has both mL and g; give one of them", ErrLiquid, i+1)
		default:
			ml, err := volumeWeighed(r.MeasuredG, density, air)
			if err != nil {
				return nil, fmt.Errorf("calibration: trial %d: %w", i+1, err)
			}
			list[i].MeasuredML = ml
		}
	}
	return list, nil
}

// forScale gives the densities of the liquid and of the air in kg/L, 0 where nothing was weighed.
func (l Liquid) forScale(readings []Reading) (liquid, air float64, err error) {
	given := l.DensityKgPerL != nil || l.WaterCelsius != nil
	weighed := 0
	for i, r := range readings {
		if r.MeasuredG != 0 && weighed == 0 {
			weighed = i + 1
		}
	}
	switch {
	case weighed > 0 && !given:
		return 0, 0, fmt.Errorf("%w: trial %d was weighed: say density_kg_per_l of the solution, or water_celsius if it was plain water", ErrLiquid, weighed)
	case l.DensityKgPerL != nil && l.WaterCelsius != nil:
		return 0, 0, fmt.Errorf("%w: density_kg_per_l and water_celsius exclude each other: say what was weighed", ErrLiquid)
	case weighed == 0 && given:
		return 0, 0, fmt.Errorf("%w: density_kg_per_l or water_celsius is given, and no trial in g", ErrLiquid)
	case weighed == 0:
		return 0, 0, nil
	}
	room := RoomAir(roomCelsius)
	if l.WaterCelsius != nil {
		room = RoomAir(*l.WaterCelsius)
		if liquid, err = WaterDensity(*l.WaterCelsius); err != nil {
			return 0, 0, fmt.Errorf("calibration: water_celsius: %w", err)
		}
	} else {
		liquid = *l.DensityKgPerL
		if !(liquid >= densityLeast && liquid <= densityMost) {
			return 0, 0, fmt.Errorf("calibration: density_kg_per_l: %w", badDensity(liquid))
		}
	}
	air, err = room.Density()
	return liquid, air, err
}

// roomCelsius is taken for the air around a solution: from 15 to 30 degC its density moves a result by 5e-5.
const roomCelsius = 20.0

const densityLeast, densityMost = 0.7, 2.0

func badDensity(kgPerL float64) error {
	return fmt.Errorf("a density of %g kg/L is outside %g..%g kg/L", kgPerL, densityLeast, densityMost)
}
